package calib

import (
	"math"
	"slices"
	"testing"

	"milepost/calib/unit"
)

// TestDriveSpeeds: method page, section 8, and conversations/bay.txtar for a cap of 65.
func TestDriveSpeeds(t *testing.T) {
	for _, c := range []struct {
		unit  unit.Speed
		first bool
		limit float64
		want  []float64
	}{
		{unit.MPH, true, 0, []float64{70, 60, 50, 65, 55}},
		{unit.MPH, false, 0, []float64{70, 60, 65}},
		{unit.KMH, true, 0, []float64{110, 90, 80, 100, 70}},
		{unit.KMH, false, 130, []float64{110, 90, 100}},
		{unit.MPH, true, 65, []float64{65, 60, 50, 62, 55}},
		{unit.MPH, false, 65, []float64{65, 60, 62}},
		{unit.MPH, true, 60, []float64{60, 57, 50, 58, 55}},
		{unit.KMH, true, 100, []float64{100, 90, 80, 95, 70}},
		{unit.MPH, true, 62.137, []float64{62, 60, 50, 61, 55}},
	} {
		if got := DriveSpeeds(c.unit, c.first, c.limit); !slices.Equal(got, c.want) {
			t.Errorf("%s, first %v, cap %v: %v, want %v", c.unit, c.first, c.limit, got, c.want)
		}
	}
	for limit := 20.0; limit < 130; limit++ {
		for _, u := range []unit.Speed{unit.MPH, unit.KMH} {
			got := DriveSpeeds(u, true, limit)
			sorted := slices.Compact(slices.Sorted(slices.Values(got)))
			if len(sorted) != 5 || slices.Max(got) > limit || got[0] != slices.Max(got) {
				t.Errorf("%s, cap %v: %v", u, limit, got)
			}
		}
	}
}

// TestNextReading: section 8: nearly always the fastest allowed; for the offset the slowest. Figures there, after 70 60
// 50: sd of the error at 70 falls from 0.38 to 0.34 with one at 70, to 0.375 with one at 25.
func TestNextReading(t *testing.T) {
	m := mustFit(vehicleOf(nil, pairs(2438, 66, 70, 57, 60, 47, 50)))
	if v := m.NextReading(ForWorkSpeed); v != 70 {
		t.Errorf("next reading at %v", v)
	}
	if v := m.NextReading(ForOffset); v > 30 {
		t.Errorf("for the offset at %v", v)
	}
	_, sd := m.f.errorAt(m.now, 70)
	within(t, "sd now", sd, 0.38, 0.006)
	within(t, "with one at 70", math.Hypot(m.sdWith(70, ForWorkSpeed), 0.15), 0.34, 0.006)
	within(t, "with one at 25", math.Hypot(m.sdWith(25, ForWorkSpeed), 0.15), 0.375, 0.006)
	slow := mustFit(vehicleOf(func(k *Known) { k.FasterPossible = new(false) }, pairs(2438, 47, 50, 43, 45, 38, 40)))
	if v := slow.NextReading(ForWorkSpeed); v != 50 {
		t.Errorf("where faster can't be driven: %v", v)
	}
}

// TestForecast: section 10: ΔC/C = −1.6·mm/D, and a worn tyre makes the dash read high.
func TestForecast(t *testing.T) {
	m := mustFit(vehicleOf(nil, pairs(2438, first...), pairs(2589, 70, 70, 60, 60, 65, 65)))
	w, err := m.Forecast(Number(2589), 12, 3)
	if err != nil {
		t.Fatal(err)
	}
	within(t, "change", w.Change, -1.6*9/858.8, 1e-12)
	within(t, "value", w.Value.Number, 2589*(1+w.Change), 4)
	now, _, _ := m.ErrorAt(Number(2589), 70)
	within(t, "error at 70", w.ErrorAtW-now, -70*w.Change/(1+w.Change), 0.1)
	if _, err := m.Forecast(Number(2589), 3, 12); err == nil {
		t.Error("a tread that grows")
	}
	if _, err := m.Forecast(Label("x"), 12, 3); err == nil {
		t.Error("a label where a number is stored")
	}
}

// TestPairing: section 2, 3.
func TestPairing(t *testing.T) {
	for _, c := range []struct {
		name    string
		p       Pair
		ok      bool
		percent float64
	}{
		{"the same", Pair{802.8, 802.8, 858.8, 858.8, false}, true, 0},
		{"0.8 %", Pair{800, 800, 800, 806.4, false}, true, 0.8},
		{"0.8 %, all wheels", Pair{800, 800, 800, 806.4, true}, false, 0.8},
		{"1.2 %", Pair{800, 800, 800, 809.6, false}, false, 1.2},
		{"as a staggered placard", Pair{700, 714, 750, 765, true}, true, 0},
	} {
		r := c.p.Check()
		if r.OK != c.ok {
			t.Errorf("%s: %+v", c.name, r)
		}
		within(t, c.name, 100*r.Deviation, c.percent, 0.001)
	}
	for _, c := range []struct {
		left, right string
		l, r        float64
		want        bool
	}{{"265/70R17", "265/70R17", 8, 6.5, true}, {"265/70R17", "265/70R17", 8, 5, false}, {"265/70R17", "275/70R17", 8, 8, false}} {
		if ok, err := SameAxle(SizeText(c.left), SizeText(c.right), c.l, c.r); err != nil || ok != c.want {
			t.Errorf("%+v: %v, %v", c, ok, err)
		}
	}
}
