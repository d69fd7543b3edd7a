package calib

import (
	"math"
	"testing"

	"milepost/calib/unit"
)

// A pair typed whole in the other unit has that unit's step once it is
// converted: it is no finer, and makes no drive one with tenths (calibration
// method, sections 1 and 4).
func TestStepOfConverted(t *testing.T) {
	const mile = unit.KMHPerMPH
	plain := vehicleOf(nil, pairs(2438, first...))
	mixed := vehicleOf(nil, pairs(2438, first...))
	mixed.Drives[0].Readings[4] = Reading{Indicated: 84 / mile, Reference: 89 / mile, DashStep: 1 / mile, GPSStep: 1 / mile}
	m := mustFit(mixed)
	for i, want := range []float64{1, 1, 1, 1, 1 / mile} {
		if m.obs[i].hG != want {
			t.Errorf("reading %d: step %v, want %v", i, m.obs[i].hG, want)
		}
	}
	if m.f.whole != 1 {
		t.Error("every GPS figure was typed whole")
	}
	half := func(c Case) float64 { e := review(t, c).Errors; return e[len(e)-1].PlusMinus }
	if a, b := half(plain), half(mixed); math.Abs(a-b) > 0.02 {
		t.Errorf("± %.3f in one unit, %.3f with one pair converted", a, b)
	}
	tenths := vehicleOf(nil, pairs(2438, first...))
	tenths.Drives[0].Readings[4] = Reading{Indicated: 52.2, Reference: 55.3}
	if half(tenths) > half(plain)-0.05 {
		t.Error("the test can't tell")
	}
	if m.obs[4].s >= m.obs[3].s {
		t.Error("a km/h is finer than a mph")
	}
	bad := vehicleOf(nil, Drive{Value: Number(2438), Readings: []Reading{{Indicated: 66, Reference: 70, GPSStep: 3}}})
	if _, err := Review(bad); err == nil {
		t.Error("a step of 3 is taken")
	}
}
