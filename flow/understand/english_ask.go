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
	AskReadingNone:    "I find no pair of speeds in {said}. Type dash, then GPS: 60/58.",
	AskReadingSingle:  "One figure, {value}. Which other belongs to it? Type both, dash first: 60/58.",
	AskReadingOdd:     "One figure is left over in {said}. Type pairs, dash first: 66/70 57/60.",
	AskReadingWhich:   "In {said}, which is the dash? Type dash, then GPS: 60/58, or name them: dash 60 gps 58.",
	AskReadingTwice:   "Both figures in {said} are from the {label}. Type dash, then GPS: 60/58.",
	AskReadingTool:    "A figure from the tool is not the dash. What does the dash itself show? Type dash, then GPS: 60/58.",
	AskReadingRange:   "{pair}: one of them is no road speed (up to {top} {unit}). Type dash, then GPS again: 60/58.",
	AskReadingRatio:   "{pair} are too far apart to be one reading. Type dash, then GPS again: 60/58.",
	AskReadingUnits:   "Dash {dash} in {dash_unit} and GPS {gps} in {gps_unit}? Then it is {offer}. Type yes, or both in one unit.",
	AskReadingComma:   "{said}: is the comma a decimal mark or between two figures? Type 66/70, or 66.7/70.0.",
	AskReadingRangeOf: "{said} is a range. Hold the speed, then type one figure each: 60/58.",
	AskReadingNot:     "{said}: type what it was instead, dash first: 60/58.",
	AskReadingNumber:  "{said} is no number I can read. Type dash, then GPS: 60/58.",
}

// More codes.
const (
	AskChoice = "choice" // not on the list: n
	AskTool   = "tool"   // the tool's word was not understood
)
