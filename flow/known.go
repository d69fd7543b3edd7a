package flow

import (
	"slices"

	"milepost/calib"
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
