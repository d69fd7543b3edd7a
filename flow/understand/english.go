package understand

// English words of speed readings. A second language is a second set of these tables.

// role is what a word says about the figure beside it.
type role uint8

const (
	noRole   role = iota
	onDash        // the speedometer
	onGPS         // the true speed
	onTool        // live data of a service tool: not the dash
	odometer      // a distance, not a speed
)

// englishNouns name where a figure was read. They may be mistyped.
var englishNouns = newLexicon(true, table(
	row[role]{onDash, "dash, dashboard, dashes, dashbord, speedo, speedometer, speedos, spedo, speedometre, clock, clocks, needle, the needle, digits, digital, digital display, head up, head up display, headup, hud, cluster, instrument, instruments, instrument cluster, gauge, guage, gage, dial, car, vehicle, truck, van, bike, display, indicated, indicated speed, speedometer needle, dash display, dash needle, digital dash, digital speedo, analog, analogue, ind"},
	row[role]{onGPS, "gps, gsp, gpss, gos, gpd, g p s, gps speed, gps reading, phone, fone, the phone, phone gps, gps phone, phone app, satnav, sat nav, satnag, satellite, satellites, navigation, nav, navi, navigator, true, true speed, actual, actual speed, actually, real, real speed, reality, in reality, gnss, galileo, glonass, tracker, mobile, cell, cellphone, cell phone, smartphone, iphone, tablet, reference, ref, app, watch, sat navigation"},
	row[role]{onTool, "scanner, scan tool, scantool, tool, live data, livedata, obd, obd2, obdii, obd ii, diagnostic, diagnostics, diagnostic tool, diag, ecu, pcm, pid, data stream, datastream, reader, code reader, laptop, can bus, canbus, vss, wheel speed, wheel speeds, abs speed"},
	row[role]{odometer, "odometer, odo, odometre, trip, trip meter, trip counter, tripmeter"},
))

// englishVerbs come before their figure and mean the dash, unless a noun stands before them.
var englishVerbs = newLexicon(false, table(
	row[role]{onDash, "shows, showed, showing, show, says, said, say, saying, reads, reading, read, it shows, it says, it reads, it said, it read, indicates, indicating, displays, displaying, displayed"},
	row[role]{onGPS, "doing, really doing, was doing, going, driving, travelling, traveling"},
))

// englishBack come behind their figure.
var englishBack = newLexicon(false, table(
	row[role]{onDash, "shown, indicated, ind, displayed, on screen"},
	row[role]{onGPS, "true, actual, real"},
))

// englishSource names how the dash was read; one source per drive.
var englishSource = newLexicon(true, table(
	row[string]{"needle", "needle, analog, analogue, dial, gauge, guage, pointer"},
	row[string]{"digits", "digits, digital, digital display, digital dash, digital speedo, digit"},
	row[string]{"head_up", "head up, headup, hud, head up display, windscreen display, windshield display"},
	row[string]{"tool", "scanner, scan tool, scantool, tool, live data, livedata, obd, obd2, obdii, diagnostic, diagnostics, ecu, pcm, pid, data stream"},
))

// joiners stand between the two figures of one reading.
var englishJoiners = set("at", "vs", "versus", "against", "over", "slash", "by", "when", "while", "whilst", "for", "with", "x", "verses", "where", "stroke")

// englishBind tie a label to the figure before it: "60 on the dash".
var englishBind = set("on", "by", "from", "per", "ont", "in", "via", "according", "off", "onthe")

// englishAnd separate readings, or the halves of one.
var englishAnd = set("and", "then", "n", "plus", "next", "followed", "again", "also", "but")

// englishDoubt make a figure a guess or a range.
var englishDoubt = newLexicon(false, table(
	row[string]{"about", "around, about, roughly, approx, approximately, ish, circa, nearly, almost, maybe, perhaps, probably, give or take, near enough, something like, somewhere around, i think, i guess, ca"},
	row[string]{"range", "between, or, or so, either, upto, up to, flickering, flicking, jumping, bouncing, wandering, swinging, hunting, fluctuating"},
	row[string]{"not", "not, never, didnt, wasnt, isnt, dont, wrong, ignore, forget, without, cant"},
))

// englishConditions are words that make a reading one to hold and take again (calibration-method.md 10).
var englishConditions = newLexicon(false, table(
	row[string]{"accelerating", "accelerating, accelerated, speeding up, gaining speed, floored, foot down, picking up speed, pulling away, overtaking, increasing, rising, climbing speed"},
	row[string]{"braking", "braking, brake, braked, slowing, slowing down, decelerating, coasting, lifting off, dropping"},
	row[string]{"hill", "uphill, up hill, downhill, down hill, hill, hills, hilly, slope, climbing, climb, incline, gradient, grade, mountain, descending, ramp"},
	row[string]{"wet", "wet, rain, raining, rainy, snow, snowing, snowy, ice, icy, slippery, slush, mud, muddy, gravel, dirt, offroad, off road"},
	row[string]{"town", "town, city, traffic, in town, roundabout, lights, stop and go, built up, residential"},
	row[string]{"curve", "bend, bends, curve, curves, corner, cornering, turning, winding, twisty"},
	row[string]{"unsteady", "unsteady, not steady, moving about, jumping, flickering, bouncing, bumpy, gusty, headwind, tailwind"},
	row[string]{"tunnel", "tunnel, under trees, no fix, lost fix, weak signal, bad signal, poor signal"},
	row[string]{"load", "towing, trailer, caravan, chains, snow chains, roof box"},
	row[string]{"roller", "dyno, rolling road, roller, rollers, on the rollers, on stands, jack stands"},
))

// englishSpeedUnits; the short forms count as speeds only beside a dash or GPS figure.
var englishSpeedUnits = newLexicon(false, table(
	row[string]{MPH, "mph, mhp, miles per hour, miles an hour, mile an hour, miles hour, mi h, m p h, mphs, mile per hour"},
	row[string]{KmH, "km h, kmh, kph, khp, k p h, kms h, kmph, km hr, kilometres per hour, kilometers per hour, kilometres an hour, kilometers an hour, kilometer per hour, kilometre per hour, km per hour, kms per hour, kilometres hour, kilometers hour, clicks, klicks, k h"},
))

var englishShortSpeedUnits = newLexicon(false, table(
	row[string]{MPH, "miles, mile, mi"},
	row[string]{KmH, "km, kms, k, ks, kilometres, kilometers, kilometer, kilometre"},
))

// otherUnits follow figures that are not speeds.
var otherUnits = set("min", "mins", "minute", "minutes", "s", "sec", "secs", "seconds", "h", "hour", "hours", "hrs", "psi", "bar", "kpa", "mm", "cm",
	"inch", "inches", "in", "v", "volt", "volts", "kg", "lb", "lbs", "percent", "year", "years", "rpm", "revs", "rev", "turns", "times", "degrees", "c", "f",
	"m", "metres", "meters", "ft", "feet", "foot", "nd", "rd", "th", "st", "am", "pm", "oclock", "knots", "kt", "kn", "weeks", "days", "litres", "amps")

// realWords are never taken for a slip of another word.
var realWords = set("cash", "wash", "dish", "mash", "lash", "bash", "dust", "date", "tree", "trust", "drive", "drove", "phase", "photo", "photos",
	"clean", "close", "closed", "block", "lock", "flock", "black", "need", "needed", "needs", "head", "heads", "save", "wave", "have", "give", "five", "trip",
	"track", "trick", "shop", "snow", "slow", "crap", "tape", "took", "tool", "tools", "fuel", "pool", "cool", "foot", "look", "book", "back", "pack", "rack", "same",
	"some", "come", "none", "note", "nose", "more", "fore", "bare", "care", "cars", "card", "cart", "here", "there", "where", "were", "this", "that", "than", "then",
	"them", "they", "with", "what", "when", "went", "want", "will", "well", "tell", "bell", "sell", "seat", "heat", "meal", "deal", "seal", "steal", "steel",
	"wheel", "wheels", "feel", "peel", "reel", "role", "rule", "role", "hole", "pole", "idea", "area", "used", "uses", "just", "must", "most", "last", "past", "fast", "best",
	"rest", "test", "text", "next", "left", "lift", "list", "lost", "cost", "post", "done", "gone", "gear", "rear", "near", "year", "dear", "hear", "bear", "wear",
	"both", "moth", "path", "bath", "high", "sign", "side", "size", "sizes", "wide", "hide", "ride", "made", "make", "take", "lake", "bake", "rate", "late", "gate", "hate", "stop", "step",
	"stem", "item", "them", "team", "beam", "lamp", "lamps", "camp", "damp", "dump", "jump", "pump", "tyre", "tire", "tyres", "tires", "wire", "fire", "hire", "sure", "cure", "pure", "after",
	"other", "under", "never", "ever", "over", "oven", "even", "seven", "again", "about", "doubt", "right", "light", "night", "eight", "sight", "tight", "might", "water", "later",
	"ratio", "radio", "value", "valve", "reset", "real", "meter", "metre", "meters", "metres", "digit", "clicks", "tablet", "table", "cable", "able", "cell", "call", "ball", "wall", "tall", "hall", "fall", "actual", "mobile")
