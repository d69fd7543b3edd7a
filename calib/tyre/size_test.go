package tyre_test

import (
	"fmt"
	"math"
	"strconv"
	"testing"

	"milepost/calib/tyre"
	"milepost/calib/unit"
	"pgregory.net/rapid"
)

// testdata/diameters.tsv: check-values.md 1.3, formulas G2, G3 and G8.
func TestDiameters(t *testing.T) {
	for _, row := range rows(t, "diameters.tsv", 6) {
		s, err := tyre.Parse(row[0])
		if err != nil {
			t.Errorf("%s: %v", row[0], err)
			continue
		}
		low, high := s.Band(tyre.Service{})
		for i, got := range []string{
			strconv.FormatFloat(s.SectionHeightMM(), 'f', -1, 64),
			unit.Figure(s.EuropeanDiameterMM(), 0),
			unit.Figure(s.DiameterMM(), 1),
			unit.Figure(low, 1),
			unit.Figure(high, 1),
		} {
			if got != row[i+1] {
				t.Errorf("%s: column %d is %s, want %s", row[0], i+1, got, row[i+1])
			}
		}
	}
}

// testdata/sheets.tsv: the D3 column of check-values.md 1.4.
func TestSheetDiameters(t *testing.T) {
	for _, row := range rows(t, "sheets.tsv", 2) {
		s, err := tyre.Parse(row[0])
		if got := unit.Figure(s.DiameterMM(), 1); err != nil || got != row[1] {
			t.Errorf("%s: %s %v, want %s", row[0], got, err, row[1])
		}
	}
}

// Flotation rows of check-values.md section 9 [calc] and G4; 315/70R17 is common
// practice, no source.
func TestMoreDiameters(t *testing.T) {
	for _, row := range []struct{ text, mm string }{
		{"30x9.50R15LT", "762.0"}, {"31x10.50R15LT", "787.4"}, {"33x12.50R15LT", "838.2"},
		{"33x10.50R16LT", "838.2"}, {"35x12.50R15LT", "889.0"}, {"35x12.50R20LT", "889.0"},
		{"255/70R17", "788.8"}, {"295/70R18", "870.2"}, {"215/55R17", "668.3"}, {"225/70R15", "696.0"},
		{"P205/60R15", "627.0"}, // G9: 24.685 in
		{"190/65R390", "637.0"}, // 2 x 190 x 0.65 + 390
	} {
		s, err := tyre.Parse(row.text)
		if got := unit.Figure(s.DiameterMM(), 1); err != nil || got != row.mm {
			t.Errorf("%s: %s %v, want %s", row.text, got, err, row.mm)
		}
	}
	s, err := tyre.Parse("315/70R17")
	if err != nil {
		t.Fatal(err)
	}
	if c := s.CircumferenceMM(); c < 2741 || c > 2742 {
		t.Errorf("315/70R17: circumference %.2f mm", c)
	}
	if in := s.CircumferenceMM() / unit.MillimetresPerInch; in < 107.9 || in > 108.0 {
		t.Errorf("315/70R17: circumference %.3f in", in)
	}
}

// Section heights of flotation sizes: half of what is left over the rim [calc].
func TestFlotationSectionHeight(t *testing.T) {
	for text, want := range map[string]float64{"31x10.50R15LT": 203.2, "33x12.50R20LT": 165.1, "35x12.50R17LT": 228.6, "37x12.50R17LT": 254} {
		s, err := tyre.Parse(text)
		if err != nil || math.Abs(s.SectionHeightMM()-want) > 1e-9 {
			t.Errorf("%s: %v %v, want %v", text, s.SectionHeightMM(), err, want)
		}
		if s.EuropeanDiameterMM() != s.DiameterMM() {
			t.Errorf("%s: two diameters", text)
		}
	}
}

// G8 (UN R30 and R54 para 6.1.4, from memory), worked by hand around
// 265/70R17: d 432, H 186; and 165/95-14LT: d 356, H 157.
func TestBandCoefficients(t *testing.T) {
	for _, row := range []struct {
		text      string
		use       tyre.Service
		low, high float64
	}{
		{"265/70R17", tyre.Service{}, 432 + 2*186*0.97, 432 + 2*186*1.04},
		{"265/70R17", tyre.Service{Snow: true}, 432 + 2*186*0.97, (432 + 2*186*1.04) * 1.01},
		{"265/70D17", tyre.Service{}, 432 + 2*186*0.97, 432 + 2*186*1.08},
		{"265/70B17", tyre.Service{}, 432 + 2*186*0.97, 432 + 2*186*1.08},
		{"LT265/70R17", tyre.Service{Special: true}, 432 + 2*186*0.97, 432 + 2*186*1.06},
		{"165/95-14LT", tyre.Service{}, 356 + 2*157*0.97, 356 + 2*157*1.07},
		{"165/95-14LT", tyre.Service{Special: true}, 356 + 2*157*0.97, 356 + 2*157*1.09},
		{"33x12.50R15LT", tyre.Service{}, 381 + 457.2*0.97, 381 + 457.2*1.04},
	} {
		s, err := tyre.Parse(row.text)
		if err != nil {
			t.Errorf("%s: %v", row.text, err)
			continue
		}
		low, high := s.Band(row.use)
		if math.Abs(low-row.low) > 1e-9 || math.Abs(high-row.high) > 1e-9 {
			t.Errorf("%s %+v: %v to %v, want %v to %v", row.text, row.use, low, high, row.low, row.high)
		}
	}
}

// check-values.md 1.2: UN R30 and R54 d, from memory; code times 25.4 rounded
// half up [calc].
func TestRimCodes(t *testing.T) {
	codes := []float64{8, 9, 10, 11, 12, 13, 14, 14.5, 15, 16, 16.5, 17, 17.5, 18, 19, 19.5,
		20, 20.5, 21, 22, 22.5, 23, 24, 24.5, 25, 26, 27, 28, 29, 30}
	want := []float64{203, 229, 254, 279, 305, 330, 356, 368, 381, 406, 419, 432, 445, 457, 483, 495,
		508, 521, 533, 559, 572, 584, 610, 622, 635, 660, 686, 711, 737, 762}
	for i, code := range codes {
		mm, ok := tyre.RimCodeMM(code)
		if !ok || mm != want[i] {
			t.Errorf("rim %v: %v %v, want %v", code, mm, ok, want[i])
		}
		if half := unit.RoundHalfUp(unit.RoundTo(code*unit.MillimetresPerInch, 1)); mm != half {
			t.Errorf("rim %v: %v is not %v rounded half up", code, mm, half)
		}
	}
	if _, ok := tyre.RimCodeMM(390); ok {
		t.Error("a millimetre rim has a code")
	}
}

// Larger section, aspect or rim never makes a smaller tyre. The two diameters
// differ by at most 1 mm from H and 0.5 mm from d.
func TestDiameterProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		section := 5 * rapid.IntRange(31, 66).Draw(t, "section/5")
		aspect := 5 * rapid.IntRange(7, 17).Draw(t, "aspect/5")
		rim := rapid.IntRange(13, 24).Draw(t, "rim")
		read := func(section, aspect, rim int) tyre.Size {
			s, err := tyre.Parse(fmt.Sprintf("%d/%dR%d", section, aspect, rim))
			if err != nil {
				t.Fatal(err)
			}
			return s
		}
		s := read(section, aspect, rim)
		for _, larger := range []tyre.Size{read(section+5, aspect, rim), read(section, aspect+5, rim), read(section, aspect, rim+1)} {
			if larger.DiameterMM() <= s.DiameterMM() || larger.EuropeanDiameterMM() < s.EuropeanDiameterMM() {
				t.Fatalf("%s is not larger than %s", larger.Text, s.Text)
			}
		}
		if apart := math.Abs(s.EuropeanDiameterMM() - s.DiameterMM()); apart > 1.5 {
			t.Fatalf("%s: diameters %.2f mm apart", s.Text, apart)
		}
		low, high := s.Band(tyre.Service{})
		if !(low < s.EuropeanDiameterMM() && s.EuropeanDiameterMM() < high) {
			t.Fatalf("%s: %v outside its band %v to %v", s.Text, s.EuropeanDiameterMM(), low, high)
		}
	})
}
