package understand

var englishUnits = newLexicon(false, table(
	row[string]{MM, "mm, mms, millimetre, millimetres, millimeter, millimeters, milimeter, milimeters, milimetres, mill, mills, millis"},
	row[string]{CM, "cm, cms, centimetre, centimetres, centimeter, centimeters"},
	row[string]{M, "m, metre, metres, meter, meters, mtr, mtrs"},
	row[string]{Inch, "in, inch, inches, ins, zoll"},
	row[string]{feet, "ft, feet, foot"},
	row[string]{Mile, "mi, mile, miles, mls, mil"},
	row[string]{Km, "km, kms, kilometre, kilometres, kilometer, kilometers, klicks, clicks"},
	row[string]{revMile, "rev mile, revs mile, rev mi, revs mi, rev per mile, revs per mile, revs per mi, rev per mi, revs a mile, revs to the mile, revolutions per mile, revolution per mile, revolutions mile, revolutions a mile, turns per mile, turns a mile, turns mile, rotations per mile, r mile, r mi, rpmi, wheel revs per mile, tyre revs per mile, tire revs per mile, revs each mile, rounds per mile"},
	row[string]{revKm, "rev km, revs km, rev per km, revs per km, revs a km, rev a km, revs to the km, revolutions per km, revolutions km, revolutions per kilometre, revolutions per kilometer, revs per kilometre, revs per kilometer, rev per kilometre, rev per kilometer, revs kilometre, turns per km, turns a km, turns km, turns per kilometre, turns per kilometer, rotations per km, r km, rpkm, rounds per km, revs per k"},
	row[string]{pulseMile, "pulse mile, pulses mile, pulses per mile, pulse per mile, pulses a mile, pulses mi, pulse mi, pulses per mi, imp mile, impulses per mile, impulses mile, imp per mile, ticks per mile, ppm, p mile, counts per mile"},
	row[string]{pulseKm, "pulse km, pulses km, pulses per km, pulse per km, pulses a km, pulses per kilometre, pulses per kilometer, pulses kilometre, imp km, imp per km, impulses per km, impulses km, impulse km, impulses per kilometre, impulses per kilometer, ticks per km, ppkm, p km, counts per km, i km"},
	row[string]{perMile, "per mile, a mile, per mi, to the mile"},
	row[string]{perKm, "per km, a km, per kilometre, per kilometer, to the km"},
	row[string]{revsOfWhat, "rev, revs, revolutions, rotations"},
	row[string]{turn, "turns, turn, rounds, times around"},
	row[string]{pulsesOf, "pulse, pulses, impulses, imp, imps"},
	row[string]{rpm, "rpm, rpms"},
	row[string]{percent, "percent, per cent, pct, prozent"},
	row[string]{psi, "psi, pounds per square inch, lbs per square inch, psig, p s i"},
	row[string]{bar, "bar, bars"},
	row[string]{kpa, "kpa, kilopascal, kilopascals, k pa"},
	row[string]{volt, "v, volt, volts, vdc, vlt, v dc"},
	row[string]{kilogram, "kg, kgs, kilo, kilos, kilogram, kilograms"},
	row[string]{pound, "lb, lbs, pounds"},
	row[string]{second, "s, sec, secs, second, seconds"},
	row[string]{MPH, "mph, miles per hour, miles an hour"},
	row[string]{KmH, "km h, kmh, kph, kilometres per hour, kilometers per hour, km per hour"},
	row[string]{thirtySec, "32nds, thirty seconds, thirtyseconds, 32nd, thirty second, thirtysecond"},
))

// englishAfterInch may follow the unit "in".
var englishAfterInch = set("circumference", "circ", "diameter", "dia", "radius", "rolling", "tall", "overall", "wide", "new", "now", "and", "tread", "per", "x", "around", "stored", "at", "each", "to", "on")

// englishQuantities name what a stored value is.
var englishQuantities = newLexicon(true, table(
	row[string]{Circumference, "circumference, circ, circumfrence, rolling circumference, circumferance, perimeter, rolling circ, tyre circumference, tire circumference, wheel circumference, umfang, girth"},
	row[string]{Diameter, "diameter, dia, diam, overall diameter, od, tyre diameter, tire diameter, rolling diameter, wheel diameter, diametre, ø"},
	row[string]{Radius, "radius, rolling radius, dynamic radius, rad, wheel radius, tyre radius, tire radius, loaded radius"},
	row[string]{AxleRatio, "axle ratio, axle, final drive, final drive ratio, diff ratio, differential ratio, rear end ratio, gear ratio, rear axle ratio, ratio, gears, gearing, diff, differential"},
	row[string]{Percent, "percent, percentage, correction factor, correction"},
))

var englishStep = set("step", "steps", "increment", "increments", "resolution", "stepsize", "stepping", "notch", "notches", "stpe", "setps", "incr")

var englishMin = newLexicon(false, table(
	row[bool]{true, "min, minimum, lowest, lower limit, low limit, down to, smallest, low end, bottom, goes down to, at least, lowest value, minimum value, from"},
))

var englishMax = newLexicon(false, table(
	row[bool]{true, "max, maximum, highest, upper limit, high limit, up to, goes up to, largest, biggest, top, at most, tops out at, highest value, maximum value, limit, limit is, no more than, not over, not more than"},
))

var englishNoLimit = newLexicon(false, table(
	row[string]{"limits", "no limits, no limit, limits not known, limits unknown, limits not shown, no limits shown, no limits seen, no range, range unknown, range not shown, range not known, dont know the limits, dont know limits, no min or max, doesnt show limits, limits dont know, no idea of limits, limits not given"},
	row[string]{"step", "step not known, step unknown, step not shown, no step, no step shown, dont know the step, dont know step, steps unknown, steps not known, steps not shown"},
	row[string]{"both", "step and limits not known, step and limits unknown, no step or limits, dont know step or limits, limits and step not known, limits and step unknown, neither step nor limits, step and limits not shown, no step no limits, dont see step or limits, cant see step or limits, no step and limits"},
))

// englishAmount are words beside a percentage that say which way it goes.
var englishAmount = newLexicon(false, table(
	row[string]{"+", "more, larger, bigger, up, higher, over, above, plus, taller, greater, increase, increased"},
	row[string]{"-", "less, smaller, down, lower, under, below, minus, decrease, decreased, reduced"},
))
