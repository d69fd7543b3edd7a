package calib

import (
	"math"
	"testing"

	"milepost/calib/unit"
)

func ruleFor(t *testing.T, id string) AccuracyRule {
	t.Helper()
	r, ok := AccuracyRuleByID(id)
	if !ok {
		t.Fatalf("no rule %s", id)
	}
	return r
}

// TestRuleVerdicts: check-value page, section 4, rule-engine rows.
func TestRuleVerdicts(t *testing.T) {
	for _, c := range []struct {
		indicated, truth float64
		rule             string
		unit             unit.Speed
		want             Verdict
	}{
		{80, 80, "un-r39", unit.KMH, Pass},
		{79.9, 80, "un-r39", unit.KMH, FailLow},
		{92.0, 80, "un-r39", unit.KMH, Pass},
		{92.1, 80, "un-r39", unit.KMH, FailHigh},
		{93, 80, "un-r39-production", unit.KMH, Pass},
		{50, 54.9, "49-cfr-393.82", unit.MPH, Pass},
		{50, 55.1, "49-cfr-393.82", unit.MPH, FailLow},
		{90, 100, "adr-18-02", unit.KMH, Pass},
		{89.9, 100, "adr-18-02", unit.KMH, FailLow},
		// below, our own readings of the clauses
		{55.1, 50, "49-cfr-393.82", unit.MPH, FailHigh},
		{88, 80, "49-cfr-393.82", unit.KMH, Pass},
		{88.1, 80, "49-cfr-393.82", unit.KMH, FailHigh},
		{30, 36, "49-cfr-393.82", unit.MPH, NotTested},
		{30, 40, "adr-18-02", unit.KMH, NotTested},
		{110.1, 100, "adr-18-02", unit.KMH, FailHigh},
		{90, 100, "nsw-40a", unit.KMH, Pass},
		{89, 100, "nsw-40a", unit.KMH, FailLow},
		{150, 100, "nsw-40a", unit.KMH, Pass},
		{40, 50, "nsw-40a", unit.KMH, NotTested},
		{80, 80, "adr-18-03", unit.KMH, Pass},
		{79, 80, "adr-18-03", unit.KMH, FailLow},
		{58, 50, "eec-75-443", unit.KMH, Pass},
	} {
		if got := ruleFor(t, c.rule).Verdict(c.indicated, c.truth, c.unit); got != c.want {
			t.Errorf("%v shown at %v %s under %s: %s, want %s", c.indicated, c.truth, c.unit, c.rule, got, c.want)
		}
	}
}

// TestRuleRanges: check-value page, section 4, the tables worked out from UN R39.
func TestRuleRanges(t *testing.T) {
	r39, production, l3 := ruleFor(t, "un-r39"), ruleFor(t, "un-r39-production"), ruleFor(t, "un-r39-production-l3")
	for _, c := range []struct{ truth, plus4, plus6, plus8 float64 }{
		{40, 48, 50, 52}, {50, 59, 61, 63}, {80, 92, 94, 96}, {100, 114, 116, 118}, {120, 136, 138, 140}, {130, 147, 149, 151},
	} {
		for r, want := range map[*AccuracyRule]float64{&r39: c.plus4, &production: c.plus6, &l3: c.plus8} {
			low, high, ok := r.Range(c.truth, unit.KMH)
			if !ok || low != c.truth || math.Abs(high-want) > 1e-9 {
				t.Errorf("%s at %v: %v to %v, want %v to %v", r.ID, c.truth, low, high, c.truth, want)
			}
		}
	}
	for _, c := range []struct {
		indicated, low float64
		unit           unit.Speed
	}{
		{40, 32.73, unit.KMH}, {50, 41.82, unit.KMH}, {80, 69.09, unit.KMH}, {100, 87.27, unit.KMH}, {120, 105.45, unit.KMH},
		{30, 25.01, unit.MPH}, {50, 43.20, unit.MPH}, {70, 61.38, unit.MPH},
	} {
		low, high := r39.TrueRange(c.indicated, c.unit)
		if math.Abs(low-c.low) > 0.006 || high != c.indicated {
			t.Errorf("%v %s indicated: true %.2f to %.2f, want %.2f to %v", c.indicated, c.unit, low, high, c.low, c.indicated)
		}
	}
	for truth, want := range map[float64]float64{30: 35.49, 50: 57.49, 70: 79.49} {
		if _, high, _ := r39.Range(truth, unit.MPH); math.Abs(high-want) > 0.006 {
			t.Errorf("at %v mph at most %.2f, want %.2f", truth, high, want)
		}
	}
}

// TestRuleRows: every rule and class names its document, clause and mark.
func TestRuleRows(t *testing.T) {
	seen := map[string]bool{}
	for _, r := range AccuracyRules() {
		if r.ID == "" || r.Document == "" || r.Clause == "" || r.Mark == "" || r.Kind == "" || seen[r.ID] {
			t.Errorf("incomplete or repeated: %+v", r)
		}
		seen[r.ID] = true
	}
	for _, c := range RegulatedClasses() {
		if c.Region == "" || c.Class == "" || c.Equipment == "" || c.Source == "" || c.Mark == "" {
			t.Errorf("incomplete: %+v", c)
		}
	}
	if _, ok := AccuracyRuleByID("none such"); ok {
		t.Error("a rule that is not there")
	}
}
