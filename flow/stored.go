package flow

import (
	"math"
	"strings"

	"milepost/calib"
	"milepost/calib/unit"
	"milepost/flow/understand"
	"milepost/flow/words"
)

// Stored values: as read, with step, limits and list.

func hasStored(s *State) bool { return len(s.Modules) > 0 }

func (t *turn) askStored() { t.ask(QStored, "", "factory.stored", nil) }

func (t *turn) context() understand.Context {
	c := understand.Context{SpeedUnit: t.speedUnit(), DistanceUnit: t.distanceUnit()}
	if m := t.s.Main(); m != nil {
		for _, e := range m.List {
			c.Labels = append(c.Labels, e.Label)
		}
	}
	return c
}

func takeStored(t *turn, in *input) bool {
	ms, ask := understand.StoredValues(valueText(in.Text), t.context())
	if len(ms) == 0 && t.takeChosen(in) {
		return true
	}
	if len(ms) == 0 {
		in.ask = ask
		return false
	}
	for _, m := range ms {
		if !m.Value.Known() && len(m.Value.Might) == 0 && !t.fitsPlacard(m.Value.Value) {
			return false // a figure that is no stored value of any kind
		}
		t.recordStored(m.Value, "factory", false)
		in.take(m.Start, m.End)
	}
	alsoSteps(t, in)
	t.checkEntries()
	t.doubtLate()
	return true
}

// alsoStored takes a value beside another answer only where its unit or
// quantity is named, so that no tread or pressure is taken for it; a bare
// figure only where it fits the placard size in some unit.
func alsoStored(t *turn, in *input) {
	ms, ask := understand.StoredValues(valueText(in.Text), t.context())
	if ask != nil && (ask.Code == understand.AskOutside || ask.Code == understand.AskLimits || ask.Code == understand.AskStep) {
		t.understood("ask.text", words.Args{"Text": ask.Text()}) // or nobody knew why it is asked for again
	}
	for _, m := range ms {
		if !m.Value.Known() && (t.s.Phase != PhaseFactory || !t.fitsPlacard(m.Value.Value)) {
			continue
		}
		t.recordStored(m.Value, "factory", false)
		in.take(m.Start, m.End)
		if m.Value.Limits.Any() {
			alsoSteps(t, in) // or the range of an axle ratio is read as other gears
		}
	}
	t.checkEntries()
}

// valueText is a text without the tread depths in it, which are no values.
func valueText(text string) string {
	if m, ok, _ := understand.Treads(treadText(text)); ok {
		return understand.Mask(text, m.Start, m.End)
	}
	return text
}

// fitsPlacard says whether a bare figure could be the placard size's value in
// some unit.
func (t *turn) fitsPlacard(v float64) bool {
	z, ok := t.s.size("factory")
	if !ok {
		return false
	}
	e, err := calib.EntryCheck(calib.CircumferenceMM, v, calib.SizeText(z.Text))
	return err == nil && (e.Fits || len(e.Others) > 0)
}

// recordStored records a value as read. Which is factory or as_found.
func (t *turn) recordStored(v understand.Stored, which string, estimated bool) {
	f := &StoredFact{Value: Value{Num: v.Value, Label: v.Label}, Unit: v.Unit, Quantity: v.Quantity,
		KindName: kindNamed(v.Quantity, v.Unit), Which: which, Estimated: estimated, Module: v.Module, Shown: shownIn(v.TypedIn)}
	if v.Label != "" {
		f.Value.Num = 0
	}
	if v.Limits.Step != nil {
		f.Step = *v.Limits.Step
	}
	f.Min, f.Max = v.Limits.Min, v.Limits.Max
	if f.Shown != "" && f.Step == 0 {
		// A display in inches steps in its own decimals, not in mm: in tenths at
		// the coarsest, whole inches would be 1 % (common practice, no source).
		f.Step = round(unit.MillimetresPerInch*math.Pow(10, -float64(max(1, v.Decimals))), 6)
	}
	f.usualUnit()
	if old := t.s.Module(v.Module); old != nil {
		f.keep(old)
	}
	t.record(f)
}

// keep takes over what was known of a module and is not said anew.
func (f *StoredFact) keep(m *Module) {
	if f.Step == 0 {
		f.Step = m.Step
	}
	if f.Min == nil {
		f.Min = m.Min
	}
	if f.Max == nil {
		f.Max = m.Max
	}
	if f.List == nil {
		f.List = m.List
	}
	if f.Direction == "" {
		f.Direction = m.Direction
	}
	if f.KindName == "" {
		f.KindName, f.Quantity, f.Unit = m.Kind, m.Quantity, m.Unit
	}
	if f.Shown == "" {
		f.Shown = m.Shown
	}
}

// restate gives a module's present facts as an entry, to be changed and
// recorded anew.
func restate(m *Module) *StoredFact {
	f := &StoredFact{Value: m.Original, Which: "factory", Estimated: m.Estimated, Module: m.Name}
	if m.Original.Zero() {
		f.Value, f.Which = m.AsFound, "as_found"
	}
	f.keep(m)
	return f
}

// kindNamed gives the contract's value_kind of a quantity, "" if not known.
func kindNamed(quantity, _ string) string {
	q, ok := calib.QuantityNamed(quantity)
	if !ok {
		return ""
	}
	return string(q.Kind)
}

// shownIn is the unit in which the tool shows a length, where that is not
// metric: centimetres are spoken of in mm.
func shownIn(unit string) string {
	if unit == "in" {
		return unit
	}
	return ""
}

func takePercent(t *turn, in *input) bool {
	dir := in.Choice
	if dir == "" {
		text := strings.ToLower(in.Text)
		switch {
		case strings.Contains(text, "up") || strings.Contains(text, "larger") || strings.Contains(text, "higher"):
			dir = "up"
		case strings.Contains(text, "down") || strings.Contains(text, "smaller") || strings.Contains(text, "lower"):
			dir = "down"
		default:
			a, ok := understand.YesNo(in.Text)
			if !ok || a.Value != understand.NotSure {
				return false
			}
			dir = "not_known"
		}
	}
	f := restate(t.s.Main())
	f.Direction = dir
	if dir == "not_known" {
		f.Direction = "up" // the usual way; the first drive tells
		t.understood("factory.percent.usual", nil)
	}
	t.record(f)
	return true
}
