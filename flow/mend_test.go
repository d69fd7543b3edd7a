package flow

import (
	"slices"
	"testing"
)

// left lists the pairs that count.
func (p *play) left() (pairs []string) {
	for i := range p.s.Readings {
		if r := &p.s.Readings[i]; !r.Struck {
			pairs = append(pairs, pairText(r))
		}
	}
	return pairs
}

// A reading is struck, kept or corrected by its place in the list; what can be
// more than one reading changes none.
func TestReadingByItsPlace(t *testing.T) {
	all := []string{"67/70", "58/60", "48/50", "63/65", "53/55"}
	but := func(out ...string) []string {
		return slices.DeleteFunc(slices.Clone(all), func(s string) bool { return slices.Contains(out, s) })
	}
	for said, want := range map[string][]string{
		"strike the first":           but("67/70"),
		"strike the second":          but("58/60"),
		"delete the first one":       but("67/70"),
		"strike the 3rd":             but("48/50"),
		"strike reading 4":           but("63/65"),
		"strike number two":          but("58/60"),
		"strike first and third":     but("67/70", "48/50"),
		"strike the last two":        but("63/65", "53/55"),
		"strike the first two":       but("67/70", "58/60"),
		"strike all":                 but(all...),
		"delete all five readings":   but(all...),
		"strike 58":                  but("58/60"),
		"strike the 48 one":          but("48/50"),
		"strike 58/60":               but("58/60"),
		"strike 58/60 and 48/50":     but("58/60", "48/50"),
		"strike the last one":        but("53/55"),
		"strike the previous one":    but("53/55"),
		"strike":                     but("53/55"),
		"strike that one":            but("53/55"),
		"strike both":                all,
		"strike the wrong one":       all,
		"strike the second last":     all,
		"strike the ninth":           all,
		"strike 12/13":               all,
		"correct the first to 66/70": {"66/70", "58/60", "48/50", "63/65", "53/55"},
		"correct both to 66/70":      all,
	} {
		p := bay(t, Policy{}).lines("drive first", "go", "67/70 58/60 48/50 63/65 53/55", said)
		if got := p.left(); !slices.Equal(got, want) {
			t.Errorf("%q leaves %v, want %v", said, got, want)
		}
	}
	p := bay(t, Policy{}).lines("drive first", "go", "67/70 58/60 48/50 63/65 53/55", "strike both")
	p.said(`Which reading is "both"? Nothing is changed`, "67/70, 58/60, 48/50, 63/65 and 53/55")
}

// On a second drive "the first" can be of the job or of the drive.
func TestReadingByItsPlaceOnALaterDrive(t *testing.T) {
	p := bay(t, Policy{}).lines("drive first", "go", "67/70 58/60 48/50", "parked none", "skip", "took", "2549", "none", "go", "66/69 64/67")
	if n := len(p.s.Drives); n != 2 {
		t.Fatalf("%d drives", n)
	}
	for _, said := range []string{"strike the first", "strike 2", "strike all", "strike the first two"} {
		p.lines(said)
		if got := p.left(); len(got) != 5 {
			t.Errorf("%q leaves %v", said, got)
		}
	}
	p.lines("strike the third")
	if got := p.left(); slices.Contains(got, "48/50") || len(got) != 4 {
		t.Errorf("%v", got)
	}
}
