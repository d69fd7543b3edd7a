package calib

import (
	"math"
	"testing"

	"milepost/calib/unit"
)

func within(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s = %.6g, want %.6g ± %g", what, got, want, tolerance)
	}
}

func quantity(t *testing.T, kind Kind) Quantity {
	t.Helper()
	q, ok := QuantityOf(kind)
	if !ok {
		t.Fatalf("no kind %s", kind)
	}
	return q
}

// TestConversionRows: check-value page, 3.1, conversion rows (computed there); pulses at eight per turn.
func TestConversionRows(t *testing.T) {
	for _, c := range []struct{ mm, revMile, revKM, inch, radius, pulseKM, pulseMile float64 }{
		{1900, 847.02, 526.32, 23.811, 302.39, 4210.5, 6776.2},
		{1926, 835.59, 519.21, 24.136, 306.53, 4153.7, 6684.7},
		{2100, 766.35, 476.19, 26.317, 334.23, 3809.5, 6130.8},
		{2250, 715.26, 444.44, 28.197, 358.10, 3555.6, 5722.1},
		{2446, 657.95, 408.83, 30.653, 389.29, 3270.6, 5263.6},
		{2522, 638.12, 396.51, 31.605, 401.39, 3172.1, 5105.0},
		{2600, 618.98, 384.62, 32.583, 413.80, 3076.9, 4951.8},
		{2659, 605.24, 376.08, 33.322, 423.19, 3008.6, 4842.0},
		{2742, 586.92, 364.70, 34.362, 436.40, 2917.6, 4695.4},
		{3200, 502.92, 312.50, 40.102, 509.30, 2500.0, 4023.4},
		{3300, 487.68, 303.03, 41.355, 525.21, 2424.2, 3901.4},
	} {
		for kind, want := range map[Kind]float64{RevMile: c.revMile, RevKM: c.revKM, RadiusMM: c.radius, DiameterMM: c.inch * unit.MillimetresPerInch} {
			got, ok := quantity(t, kind).Value(c.mm)
			if !ok {
				t.Fatalf("%s of %v", kind, c.mm)
			}
			within(t, string(kind), got, want, 0.013) // half a unit of the page's last digit, in mm for inches
		}
		for kind, want := range map[Kind]float64{PulseKM: c.pulseKM, PulseMile: c.pulseMile} {
			first := 8e6 / 1900.0
			if kind == PulseMile {
				first = 8 * unit.MillimetresPerMile / 1900
			}
			s, _ := NewScale(kind, first, 1900, "")
			within(t, string(kind), s.Value(c.mm), want, 0.06)
		}
	}
}

// TestDirections: check-value page, 3.1: a bigger tyre moves every unit by the ratio, up or down.
func TestDirections(t *testing.T) {
	want := map[Kind]Direction{CircumferenceMM: Up, DiameterMM: Up, RadiusMM: Up, RevMile: Down, RevKM: Down, PulseMile: Down, PulseKM: Down, AxleRatio: Down, Percent: Up, SizeList: Up}
	if len(want) != len(Quantities()) {
		t.Fatalf("%d kinds, want %d", len(Quantities()), len(want))
	}
	for kind, direction := range want {
		s, ok := NewScale(kind, 100, 2400, "")
		if !ok || s.Quantity().Direction != direction {
			t.Fatalf("%s goes %s", kind, s.Quantity().Direction)
		}
		ratio := s.Value(2400*1.08719) / s.Value(2400)
		if direction == Down {
			ratio = 1 / ratio
		}
		within(t, string(kind), ratio, 1.08719, 1e-9)
	}
	s, _ := NewScale(Percent, 100, 2400, Down)
	within(t, "percent, the other way", s.Value(2400*1.25), 80, 1e-9)
	if _, ok := QuantityNamed("revs_per_mile"); !ok {
		t.Error("no quantity revs_per_mile")
	}
}

// TestTachographRows: check-value page, 3.2, w = n·10⁶/l and the tolerance worked out there.
func TestTachographRows(t *testing.T) {
	s, _ := NewScale(PulseKM, 8000, 3150, "")
	within(t, "w at l 3150", 25.2e6/3150, 8000, 1e-9)
	within(t, "l at w 8000", s.Circumference(8000), 3150, 1e-9)
	within(t, "distance at l 3087, %", 100*(s.Circumference(8000)/3087-1), 2.041, 0.0005)
	within(t, "distance at l 3024, %", 100*(s.Circumference(8000)/3024-1), 4.167, 0.0005)
}

// worked: check-value page, section 9: diameters by the exact-inch formula, S0 as printed.
var worked = []struct {
	factory, fitted                  string
	dFact, dNew, ratio, s0, target   float64
	at30, at50, at70, k50, k80, k120 float64
	trueAt70, trueAt120              float64
	flotation                        bool
}{
	{"225/65R17", "235/65R17", 724.3, 737.3, 1.01795, 2207, 2246.6, 29.47, 49.12, 68.77, 49.12, 78.59, 117.88, 71.26, 122.15, false},
	{"235/60R18", "255/70R17", 739.2, 788.8, 1.06710, 2253, 2404.2, 28.11, 46.86, 65.60, 46.86, 74.97, 112.45, 74.70, 128.05, false},
	{"265/65R17", "265/70R17", 776.3, 802.8, 1.03414, 2366, 2446.8, 29.01, 48.35, 67.69, 48.35, 77.36, 116.04, 72.39, 124.10, false},
	{"265/70R17", "285/70R17", 802.8, 830.8, 1.03488, 2446, 2531.3, 28.99, 48.31, 67.64, 48.31, 77.30, 115.96, 72.44, 124.19, false},
	{"265/70R17", "315/70R17", 802.8, 872.8, 1.08719, 2446, 2659.3, 27.59, 45.99, 64.39, 45.99, 73.58, 110.38, 76.10, 130.46, false},
	{"275/65R18", "295/70R18", 814.7, 870.2, 1.06812, 2483, 2652.1, 28.09, 46.81, 65.54, 46.81, 74.90, 112.35, 74.77, 128.17, false},
	{"275/60R20", "35x12.50R20LT", 838.0, 889.0, 1.06086, 2554, 2709.4, 28.28, 47.13, 65.98, 47.13, 75.41, 113.12, 74.26, 127.30, true},
	{"215/65R16", "225/75R16", 685.9, 743.9, 1.08456, 2090, 2266.7, 27.66, 46.10, 64.54, 46.10, 73.76, 110.64, 75.92, 130.15, false},
	{"225/70R15", "215/70R15", 696.0, 682.0, 0.97989, 2121, 2078.3, 30.62, 51.03, 71.44, 51.03, 81.64, 122.46, 68.59, 117.59, false},
	{"225/45R17", "205/55R16", 634.3, 631.9, 0.99622, 1933, 1925.7, 30.11, 50.19, 70.27, 50.19, 80.30, 120.46, 69.74, 119.55, false},
	{"235/45R18", "215/55R17", 668.7, 668.3, 0.99940, 2038, 2036.8, 30.02, 50.03, 70.04, 50.03, 80.05, 120.07, 69.96, 119.93, false},
	{"195/65R15", "225/40R18", 634.5, 637.2, 1.00426, 1934, 1942.2, 29.87, 49.79, 69.70, 49.79, 79.66, 119.49, 70.30, 120.51, false},
	{"LT245/75R16", "LT265/75R16", 773.9, 803.9, 1.03876, 2358, 2449.4, 28.88, 48.13, 67.39, 48.13, 77.01, 115.52, 72.71, 124.65, false},
	{"LT235/85R16", "LT285/75R16", 805.9, 833.9, 1.03474, 2456, 2541.3, 28.99, 48.32, 67.65, 48.32, 77.31, 115.97, 72.43, 124.17, false},
	{"30x9.50R15LT", "33x12.50R15LT", 762.0, 838.2, 1.10000, 2322, 2554.2, 27.27, 45.45, 63.64, 45.45, 72.73, 109.09, 77.00, 132.00, false},
	{"31x10.50R15LT", "35x12.50R15LT", 787.4, 889.0, 1.12903, 2399, 2708.5, 26.57, 44.29, 62.00, 44.29, 70.86, 106.29, 79.03, 135.48, false},
	{"LT225/75R16", "33x10.50R16LT", 743.9, 838.2, 1.12676, 2267, 2554.4, 26.62, 44.37, 62.12, 44.37, 71.00, 106.50, 78.87, 135.21, true},
	{"275/70R22.5", "295/80R22.5", 956.5, 1043.5, 1.09096, 2915, 3180.1, 27.50, 45.83, 64.16, 45.83, 73.33, 110.00, 76.37, 130.91, false},
	{"295/75R22.5", "285/75R24.5", 1014.0, 1049.8, 1.03531, 3090, 3199.1, 28.98, 48.29, 67.61, 48.29, 77.27, 115.91, 72.47, 124.24, false},
	{"315/80R22.5", "315/70R22.5", 1075.5, 1012.5, 0.94142, 3277, 3085.0, 31.87, 53.11, 74.36, 53.11, 84.98, 127.47, 65.90, 112.97, false},
}

// TestWorkedExamples: check-value page, section 9. The page scales by nominal diameters; the method's factory-anchored
// prediction is the same figure unless just one of the sizes is a flotation size (then 0.988 of it, section 3).
func TestWorkedExamples(t *testing.T) {
	for _, c := range worked {
		m, err := newModel(&Case{Known: Known{ValueKind: CircumferenceMM, StoredFactoryValue: Number(c.s0), FactorySize: SizeText(c.factory), NewSize: SizeText(c.fitted)}}, false)
		if err != nil {
			t.Fatalf("%s to %s: %v", c.factory, c.fitted, err)
		}
		name := c.factory + " to " + c.fitted
		within(t, name+": D0", m.j.D0, c.dFact, 0.0501)
		within(t, name+": D1", m.j.D1, c.dNew, 0.0501)
		within(t, name+": ratio", m.Effects().SizeRatio, c.ratio, 5.1e-6)
		target := c.target
		if c.flotation {
			target *= flotationShrink
		}
		within(t, name+": target", m.f.Cp, target, 0.06)
		if !m.j.entry.Checked || !m.j.entry.Fits {
			t.Errorf("%s: %v does not fit, factor %.3f", name, c.s0, m.j.entry.Factor)
		}
		ratio := m.Effects().SizeRatio
		for truth, want := range map[float64]float64{30: c.at30, 50: c.at50, 70: c.at70, 80: c.k80, 120: c.k120} {
			within(t, name+": dash before", truth/ratio, want, 0.0051)
		}
		within(t, name+": true at dash 70", TrueDistance(70, ratio), c.trueAt70, 0.0051)
		within(t, name+": true at dash 120", TrueDistance(120, ratio), c.trueAt120, 0.0051)
	}
}

// TestOtherUnits: check-value page, section 9, row 5 in other stored units, odometer and axle ratio.
func TestOtherUnits(t *testing.T) {
	const ratio = 1.08719
	for _, c := range []struct {
		kind        Kind
		value, want float64
		tolerance   float64
	}{
		{RevMile, 655, 602.5, 0.06}, {RevKM, 407, 374.4, 0.06}, {PulseKM, 3256, 2994.9, 0.06}, {RadiusMM, 389, 422.9, 0.06}, {DiameterMM, 31.6 * 25.4, 34.36 * 25.4, 0.13},
	} {
		s, _ := NewScale(c.kind, c.value, 2446, "")
		within(t, string(c.kind), s.Value(s.Circumference(c.value)*ratio), c.want, c.tolerance)
	}
	within(t, "odometer", TrueDistance(1000, ratio), 1087.2, 0.06)
	within(t, "axle ratio", EffectiveAxleRatio(3.73, ratio), 3.431, 0.0006)
}

// TestSnap: check-value page, 9.2, rounding to the module's step.
func TestSnap(t *testing.T) {
	mm, _ := NewScale(CircumferenceMM, 0, 0, "")
	rev, _ := NewScale(RevMile, 0, 0, "")
	for _, c := range []struct {
		scale     Scale
		mm, step  float64
		low, high float64
		larger    bool
		want      float64
		limited   string
	}{
		{mm, 2633.0, 1, 0, 1e7, false, 2633, ""},
		{mm, 2633.0, 5, 0, 1e7, false, 2635, ""},
		{mm, 2633.0, 10, 0, 1e7, false, 2630, ""},
		{mm, 2631.0, 10, 0, 1e7, true, 2640, ""},
		{mm, 2630.0, 10, 0, 1e7, true, 2630, ""},
		{mm, 2633.0, 1, 0, 2400, false, 2400, "max"},
		{mm, 2633.0, 1, 2700, 3000, false, 2700, "min"},
		{rev, unit.MillimetresPerMile / 611.2, 1, 0, 1e7, false, 611, ""},
		{rev, unit.MillimetresPerMile / 611.8, 1, 0, 1e7, false, 612, ""},
		{rev, unit.MillimetresPerMile / 611.8, 1, 0, 1e7, true, 611, ""}, // shows more
		{rev, unit.MillimetresPerMile / 611.2, 1, 650, 700, false, 650, "min"},
	} {
		got, limited := c.scale.Snap(c.mm, c.step, c.low, c.high, c.larger)
		if got != c.want || limited != c.limited {
			t.Errorf("%.1f mm, step %v, larger %v: %v %q, want %v %q", c.mm, c.step, c.larger, got, limited, c.want, c.limited)
		}
	}
	axle, _ := NewScale(AxleRatio, 3.55, 2446, "")
	if v, _ := axle.Snap(2446*3.55/3.2841, 0.01, 0, 1e7, false); v != 3.28 {
		t.Errorf("axle ratio %v, want 3.28 without dust", v)
	}
}

// TestEntryCheck: check-value page, 9.2, sanity gate, and the method page, section 2, 1.
func TestEntryCheck(t *testing.T) {
	for _, c := range []struct {
		kind   Kind
		value  float64
		size   string
		factor float64
		fits   bool
		other  Kind
		unit   string
		mm     float64
	}{
		{CircumferenceMM, 2446, "265/70R17", 0.9698, true, "", "", 0},
		{CircumferenceMM, 244.6, "265/70R17", 0.0970, false, CircumferenceMM, "cm", 2446},
		{CircumferenceMM, 2446, "315/70R17", 0.8921, false, "", "", 0},
		{CircumferenceMM, 96.3, "265/70R17", 0.0382, false, CircumferenceMM, "in", 2446},
		{CircumferenceMM, 655, "265/70R17", 0.2597, false, RevMile, "rev/mile", 2457},
		{CircumferenceMM, 407, "265/70R17", 0.1614, false, RevKM, "rev/km", 2457},
		{CircumferenceMM, 394, "265/70R17", 0.1562, false, RadiusMM, "mm", 2476},
		{CircumferenceMM, 31.0, "265/70R17", 0.0123, false, DiameterMM, "in", 2474},
		{CircumferenceMM, 243.8, "265/70R17", 0.0967, false, CircumferenceMM, "cm", 2438},
		{RevMile, 2446, "265/70R17", 0.2609, false, CircumferenceMM, "mm", 2446},
		{PulseKM, 17, "265/70R17", 0, true, "", "", 0},
	} {
		e, err := EntryCheck(c.kind, c.value, SizeText(c.size))
		if err != nil {
			t.Fatal(err)
		}
		within(t, "factor", e.Factor, c.factor, 0.0001)
		if e.Fits != c.fits || (len(e.Others) > 0) != (c.other != "") {
			t.Errorf("%v %s on %s: fits %v, others %v", c.value, c.kind, c.size, e.Fits, e.Others)
			continue
		}
		found := c.other == ""
		for _, o := range e.Others {
			found = found || o.Kind == c.other && o.Unit == c.unit && math.Abs(o.CircumferenceMM-c.mm) < 0.6
		}
		if !found {
			t.Errorf("%v %s on %s: no %s in %s among %v", c.value, c.kind, c.size, c.other, c.unit, e.Others)
		}
	}
	if _, err := EntryCheck("inches", 1, SizeText("265/70R17")); err == nil {
		t.Error("no error for a kind that is none")
	}
	if _, err := EntryCheck(RevKM, math.NaN(), SizeText("265/70R17")); err == nil {
		t.Error("no error for a value that is no number")
	}
	if mm, err := StoredFromSize(SizeText("LT265/70R17")); err != nil || math.Abs(mm-0.966*math.Pi*802.8) > 1e-9 {
		t.Errorf("estimate %v, %v", mm, err)
	}
}

// TestIteration: check-value page, 9.2: S·T/I of one reading, and an offset that shows as three ratio estimates of one
// tyre, from which the pooled fit takes the offset out.
func TestIteration(t *testing.T) {
	for _, c := range []struct{ s, i, g, want float64 }{
		{2650, 65, 62, 2527.7}, {2380, 57, 61, 2547.0}, {2590, 50, 50, 2590.0}, {2590, 70, 69, 2553.0}, {2446, 60, 63.8, 2600.9},
		{2446, 70, 76.1, 2659.2}, {2100, 100, 97, 2037.0}, {3200, 80, 82, 3280.0},
		{2700, 33.274, 30, 2434.3}, {2700, 54.124, 50, 2494.3}, {2700, 74.973, 70, 2520.9},
	} {
		within(t, "S·T/I", rolled(&observation{S: c.s, I: c.i, G: c.g}), c.want, 0.06)
	}
}
