package unit_test

import (
	"math"
	"strings"
	"testing"

	"milepost/calib/unit"
	"pgregory.net/rapid"
)

// NIST SP 811 App. B.8, from memory; values recomputed (check-values.md 8.3).
func TestFactors(t *testing.T) {
	for _, row := range []struct {
		name      string
		got, want float64
		within    float64
	}{
		{"mile in mm", unit.MillimetresPerMile, 1609.344 * 1000, 0},
		{"mph in m/s", unit.MPH.MetresPerSecond(1), 0.44704, 1e-15},
		{"mph constant", unit.MetresPerSecondPerMPH, unit.KMHPerMPH / 3.6, 1e-15},
		{"mph in km/h", unit.MPH.To(1, unit.KMH), 1.609344, 0},
		{"knot in m/s", unit.KMHPerKnot / unit.KMHPerMetrePerSecond, 0.514444, 5e-7},
		{"knot in mph", unit.MPH.FromKMH(unit.KMHPerKnot), 1.150779, 5e-7},
		{"knot from nautical mile", unit.MetresPerNauticalMile / 1000, unit.KMHPerKnot, 0},
		{"km/h in mph", unit.KMH.To(1, unit.MPH), 0.621371, 5e-7},
		{"m/s in mph", unit.KMH.To(unit.KMHPerMetrePerSecond, unit.MPH), 2.236936, 5e-7},
		{"psi in kPa", unit.KilopascalsPerPSI, 6.894757, 0},
		{"lb in kg", unit.KilogramsPerPound, 0.45359237, 0},
		{"32nd in mm", unit.MillimetresPer32ndInch, unit.MillimetresPerInch / 32, 0},
		{"1000 mi in m", unit.Miles.Metres(1000), 1609344, 0},
		{"1 km in mi", unit.Miles.FromMetres(unit.Kilometres.Metres(1)), 0.621371, 5e-7},
		// The printed knots of a sentence: 60.820 kn (check-values.md 8.4).
		{"60.820 kn in km/h", 60.820 * unit.KMHPerKnot, 112.639, 5e-4},
		{"60.820 kn in mph", unit.MPH.FromKMH(60.820 * unit.KMHPerKnot), 69.990, 5e-4},
	} {
		if math.Abs(row.got-row.want) > row.within {
			t.Errorf("%s: got %v, want %v", row.name, row.got, row.want)
		}
	}
}

func TestUnitsThereAndBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		v := rapid.Float64Range(-1000, 1000).Draw(t, "v")
		if back := unit.KMH.To(unit.MPH.To(v, unit.KMH), unit.MPH); math.Abs(back-v) > 1e-12*(1+math.Abs(v)) {
			t.Fatalf("%v comes back as %v", v, back)
		}
		if back := unit.Miles.FromMetres(unit.Miles.Metres(v)); math.Abs(back-v) > 1e-12*(1+math.Abs(v)) {
			t.Fatalf("%v mi comes back as %v", v, back)
		}
	})
	for _, u := range []unit.Speed{unit.MPH, unit.KMH} {
		if u.Distance().Speed() != u || !u.Valid() || !u.Distance().Valid() {
			t.Errorf("%s and its distance unit do not belong together", u)
		}
	}
	if unit.Speed("knots").Valid() || unit.Distance("m").Valid() {
		t.Error("a unit outside the contract counts as valid")
	}
}

// Arithmetic; the rows come from the texts of the shared conversations and
// from the rule "round half up" of check-values.md.
func TestFigure(t *testing.T) {
	for _, row := range []struct {
		v        float64
		decimals int
		want     string
	}{
		{2609, 0, "2609"}, {106.5, 1, "106.5"}, {0.5, 0, "1"}, {1.5, 0, "2"}, {2.5, 0, "3"},
		{-0.5, 0, "0"}, {-1.5, 0, "-1"}, {-1.51, 0, "-2"}, {-0.04, 1, "0.0"}, {-0.06, 1, "-0.1"},
		{1.005, 2, "1.01"}, {2.675, 2, "2.68"}, {0.125, 2, "0.13"}, {-0.125, 2, "-0.12"},
		{9.995, 2, "10.00"}, {999.96, 1, "1000.0"}, {0, 3, "0.000"}, {1e-20, 3, "0.000"},
		{444.5, 0, "445"}, {571.5, 0, "572"}, {7, -2, "7"}, {1.0 / 3, 40, "0.333333333"},
		{math.NaN(), 1, "unknown"}, {math.Inf(1), 1, "unknown"}, {math.Inf(-1), 0, "unknown"},
		{math.Copysign(0, -1), 1, "0.0"},
	} {
		if got := unit.Figure(row.v, row.decimals); got != row.want {
			t.Errorf("Figure(%v, %d) = %q, want %q", row.v, row.decimals, got, row.want)
		}
	}
}

func TestOtherPrinting(t *testing.T) {
	for _, row := range []struct{ name, got, want string }{
		{"thousands", unit.Count(48210), "48,210"},
		{"file size", unit.Count(18432), "18,432"},
		{"short", unit.Count(999), "999"},
		{"round thousand", unit.Count(1000), "1,000"},
		{"million", unit.Count(-1234567), "-1,234,567"},
		{"smallest", unit.Count(math.MinInt64), "-9,223,372,036,854,775,808"},
		{"plus", unit.Signed(1.25, 1), "+1.3"},
		{"minus", unit.Signed(-4.3, 1), "-4.3"},
		{"no sign on nothing", unit.Signed(0.04, 1), "0.0"},
		{"no sign on unknown", unit.Signed(math.Inf(1), 1), "unknown"},
		{"step 1", unit.ForStep(2609, 1), "2609"},
		{"step 5", unit.ForStep(2635, 5), "2635"},
		{"step 0.1", unit.ForStep(106.5, 0.1), "106.5"},
		{"step 0.5", unit.ForStep(106.5, 0.5), "106.5"},
		{"step 0.25", unit.ForStep(34.75, 0.25), "34.75"},
		{"step 10", unit.ForStep(2630, 10), "2630"},
		{"step nothing", unit.ForStep(2630.4, 0), "2630"},
		{"step not a number", unit.ForStep(2630.4, math.NaN()), "2630"},
		{"percent", unit.Percent(0.07037, 1), "7.0 %"},
		{"percent of nothing known", unit.Percent(math.NaN(), 1), "unknown"},
		{"range", unit.Span{Centre: 2596, Low: 2518.2, High: 2672.6}.Range(1), "2518 to 2673"},
		{"plus or minus", unit.Around(0, 0.6, 0.95).PlusMinus(1), "0.0 ± 0.6"},
	} {
		if row.got != row.want {
			t.Errorf("%s: got %q, want %q", row.name, row.got, row.want)
		}
	}
}

// 444.5 and 571.5 are rim codes 17.5 and 22.5 in mm (check-values.md 1.2),
// where half-even rounding goes wrong.
func TestRoundHalfUp(t *testing.T) {
	for v, want := range map[float64]float64{
		444.5: 445, 571.5: 572, 0.5: 1, -0.5: 0, -1.5: -1, 0.49999999999999994: 0, 120.25: 120, 113.75: 114,
	} {
		if got := unit.RoundHalfUp(v); got != want || math.Signbit(got) != math.Signbit(want) {
			t.Errorf("RoundHalfUp(%v) = %v, want %v", v, got, want)
		}
	}
	if got := unit.RoundTo(1.005, 2); got != 1.01 {
		t.Errorf("RoundTo(1.005, 2) = %v", got)
	}
	if got := unit.RoundTo(math.Inf(1), 2); !math.IsInf(got, 1) {
		t.Errorf("RoundTo of infinity = %v", got)
	}
}

func TestSpan(t *testing.T) {
	s := unit.Around(10, -2, 0.95)
	if s != (unit.Span{Centre: 10, Low: 8, High: 12, Confidence: 0.95}) || s.Half() != 2 {
		t.Errorf("Around(10, -2) = %+v", s)
	}
	if !s.Contains(8) || !s.Contains(12) || s.Contains(12.001) || s.Contains(math.NaN()) {
		t.Error("Contains is not the closed interval")
	}
	if got := s.Scale(-0.5); got != (unit.Span{Centre: -5, Low: -6, High: -4, Confidence: 0.95}) {
		t.Errorf("Scale(-0.5) = %+v", got)
	}
}

// FuzzFigure: always a figure or Unknown, never further from v than half of the
// last place, never a negative zero.
func FuzzFigure(f *testing.F) {
	for _, v := range []float64{0, -0.5, 1.005, 2609, 1e300, -1e-300, 0.1 + 0.2} {
		f.Add(v, 1)
	}
	f.Fuzz(func(t *testing.T, v float64, decimals int) {
		text := unit.Figure(v, decimals)
		if math.IsNaN(v) || math.IsInf(v, 0) {
			if text != unit.Unknown {
				t.Fatalf("%v prints as %q", v, text)
			}
			return
		}
		if strings.HasPrefix(text, "-") && strings.Trim(text, "-0.") == "" {
			t.Fatalf("%v prints as %q", v, text)
		}
		places := min(max(decimals, 0), 9)
		if off := math.Abs(unit.RoundTo(v, places) - v); off > 0.5*math.Pow10(-places)*(1+1e-9)+math.Abs(v)*1e-15 {
			t.Fatalf("%v with %d decimals prints as %q, off by %v", v, places, text, off)
		}
	})
}
