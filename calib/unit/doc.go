// Package unit holds the units people and modules use, the exact factors
// between them, and every way a figure is printed. Nobody else formats a
// figure.
//
// Inside the program a length is in millimetres and a speed is in the unit its
// neighbour field names; conversion happens at the edges, through this package.
// What a stored value means (revolutions, pulses, an axle ratio) is not its
// business: that is package calib.
package unit
