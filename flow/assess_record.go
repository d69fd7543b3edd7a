package flow

import (
	"math"
	"slices"

	"milepost/calib"
)

// recordTargets records the value to write of every module: the main one's as
// the method gave it, each other converted to its own kind, step and limits.
func (t *turn) recordTargets(a assessed) {
	main := t.s.Main()
	r := a.Rounded().Target
	t.record(&TargetFact{Value: flowValue(r.Value), Unit: r.Unit, Quantity: r.Quantity, Low: r.Low, High: r.High,
		CircumferenceMM: r.CircumferenceMM, Limited: r.Limited, Module: main.Name, Method: a.Method, Program: t.env.Program})
	for i := range t.s.Modules {
		if i > 0 {
			t.recordConverted(a, &t.s.Modules[i])
		}
	}
}

// recordConverted records the target of a further module. Where a limit holds
// the main module's value, the others follow it, so that all agree.
func (t *turn) recordConverted(a assessed, m *Module) {
	mm := a.Target.CircumferenceMM
	part := (a.Target.High - a.Target.Low) / (a.Target.High + a.Target.Low)
	sref, err := calib.StoredFromSize(t.s.calibSize("factory"))
	if err != nil {
		t.fail(err)
		return
	}
	if scale, ok := t.s.Main().scale(sref); ok && a.Target.Limited != "" {
		mm = scale.Circumference(a.Target.Value.Number)
	}
	f := &TargetFact{Unit: m.Unit, Quantity: m.Quantity, CircumferenceMM: round(mm, 3), Module: m.Name,
		Method: a.Method, Program: t.env.Program}
	if m.Kind == string(calib.SizeList) {
		f.Value.Label = nearestLabel(m.List, mm)
		f.Low, f.High = round(mm*(1-part), 1), round(mm*(1+part), 1)
		t.record(f)
		return
	}
	scale, ok := m.scale(sref)
	if !ok {
		return
	}
	step, low, high := m.step(), 0.0, 1e7
	if m.Min != nil {
		low = *m.Min
	}
	if m.Max != nil {
		high = *m.Max
	}
	v, limited := scale.Snap(mm, step, low, high, t.aimsOver())
	f.Value, f.Limited = Number(v), limited
	f.Low, f.High = round(scale.Value(mm*(1-part)), 4), round(scale.Value(mm*(1+part)), 4)
	if f.Low > f.High {
		f.Low, f.High = f.High, f.Low
	}
	t.record(f)
}

// aimsOver says whether of two steps the one that shows more is taken.
func (t *turn) aimsOver() bool {
	p := t.aimPolicy()
	return p == calib.PolicyNeverUnder || (p == "" && t.accuracyRule() == string(calib.RuleNeverUnder))
}

func nearestLabel(list []ListEntry, mm float64) string {
	best, least := "", math.Inf(1)
	for _, e := range list {
		c := e.CircumferenceMM
		if c == 0 {
			c, _ = calib.StoredFromSize(calib.SizeText(e.Label))
		}
		if d := math.Abs(c - mm); c > 0 && d < least {
			best, least = e.Label, d
		}
	}
	return best
}

// recordErrors records the dash's errors with the value that counts.
func (t *turn) recordErrors(a assessed, v Value) {
	f := &ErrorsFact{Value: v, Method: a.Method}
	for _, e := range a.Rounded().Errors {
		if e.At > a.W {
			continue // faster than anyone is asked to drive
		}
		f.Errors = append(f.Errors, SpeedError{At: e.At, Unit: e.Unit, Before: e.Before, After: e.After, PlusMinus: e.PlusMinus})
	}
	t.record(f)
}

// recordDecision records what the method decided, with its warnings.
func (t *turn) recordDecision(a assessed) {
	d := a.Rounded().Decision
	f := &DecisionFact{Do: string(d.Do), Because: d.Because, Reason: string(d.Reason), Method: a.Method, Program: t.env.Program}
	if d.Value != nil {
		f.Value = flowValue(*d.Value)
	}
	if d.Near != nil {
		f.Near = *d.Near
	}
	for _, w := range a.Warnings {
		if !slices.Contains(f.Warnings, string(w.Code)) {
			f.Warnings = append(f.Warnings, string(w.Code))
		}
	}
	t.record(f)
}
