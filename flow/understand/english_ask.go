package understand

// Codes of what is asked back, with what a caller may find in Args.
const (
	AskReadingNone    = "reading_none"    // no figures
	AskReadingSingle  = "reading_single"  // one figure: value
	AskReadingOdd     = "reading_odd"     // a figure is left over
	AskReadingWhich   = "reading_which"   // can't tell which figure is the dash: label
	AskReadingTwice   = "reading_twice"   // both figures carry the same label: label
	AskReadingTool    = "reading_tool"    // a figure of the service tool's live data
	AskReadingRange   = "reading_range"   // no such speed: pair, top, unit
	AskReadingRatio   = "reading_ratio"   // too far apart: pair
	AskReadingUnits   = "reading_units"   // dash and GPS in different units: dash, gps, dash_unit, gps_unit
	AskReadingComma   = "reading_comma"   // "66,70": two figures or a decimal
	AskReadingRangeOf = "reading_rangeof" // "60 or 61", "60 to 62"
	AskReadingNot     = "reading_not"     // "not 60"
	AskReadingNumber  = "reading_number"  // not a number
)

var englishAsk = map[string]string{
	AskReadingNone:        "I find no pair of speeds in {said}. Type dash, then GPS: 60/58.",
	AskReadingSingle:      "One figure, {value}. Which other belongs to it? Type both, dash first: 60/58.",
	AskReadingOdd:         "One figure is left over in {said}. Type pairs, dash first: 66/70 57/60.",
	AskReadingWhich:       "In {said}, which is the dash? Type dash, then GPS: 60/58, or name them: dash 60 gps 58.",
	AskReadingTwice:       "Both figures in {said} are from the {label}. Type dash, then GPS: 60/58.",
	AskReadingTool:        "A figure from the tool is not the dash. What does the dash itself show? Type dash, then GPS: 60/58.",
	AskReadingRange:       "{pair}: one of them is no road speed (up to {top} {unit}). Type dash, then GPS again: 60/58.",
	AskReadingRatio:       "{pair} are too far apart to be one reading. Type dash, then GPS again: 60/58.",
	AskReadingUnits:       "Dash {dash} in {dash_unit} and GPS {gps} in {gps_unit}? Then it is {offer}. Type yes, or both in one unit.",
	AskReadingComma:       "{said}: is the comma a decimal mark or between two figures? Type 66/70, or 66.7/70.0.",
	AskReadingRangeOf:     "{said} is a range. Hold the speed, then type one figure each: 60/58.",
	AskReadingNot:         "{said}: type what it was instead, dash first: 60/58.",
	AskChoice:             "That is not one of the {n} choices. Type its number.",
	AskTool:               "What did the tool say? Type took, refused, broke off, no answer or not sure.",
	AskValueNone:          "I find no value in {said}. Type the number and unit as the tool shows them: 2438 mm, or 655 rev/mile.",
	AskValueSeveral:       "More than one figure in {said}. Which is stored? Type one with its unit, or name the module of each: engine 2438 mm, abs 2440 mm.",
	AskValueNumber:        "{said} is no value I can read. Type the number and unit as the tool shows them: 2438 mm.",
	AskValueQuantity:      "Is {said} a circumference, diameter, radius, or something else? Type it with its unit: 2438 mm circumference.",
	AskValueLength:        "Is {value} {unit} the circumference, the diameter or the radius? Type it with the word: {value} {unit} diameter.",
	AskValueRevs:          "{value} turns per mile or per km? Type {value} rev/mile or {value} rev/km.",
	AskValuePulses:        "{value} pulses per mile or per km? Type {value} pulses/mile or {value} pulses/km.",
	AskValuePer:           "{value} what per {per}: turns of the wheel or pulses? Type {value} rev/{per} or {value} pulses/{per}.",
	AskValueUnit:          "{value} of what? It could be {might}. Type it with its unit: 2438 mm circumference, or 655 rev/mile.",
	AskValuePercent:       "{value} % of the original, or more than it? Type {offer}, or what the tool shows.",
	AskValueMark:          "{said}: {one}, or {other}? Type it with its unit, without a thousands mark: {other} mm.",
	AskStep:               "A step of {said} can't be. Type the smallest step: step 1.",
	AskLimits:             "Lowest {min} is not below highest {max}. Type them again: 1800 to 3000.",
	AskOutside:            "{value} lies outside {min} to {max}. Look at the tool again, and type value and limits as it shows them.",
	AskListChosen:         "A list of sizes: which one is chosen there now? Type list and that one: list 265/70R17.",
	AskLabel:              "{said} is not one entry of the list. Type it as the list shows it.",
	AskSizeAlone:          "I read {size} in {said}. Only the size belongs here.",
	AskSize:               "I find no tyre size in {said}. Type it as on the sidewall: 265/70R17, or 33x12.50R15.",
	"size_no_rim":         "The rim is missing in {said}. Type the whole size: 265/70R17.",
	"size_overall_only":   "{said} is only the height. Type the whole size from the sidewall: 33x12.50R15, or 285/75R16.",
	"size_no_aspect":      "{said} doesn't say its height. Type the full marking, or measure the rollout: rolled 5 turns 10.45 m.",
	"size_needs_table":    "{said} has no height in its name. Type the diameter the maker gives, or measure the rollout: rolled 5 turns 12.40 m.",
	"size_millimetres":    "{said} is marked in millimetres where inches are usual. Type it exactly as on the sidewall.",
	"size_order":          "{said}: diameter first, then width. Type it as on the sidewall: 33x12.50R15.",
	"size_impossible":     "{said} can't be a tyre size. Type it as on the sidewall: 265/70R17.",
	"size_run_together":   "{said}: do you mean {offer}? Type yes, or the size as on the sidewall.",
	"size_several":        "More than one size in {said}. Which one? Type only that.",
	"size_more_than_size": "There is more in {said} than a size. Type only the size: 265/70R17.",
	"size_too_long":       "That is too long for a size. Type only the size: 265/70R17.",
	AskVIN:                "{said} is no vehicle number: 17 letters and figures, no I, O or Q. Type it again, or skip it.",
	"vin_length":          "{said} has not the 17 letters and figures of a vehicle number. Type it again, or skip it.",
	"vin_letter":          "A vehicle number has no I, O or Q. Is it {offer}? Type yes, or type it again.",
	"vin_all_same":        "{said} is the same character 17 times. Type the number on the vehicle, or skip it.",
	"vin_check":           "The check digit of {text} doesn't fit: one character is wrong. Type it again, or skip it.",
	AskReadingNumber:      "{said} is no number I can read. Type dash, then GPS: 60/58.",
	AskOdometer:           "I can't read an odometer in {said}. Type the figure and unit: 48210 mi.",
	AskStretch:            "Type both over the same way: odometer 20.0 track 19.9.",
	AskVolts:              "{said} is no 12 V or 24 V supply. Type the voltage at the battery: 13.4 V.",
	AskTread:              "I can't read the tread in {said}. Type it new and now: new 8 mm now 7 mm.",
	AskTreadWhich:         "Is {value} mm the tread new or now? Type both: new 8 mm now 7 mm.",
	AskTreadOrder:         "More tread now ({now} mm) than new ({new} mm)? Type new, then now: new 8 mm now 7 mm.",
	AskPressure:           "I can't read the pressure in {said}. Type: placard pressure, or 40 psi, placard 36 psi.",
	AskRevs:               "{value} turns per mile or km fits no road tyre. Type the maker's figure: 620 revs/mile.",
	AskRollout:            "I can't read the rollout in {said}. Type turns and length: rolled 5 turns 12.87 m.",
	AskGears:              "Are the gears unchanged, or changed? Type: gears unchanged, or gears 3.73 to 4.10, or gears not known.",
	AskGearsWhich:         "Is {value} the ratio it left the factory with, or the one now? Type both: gears 3.73 to 4.10.",
	AskSpeedFrom:          "Is speed taken at the wheels or at the gearbox? Type one, or don't know.",
	AskLoad:               "I can't read the load in {said}. Type it from the sidewall: 1450 kg.",
	AskPlace:              "In the bay or at home? Type one.",
	AskUnits:              "Does the dash count mph or km/h? Type one.",
	AskLengths:            "mm or inch? Type one.",
	AskRule:               "Which accuracy rule: never under, or no rule? Type one.",
	AskAim:                "Which shall be right: dash or distance? Type one.",
	AskCodes:              "Which codes? Type them as read: P0300 U0121. Or: no codes.",
	AskLamps:              "Which lamps? Type their names: abs, airbag. Or: no lamps.",
	AskLine:               "There are {n} lines. Type all yes, or a line's number.",
	AskLines:              "Which lines are not? Type their numbers with no: 2 no. Or type a number to open that line.",
	AskLineTwice:          "Line {line} has two answers. Type it again: {line} yes, or {line} no.",
	AskReadBack:           "I can't read one value in {said}. Type what the module shows now: 2609.",
}

// More codes.
const (
	AskChoice = "choice" // not on the list: n
	AskTool   = "tool"   // the tool's word was not understood
)

// Codes about stored values.
const (
	AskValueNone     = "value_none"
	AskValueSeveral  = "value_several"  // more than one figure
	AskValueNumber   = "value_number"   // not a number, or not above zero
	AskValueQuantity = "value_quantity" // two quantities named, or unit and quantity disagree
	AskValueLength   = "value_length"   // circumference, diameter or radius: value, unit
	AskValueRevs     = "value_revs"     // per mile or km: value
	AskValuePulses   = "value_pulses"   // per mile or km: value
	AskValuePercent  = "value_percent"  // of the original, or more than it: value
	AskValuePer      = "value_per"      // what per mile or km: value, per
	AskValueUnit     = "value_unit"     // a bare figure: value, might
	AskValueMark     = "value_mark"     // decimal or thousands: one, other
	AskStep          = "step"           // not above zero
	AskLimits        = "limits"         // lowest not below highest: min, max
	AskOutside       = "outside"        // a value outside its own limits: value, min, max
	AskListChosen    = "list_chosen"    // a list of sizes, and not which of them is stored
	AskLabel         = "label"          // not one label of the list
)

// Codes about sizes and vehicle numbers; a size's code is "size_" and the reason of package tyre.
const (
	AskSize      = "size_not_a_size"
	AskSizeAlone = "size_alone" // more than one size where only that belongs: size
	AskVIN       = "vin_character"
)

// Codes about the rest.
const (
	AskOdometer   = "odometer"
	AskStretch    = "stretch"
	AskVolts      = "volts"
	AskTread      = "tread"
	AskTreadWhich = "tread_which"
	AskTreadOrder = "tread_order"
	AskPressure   = "pressure"
	AskRevs       = "revs"
	AskRollout    = "rollout"
	AskGears      = "gears"
	AskGearsWhich = "gears_which"
	AskSpeedFrom  = "speed_from"
	AskLoad       = "load"
	AskPlace      = "place"
	AskUnits      = "units"
	AskLengths    = "lengths"
	AskRule       = "rule"
	AskAim        = "aim"
	AskCodes      = "codes"
	AskLamps      = "lamps"
	AskLine       = "line"
	AskLines      = "lines"
	AskLineTwice  = "line_twice"
	AskReadBack   = "read_back"
)
