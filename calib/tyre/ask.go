package tyre

// Kind is why a text was not taken as a size.
type Kind string

// The reasons to ask.
const (
	NotASize      Kind = "not_a_size"     // nothing in the text reads as a size
	NoRim         Kind = "no_rim"         // "265/70", "33x12.50": the rim is missing
	OverallOnly   Kind = "overall_only"   // "33s": one number does not make a size
	NoAspect      Kind = "no_aspect"      // 195R14C: the aspect is not marked; table or measured rollout
	NeedsTable    Kind = "needs_table"    // 7.50R16, E78-14: no formula; table or measured rollout
	Millimetres   Kind = "millimetres"    // 235/710R460A, 1300x700-24: mm where inches or percent are usual
	Order         Kind = "order"          // 16x35-16: width before diameter, it seems
	Impossible    Kind = "impossible"     // numbers no tyre has
	RunTogether   Kind = "run_together"   // 2657017: offered apart
	SeveralSizes  Kind = "several"        // more than one size in a text that should be one
	MoreThanASize Kind = "more_than_size" // figures beside the size that were not understood
	TooLong       Kind = "too_long"       // longer than MaxText
)

// Ask is the error of Parse and Find: what can't be computed is asked about.
type Ask struct {
	Kind       Kind
	What       string   // the part of the text in doubt, as typed
	Suggest    []string // canonical sizes that may be meant; offered, never taken
	DiameterMM float64  // the table's diameter where there is one, offered to be confirmed; otherwise 0
	Source     string   // where DiameterMM stands
}

// reasons say in words why a text is no size, to be read behind the text itself.
var reasons = map[Kind]string{
	NotASize:      "is no tyre size",
	NoRim:         "lacks the rim",
	OverallOnly:   "is only the height, not a whole size",
	NoAspect:      "does not mark its height: give its diameter (od_mm)",
	NeedsTable:    "has no height in its name: give its diameter (od_mm)",
	Millimetres:   "is marked in millimetres where inches or percent are usual",
	Order:         "has the width before the diameter, it seems",
	Impossible:    "has figures that no tyre has",
	RunTogether:   "runs its figures together",
	SeveralSizes:  "is more than one size",
	MoreThanASize: "holds more than a size",
	TooLong:       "is too long for a size",
}

// Reason says why the text is no size, for whoever typed it: "is only the height,
// not a whole size". It follows the text.
func (a *Ask) Reason() string {
	text := reasons[a.Kind]
	if len(a.Suggest) > 0 {
		text += "; meant is " + a.Suggest[0] + "?"
	}
	return text
}

// Error names the reason and the part of the text, for logs and not for people.
func (a *Ask) Error() string {
	text := "parse size: " + string(a.Kind)
	if a.What != "" {
		text += ": " + quote(a.What)
	}
	return text
}
