package tyre_test

import (
	"slices"
	"strings"
	"testing"

	"milepost/calib/tyre"
)

// found lists what Find sees: the piece of text, an arrow, and the canonical
// size or the kind of question.
func found(text string) []string {
	var out []string
	for _, f := range tyre.Find(text) {
		result := f.Size.Text
		if a := tyre.AsAsk(f.Err); a != nil {
			result = string(a.Kind)
		}
		out = append(out, text[f.Start:f.End]+" -> "+result)
	}
	return out
}

// The texts are the shared conversations' and made up; common practice, no
// source.
func TestFind(t *testing.T) {
	for _, row := range []struct {
		text string
		want []string
	}{
		{"265/70R17 to LT285/70R17 121/118S 12/12 tread, 40 psi",
			[]string{"265/70R17 -> 265/70R17", "LT285/70R17 121/118S -> LT285/70R17 121/118S"}},
		{"265/70R17 to 285/70R17, stored 2446 mm, 12/12 tread",
			[]string{"265/70R17 -> 265/70R17", "285/70R17 -> 285/70R17"}},
		{"LT265/70R17 121/118S, 2438 mm circumference, step 1, 1800 to 3000",
			[]string{"LT265/70R17 121/118S -> LT265/70R17 121/118S"}},
		{"LT285/75R17 121/118S 12/12, placard pressure, gears unchanged",
			[]string{"LT285/75R17 121/118S -> LT285/75R17 121/118S"}},
		{"new ones are 235/65R17, 8mm when new now 7", []string{"235/65R17 -> 235/65R17"}},
		{"265/70R17 and it says 243.8", []string{"265/70R17 -> 265/70R17"}},
		{"change the new size to 285/70R17", []string{"285/70R17 -> 285/70R17"}},
		{"went from 255 75 16 to 33s", []string{"255 75 16 -> 255/75 16", "33s -> overall_only"}},
		{"255 75 16 12/12 mm, 35 psi", []string{"255 75 16 -> 255/75 16"}},
		{"265/70 to 35x12.5", []string{"265/70 -> no_rim", "35x12.5 -> no_rim"}},
		{"35 inch tyres, was 7.50R16", []string{"35 inch tyres -> overall_only", "7.50R16 -> needs_table"}},
		{"on 11R22.5 or E78-14 then", []string{"11R22.5 -> needs_table", "E78-14 -> needs_table"}},
		{"van on 195R14C 106/104N, 3.5 bar", []string{"195R14C 106/104N -> no_aspect"}},
		{"265/70R17,285/70R17", []string{"265/70R17 -> 265/70R17", "285/70R17 -> 285/70R17"}},
		{"265/70R17/285/70R17", []string{"265/70R17 -> 265/70R17", "285/70R17 -> 285/70R17"}},
		{"265/70R17->285/70R17", []string{"265/70R17 -> 265/70R17", "285/70R17 -> 285/70R17"}},
		{"265/70R17, 48k miles", []string{"265/70R17 -> 265/70R17"}},
		{"265/70R17 115 psi", []string{"265/70R17 -> 265/70R17"}},
		{"265/70R17 60/58", []string{"265/70R17 -> 265/70R17"}},
		{"265/70R17 110/105", []string{"265/70R17 -> 265/70R17"}}, // a reading; the size is not a light-truck one
		{"LT265/70R17 121/118", []string{"LT265/70R17 121/118 -> LT265/70R17 121/118"}},
		{"LT265/70R17 121/100", []string{"LT265/70R17 -> LT265/70R17"}}, // no such pair
		{"265/70R17 e-brake", []string{"265/70R17 -> 265/70R17"}},
		{"265/70R17 Then go", []string{"265/70R17 -> 265/70R17"}},
		{"265/70R17\n60 58", []string{"265/70R17 -> 265/70R17"}},
		{"ganz neu: 33×12,5R15 für vorn", []string{"33×12,5R15 -> 33x12.50R15"}},
		{"４本とも２６５／７０Ｒ１７です", []string{"２６５／７０Ｒ１７ -> 265/70R17"}}, // no spaces between words
		{"ab265/70R17", nil}, // a part number, say
		{"新しいのは ２６５／７０Ｒ１７ です", []string{"２６５／７０Ｒ１７ -> 265/70R17"}},
		{"267/70R17 it says", []string{"267/70R17 -> impossible"}},
	} {
		if got := found(row.text); !slices.Equal(got, row.want) {
			t.Errorf("%q:\n got %q\nwant %q", row.text, got, row.want)
		}
	}
}

// What looks a little like a size and is none.
func TestFindLeavesAlone(t *testing.T) {
	for _, text := range []string{
		"60/58", "61/65 56/60 47/50 58/62 51/55", "45 43.6\n60 58.1\n70 67.7", "48 50, 58 60, 62 60",
		"100/97", "110/70", "120/75 km/h", "105/100 16", "80,5 dash 78,2 gps", "60 on the dash, 58 on the gps",
		"speedo 100 km/h, phone 97", "12/12 tread", "tread 8/6 mm", "12/12, 40 psi", "35/40 psi", "32-35 psi",
		"2438 mm circumference, step 1, 1800 to 3000", "455 rev/km", "655 rev/mile", "31.6 in diameter", "31.0 in",
		"12/11/2024", "2024-11-25", "25-11-24", "11/25/26", "25/12/15", "12:30:15", "13.4 volts", "48,210 mi",
		"all yes 13.4", "axle 3.73 now 4.10", "P0128, C1234", "1 to 5", "4x4", "2x60", "waited 30s", "took 1.37s", "40s", "0.967",
		"1G4AH59H45G118341", "9AATYRE06S0012345", "7QKM-4TXN-R2HD-9WPC", "unit 14", "5-10", "12-16", "600 58",
		"192.168.17.5", "2446/2521/2600", "60 r 17", "65/60", "130/125 R", "",
	} {
		if got := found(text); len(got) > 0 {
			t.Errorf("%q: took %q", text, got)
		}
	}
}

// A size is found wherever it stands, and the offsets are the text's own bytes.
func TestFindOffsets(t *testing.T) {
	text := "  \u2003vorher  265/70R17 — jetzt «LT285/70R17   121/118S»!"
	want := []string{"265/70R17 -> 265/70R17", "LT285/70R17   121/118S -> LT285/70R17 121/118S"}
	if got := found(text); !slices.Equal(got, want) {
		t.Errorf("got %q, want %q", got, want)
	}
}

func TestFindLooksAtTheFirstPart(t *testing.T) {
	early := "265/70R17 " + strings.Repeat("é", tyre.MaxText)
	if got := found(early); len(got) != 1 {
		t.Errorf("before the limit: %q", got)
	}
	if got := found(strings.Repeat(" ", tyre.MaxText) + "265/70R17"); len(got) != 0 {
		t.Errorf("after the limit: %q", got)
	}
}
