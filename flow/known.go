package flow

import (
	"milepost/calib"
)

// A set of tyres known from an earlier job, winter or summer, goes straight to
// the value known for it; one drive checks it.

// knownValue is the value that an earlier job knows for the size now fitted,
// where the job started from it.
func (s *State) knownValue() (Value, bool) {
	f := s.Sizes["fitted"].Text
	if s.Value(QKnown) != "yes" || f == "" || len(s.Readings) > 0 || s.Value(QGears) == "changed" {
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

// aimAtKnown puts the known value in the place of the one worked out.
func (t *turn) aimAtKnown(a *assessed) {
	v, ok := t.s.knownValue()
	if !ok || a.Target == nil || a.Decision.Do != calib.Write {
		return
	}
	target, value := *a.Target, calibValue(v)
	target.Value, target.Limited = value, ""
	a.Target, a.Decision.Value = &target, &value
	a.Decision.Because = "known from an earlier job with this size"
}
