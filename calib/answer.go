package calib

import (
	"encoding/json"
	"math"
)

// Method is the version of the method, to be kept with every figure.
const Method = "cal-1"

// An Answer is the outcome of Target or Review. Figures are unrounded; Rounded gives those to print.
type Answer struct {
	ID       json.RawMessage `json:"id"`
	Method   string          `json:"method"`
	Target   *TargetFact     `json:"target,omitempty"` // nil with a size mismatch
	Prior    PriorFact       `json:"prior"`
	Estimate Estimate        `json:"estimate"`
	Errors   []SpeedError    `json:"errors"` // rising in At
	Decision Decision        `json:"decision"`
	Readings []ReadingNote   `json:"readings"` // in input order, struck and repeated ones too
	Warnings []Warning       `json:"warnings"`
}

// TargetFact is the value to write, snapped to step and limits, and where it comes from.
type TargetFact struct {
	Value           Value   `json:"value"`
	Unit            string  `json:"unit"`
	Quantity        string  `json:"quantity"`
	Low             float64 `json:"low"` // 95 % of the value before snapping, lower number first; mm for a list
	High            float64 `json:"high"`
	CircumferenceMM float64 `json:"circumference_mm"`  // S* before step and limits
	Limited         string  `json:"limited,omitempty"` // "min" or "max" where a limit holds the value
}

// PriorFact is what sizes and measurements predict before any reading (section 3): Cp and sp.
type PriorFact struct {
	CircumferenceMM float64 `json:"circumference_mm"`
	SDPercent       float64 `json:"sd_percent"`
}

// Estimate is what readings and prior give together (section 4).
type Estimate struct {
	U               float64 `json:"u"`
	Offset          float64 `json:"offset"`           // b, dash unit
	CircumferenceMM float64 `json:"circumference_mm"` // C_eff = C/(1+g)
	Low             float64 `json:"low"`              // 95 % of it
	High            float64 `json:"high"`
}

// SpeedError is the dash's mean error, shown minus true, at one true speed; all in dash units.
type SpeedError struct {
	At        float64 `json:"at"`
	Unit      string  `json:"unit"`
	Before    float64 `json:"before"`     // with the factory value
	After     float64 `json:"after"`      // with the value decided, or now stored where nothing is written
	PlusMinus float64 `json:"plus_minus"` // 95 % of After
}

// Action is what a decision asks for.
type Action string

// The decisions of section 9.
const (
	Done      Action = "done"
	Write     Action = "write"
	Read      Action = "read"
	CannotFix Action = "cannot_fix"
	Ask       Action = "ask"
)

// Reason says, for programs, which rule decided.
type Reason string

// The reasons behind a decision, in the order in which they are tried.
const (
	ReasonSizeMismatch  Reason = "size_mismatch"
	ReasonEntryUnit     Reason = "entry_unit"
	ReasonGearsUnknown  Reason = "gears_unknown"  // target only: drive first
	ReasonFirstTarget   Reason = "first_target"   // target only
	ReasonManyReadings  Reason = "many_readings"  // a 37th reading: supervisor
	ReasonTooFew        Reason = "too_few"        // rule 1
	ReasonUnitMix       Reason = "unit_mix"       // rule 2
	ReasonDidNotTake    Reason = "did_not_take"   // rule 2
	ReasonContradict    Reason = "contradict"     // rule 2
	ReasonTooSlow       Reason = "too_slow"       // rule 3
	ReasonWithin        Reason = "within"         // rule 4
	ReasonOdometerShort Reason = "odometer_short" // dash or distance: a person chooses
	ReasonManyWrites    Reason = "many_writes"    // a seventh write: supervisor
	ReasonBetter        Reason = "better"         // rule 5
	ReasonBelowTrue     Reason = "below_true"     // rule 5
	ReasonLimit         Reason = "limit"          // rule 6 or 8: a limit holds the value
	ReasonStep          Reason = "step"           // rule 6 or 8: between two steps or list entries
	ReasonOffset        Reason = "offset"         // rule 8
	ReasonUnsettled     Reason = "unsettled"      // rule 7
	ReasonAsGood        Reason = "as_good_as_it_gets"
)

// A Decision is the one thing to do next.
type Decision struct {
	Do      Action   `json:"do"`
	Value   *Value   `json:"value,omitempty"` // with Write
	Near    *float64 `json:"near,omitempty"`  // with Read: a true speed, dash unit
	Because string   `json:"because"`
	Reason  Reason   `json:"reason"`
}

// ReadingNote is what the fit made of one reading.
type ReadingNote struct {
	Drive      int     `json:"drive"`
	Index      int     `json:"index"`
	Indicated  float64 `json:"indicated"`
	Reference  float64 `json:"reference"`
	Weight     float64 `json:"weight"` // 0 for struck and repeated ones
	Z          float64 `json:"z"`      // |r|/s
	Questioned bool    `json:"questioned"`

	// Expected is what the dash should have shown at Reference, for the sentence that questions a reading.
	Expected float64 `json:"expected"`
}

// Has tells whether a warning of that code is in the answer.
func (a Answer) Has(code Code) bool {
	for _, w := range a.Warnings {
		if w.Code == code {
			return true
		}
	}
	return false
}

// Rounded is the answer with figures short enough to print: speeds and values to four decimals, millimetres to
// three, u to six. The value itself is left alone.
func (a Answer) Rounded() Answer {
	if a.Target != nil {
		t := *a.Target
		t.Low, t.High = round(t.Low, 1e4), round(t.High, 1e4)
		t.CircumferenceMM = round(t.CircumferenceMM, 1e3)
		a.Target = &t
	}
	a.Prior = PriorFact{round(a.Prior.CircumferenceMM, 1e3), round(a.Prior.SDPercent, 1e4)}
	e := a.Estimate
	a.Estimate = Estimate{round(e.U, 1e6), round(e.Offset, 1e4), round(e.CircumferenceMM, 1e3), round(e.Low, 1e3), round(e.High, 1e3)}
	errors := make([]SpeedError, len(a.Errors))
	for i, e := range a.Errors {
		errors[i] = SpeedError{round(e.At, 1e4), e.Unit, round(e.Before, 1e4), round(e.After, 1e4), round(e.PlusMinus, 1e4)}
	}
	a.Errors = errors
	if n := a.Decision.Near; n != nil {
		near := round(*n, 1e4)
		a.Decision.Near = &near
	}
	notes := make([]ReadingNote, len(a.Readings))
	for i, n := range a.Readings {
		n.Indicated, n.Reference = round(n.Indicated, 1e4), round(n.Reference, 1e4)
		n.Weight, n.Z, n.Expected = round(n.Weight, 1e4), round(n.Z, 1e3), round(n.Expected, 1e3)
		notes[i] = n
	}
	a.Readings = notes
	return a
}

// round keeps 1/scale; adding zero turns −0 into 0.
func round(v, scale float64) float64 { return math.Round(v*scale)/scale + 0 }

// finite tells whether every figure of the answer is a number below 1e15, so that it prints as a plain decimal.
func (a Answer) finite() bool {
	ok := func(vs ...float64) bool {
		for _, v := range vs {
			if !(math.Abs(v) < 1e15) {
				return false
			}
		}
		return true
	}
	if t := a.Target; t != nil && !ok(t.Value.Number, t.Low, t.High, t.CircumferenceMM) {
		return false
	}
	e := a.Estimate
	if !ok(a.Prior.CircumferenceMM, a.Prior.SDPercent, e.U, e.Offset, e.CircumferenceMM, e.Low, e.High) {
		return false
	}
	for _, e := range a.Errors {
		if !ok(e.At, e.Before, e.After, e.PlusMinus) {
			return false
		}
	}
	for _, n := range a.Readings {
		if !ok(n.Weight, n.Z, n.Expected) {
			return false
		}
	}
	return true
}
