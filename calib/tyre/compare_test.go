package tyre_test

import (
	"math"
	"testing"

	"milepost/calib/tyre"
)

// The rules are job.md's phase 5: indices by check-values.md 2.1 and 2.2; the
// divisor 1.10 is 49 CFR 571.110, from memory; winter tyres and pressures are
// common practice.
func TestCompare(t *testing.T) {
	type want struct {
		matter          tyre.Matter
		outcome         tyre.Outcome
		placard, fitted float64
		derated, other  bool
	}
	for _, row := range []struct {
		name, placard, fitted string
		v                     tyre.Vehicle
		want                  []want
	}{
		{"same or better", "265/70R17 115T", "285/70R17 117T", tyre.Vehicle{},
			[]want{{tyre.SingleLoad, tyre.Enough, 1215, 1285, false, false}, {tyre.TopSpeed, tyre.Enough, 190, 190, false, false}}},
		{"both lower", "205/55R16 91V", "195/55R16 87H", tyre.Vehicle{},
			[]want{{tyre.SingleLoad, tyre.Below, 615, 545, false, false}, {tyre.TopSpeed, tyre.Below, 240, 210, false, false}}},
		{"winter", "205/55R16 91V", "205/55R16 91T", tyre.Vehicle{Winter: true},
			[]want{{tyre.SingleLoad, tyre.Enough, 615, 615, false, false}, {tyre.TopSpeed, tyre.Caution, 240, 190, false, false}}},
		{"H is faster than U", "205/55R16 91U", "205/55R16 91H", tyre.Vehicle{},
			[]want{{tyre.SingleLoad, tyre.Enough, 615, 615, false, false}, {tyre.TopSpeed, tyre.Enough, 200, 210, false, false}}},
		{"nothing marked", "265/70R17", "285/70R17", tyre.Vehicle{},
			[]want{{tyre.SingleLoad, tyre.Unclear, 0, 0, false, false}, {tyre.TopSpeed, tyre.Unclear, 0, 0, false, false}}},
		{"light truck to passenger", "LT265/70R17 121/118S", "285/70R17 117T", tyre.Vehicle{},
			[]want{{tyre.SingleLoad, tyre.Unclear, 1450, 1285 / 1.10, true, true}, {tyre.TopSpeed, tyre.Enough, 180, 190, false, false}}},
		{"passenger to light truck", "265/70R17 115T", "LT285/70R17 121/118S", tyre.Vehicle{},
			[]want{{tyre.SingleLoad, tyre.Unclear, 1215, 1450, false, true}, {tyre.TopSpeed, tyre.Below, 190, 180, false, false}}},
		{"duals", "LT215/85R16 115/112Q", "LT225/75R16 115/110Q", tyre.Vehicle{Duals: true},
			[]want{{tyre.SingleLoad, tyre.Enough, 1215, 1215, false, false}, {tyre.DualLoad, tyre.Below, 1120, 1060, false, false},
				{tyre.TopSpeed, tyre.Enough, 160, 160, false, false}}},
		{"duals, no dual index", "LT215/85R16 115/112Q", "LT235/85R16 120Q", tyre.Vehicle{Duals: true},
			[]want{{tyre.SingleLoad, tyre.Enough, 1215, 1400, false, false}, {tyre.DualLoad, tyre.Unclear, 1120, 0, false, false},
				{tyre.TopSpeed, tyre.Enough, 160, 160, false, false}}},
		{"commercial both", "215/65R16C 109/107T", "225/75R16C 121/120R", tyre.Vehicle{},
			[]want{{tyre.SingleLoad, tyre.Enough, 1030, 1450, false, false}, {tyre.TopSpeed, tyre.Below, 190, 170, false, false}}},
		{"above 300 to 300", "245/45ZR18 (96Y)", "245/45R18 96Y", tyre.Vehicle{},
			[]want{{tyre.SingleLoad, tyre.Enough, 710, 710, false, false}, {tyre.TopSpeed, tyre.Unclear, 300, 300, false, false}}},
		{"above 300 to above 300", "245/45ZR18 (96Y)", "245/45ZR18 (98Y)", tyre.Vehicle{},
			[]want{{tyre.SingleLoad, tyre.Enough, 710, 750, false, false}, {tyre.TopSpeed, tyre.Enough, 300, 300, false, false}}},
		{"bare ZR on 240", "245/45R18 96V", "245/45ZR18", tyre.Vehicle{},
			[]want{{tyre.SingleLoad, tyre.Unclear, 710, 0, false, false}, {tyre.TopSpeed, tyre.Enough, 240, 240, false, false}}},
	} {
		placard, err := tyre.Parse(row.placard)
		if err != nil {
			t.Fatal(err)
		}
		fitted, err := tyre.Parse(row.fitted)
		if err != nil {
			t.Fatal(err)
		}
		got := tyre.Compare(placard, fitted, row.v)
		if len(got) != len(row.want) {
			t.Errorf("%s: %d findings, want %d", row.name, len(got), len(row.want))
			continue
		}
		for i, f := range got {
			g := want{f.Matter, f.Outcome, f.Placard, f.Fitted, f.Derated, f.DifferentPressure}
			w := row.want[i]
			if math.Abs(g.fitted-w.fitted) < 1e-9 {
				g.fitted = w.fitted
			}
			if g != w {
				t.Errorf("%s: %+v, want %+v", row.name, g, w)
			}
		}
	}
}
