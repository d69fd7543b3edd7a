package flow

import (
	"slices"

	"milepost/calib"
	"milepost/flow/words"
)

// A set of tyres known from an earlier job, winter or summer, goes straight to
// the value known for it; one drive checks it.

// earlierValue is the value that an earlier job knows for the size now fitted,
// where the job started from it: a prior of its own (calibration method,
// section 10).
func (s *State) earlierValue() (Value, bool) {
	f := s.Sizes["fitted"].Text
	m := s.Main()
	if s.Value(QKnown) != "yes" || f == "" || s.Value(QGears) == "changed" || m == nil || s.Known.ValueKind != m.Kind {
		return Value{}, false
	}
	switch k := &s.Known; {
	case same(f, k.Fitted.Text):
		return k.Left, true
	case same(f, k.Factory.Text) && !k.Estimated:
		return k.Original, true
	}
	return Value{}, false
}

// knownValue is the earlier value while nothing has been read: it is written
// as it is.
func (s *State) knownValue() (Value, bool) {
	if len(s.Readings) > 0 {
		return Value{}, false
	}
	return s.earlierValue()
}

// checksKnown says whether the drive to come checks a known value that is
// stored now: three speeds are enough for it.
func (s *State) checksKnown() bool {
	v, ok := s.knownValue()
	return ok && s.Main().Now == v
}

// aimAtKnown puts the known value in the place of the one worked out, with the
// circumference, the interval and the errors that belong to it.
func (t *turn) aimAtKnown(a *assessed) {
	v, ok := t.s.knownValue()
	if !ok || a.Target == nil || a.Decision.Do != calib.Write {
		return
	}
	target, value := *a.Target, calibValue(v)
	if mm, ok := t.circumference(v); ok && target.CircumferenceMM > 0 {
		scale := mm / target.CircumferenceMM
		if target.Value.Number > 0 && value.Number < target.Value.Number != (mm < target.CircumferenceMM) {
			scale = 1 / scale // a number that goes down for a larger tyre
		}
		target.CircumferenceMM, target.Low, target.High = mm, target.Low*scale, target.High*scale
	}
	target.Value, target.Limited = value, ""
	a.Errors = slices.Clone(a.Errors)
	for i, e := range a.Errors {
		if mean, pm, err := a.Model.ErrorAt(value, e.At); err == nil {
			a.Errors[i].After, a.Errors[i].PlusMinus = mean, pm
		}
	}
	a.Target, a.Decision.Value = &target, &value
	a.Decision.Because = "known from an earlier job with this size"
}

// circumference is what a value of the main module stands for, mm.
func (t *turn) circumference(v Value) (float64, bool) {
	m := t.s.Main()
	if v.Label != "" {
		for _, e := range m.List {
			if same(e.Label, v.Label) && e.CircumferenceMM > 0 {
				return e.CircumferenceMM, true
			}
		}
		mm, err := calib.StoredFromSize(calib.SizeText(v.Label))
		return mm, err == nil
	}
	sref, err := calib.StoredFromSize(t.s.calibSize("factory"))
	if err != nil {
		return 0, false
	}
	scale, ok := m.scale(sref)
	return scale.Circumference(v.Num), ok
}

// offerKnown notes that the vehicle is known from an earlier job, so that its
// figures can be offered for one yes.
func (t *turn) offerKnown() {
	k := t.env.Known
	if k == nil || t.s.KnownSet != "" || k.Job == t.s.Job || k.Module.Now.Zero() {
		return
	}
	t.record(&KnownFact{Job: k.Job, Factory: k.Factory, Fitted: k.Size, ValueKind: k.Module.Kind, Quantity: k.Module.Quantity,
		Unit: k.Module.Unit, Original: k.Module.Original, Estimated: k.Module.Estimated, Left: k.Module.Now,
		Step: k.Module.Step, Min: k.Module.Min, Max: k.Module.Max})
	if k.Odometer > 0 {
		t.record(&AnswerFact{Question: QOdometer, About: aboutKnown, Number: k.Odometer, Unit: k.OdometerUnit})
	}
}

func askKnown(t *turn) {
	k := t.s.Known
	m := &Module{Unit: k.Unit, Kind: k.ValueKind, Step: k.Step}
	t.ask(QKnown, "", "open.known", words.Args{"Job": k.Job, "Value": withUnit(m, k.Left), "Size": k.Fitted.Text,
		"Original": withUnit(m, k.Original)}, "yes", "no")
}

// takeKnown starts from what the earlier job left: placard size, factory value
// and limits are not asked again.
func takeKnown(t *turn, in *input) bool {
	a := yesNo(in)
	if a != "yes" && a != "no" {
		return false
	}
	t.record(&AnswerFact{Question: QKnown, Value: a})
	if a == "no" {
		return true
	}
	k := t.s.Known
	f := k.Factory
	f.Which = "factory"
	t.record(&f)
	s := &StoredFact{Value: k.Original, Unit: k.Unit, Quantity: k.Quantity, KindName: k.ValueKind, Which: "factory",
		Estimated: k.Estimated, Step: k.Step, Min: k.Min, Max: k.Max}
	t.record(s)
	if k.Left != k.Original {
		l := *s
		l.Which, l.Value, l.Estimated = "as_found", k.Left, false
		t.record(&l)
	}
	t.record(&AnswerFact{Question: QSteps, Value: "known"})
	t.record(&AnswerFact{Question: QOnly, Value: "yes_both"})
	return true
}
