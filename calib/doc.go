// Package calib works out which value a vehicle's module should store after a change of tyre size, and what is left.
//
// Every reading says how far the wheel really rolls: value × GPS ÷ dash. All of them, on every value tried so far, are
// pooled with what the tyre sizes predict, and the answer says what is left as ± mph at 70. The two entry points are
// Target, before any drive, and Review, after every drive; both take a Case and give an Answer, and both work without
// clock, chance or storage: the same case always gives the same answer.
//
// The method is version cal-1 (constant Method) and is kept with every figure. Sections named in comments are those of
// the method page. Symbols, in code as there:
//
//	S         stored value, turned into the rolling circumference that the module believes, mm
//	S0        S as the vehicle left the factory, mm
//	C         true rolling circumference of the fitted tyre, warm, at the work speed, mm
//	D0, D1    nominal overall diameter of the placard size and of the new size, mm; Dc with flotation sizes corrected
//	I, G, v   speed shown on the dash, by GPS, true speed; dash unit
//	W         work speed, a true speed: 70 mph or 110 km/h, less where law, policy or the tyre says so
//	q         dash units per mph, 1 or 1.609344
//	b         offset of the dash, the same at all speeds, dash unit
//	g         gain of the dash: a margin in proportion to speed
//	u         ln(C_eff/Cp) with C_eff = C/(1+g); dash readings can't tell C and g apart
//	δ         what a day's temperature, load and pressure do, one per drive
//	Cp, sp    what sizes and measurements predict for C, and its relative sd
//	S*        the value aimed at, before step and limits
//
// Model: I = b + (1+g)·(S/C)·v. Speeds are in the dash unit throughout, lengths in mm, relative sds as fractions unless
// a name says percent.
//
// The ± is tuned on a simulation, holds for the tyres, load and pressures of the drives, and is no certificate: neither
// the day (δ, 0.2 %) nor wear to come is in it.
//
// Markings of tyres are read by calib/tyre, figures are printed by calib/unit, track files become readings in
// calib/track. What people are told, and when, is not this package's business.
package calib
