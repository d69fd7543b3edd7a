// Package track turns a recorded drive into steady stretches and speedometer readings.
//
// It reads GPX 1.0 and 1.1 and NMEA 0183 (RMC, VTG), finds where the speed was held, gives the mean
// satellite speed before a noted dash speed, and compares the odometer with the distance driven. It
// also works out a measured mile with a stopwatch. Method: calibration-method, section 6.
//
// # Positions
//
// No position leaves the package. A reader keeps the fix before the present one, takes the distance
// between the two, and forgets it; a Track holds times, speeds and distances only, and no error text
// repeats what a file says of a place. What a job stores of a track is its stretches: speed, length, time.
//
// # Speeds
//
// A receiver's own speed (from the Doppler shift) is used where the file has it. Only if no point of a
// file has one are speeds worked out from the positions, which is the poorer way (Chalko 2007, "position
// to position"); Track.Speeds says which. Inside the package speed is in m/s, distance in m.
//
// # Own readers
//
// A ready library for GPX and for NMEA was looked for. None could be had in a form that is kept up, so
// these are small readers of our own: they take what is needed here from the standard library's
// streaming XML decoder and from lines of text, and nothing else. Waypoints and planned routes are
// passed over, since nobody drove them.
//
// # What is not its business
//
// Estimating a circumference (package calib), understanding how people write times and speeds, and
// every sentence said to a person. Files are read from an io.Reader; the package opens nothing.
package track
