// Package tyre reads the marking on a tyre as people type it, and works out
// what the marking alone tells: diameter, section height, the permitted band of
// a new tyre, load and speed.
//
// A marking that has no formula (7.50R16, E78-14), that is not complete (33s,
// 265/70) or that can't be right is never guessed: Parse and Find return an
// *Ask that says what is missing. What a wheel rolls on the road is not this
// package's business: that is package calib.
//
//	265/70R17              section width mm / aspect % construction rim code
//	LT285/70R17 121/118S   prefix, load index single/dual, speed symbol
//	225/75R16C 121/120R    C: commercial (ETRTO)
//	33x12.50R15LT          flotation: overall diameter x section width, inches
//	245/45ZR18 (95Y)       above 300 km/h
//	190/65R390             millimetre rim
//
// Sources are UN R30 and R54 (clauses from memory), ISO 4000-1 and ISO 4223-1
// (from memory), and owner's manuals and data sheets for the grammar.
package tyre
