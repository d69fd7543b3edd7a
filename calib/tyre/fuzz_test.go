package tyre_test

import (
	"math"
	"strings"
	"testing"
	"unicode/utf8"

	"milepost/calib/tyre"
)

var seeds = []string{
	"", "265/70R17", "lt285/70r17 121/118s", "33x12.50R15LT", "255 75 16", "225/75R16C 121/120R", "33s", "265/70",
	"245/45ZR18 (95Y)", "P215/65SR15", "LT285/75R16 (33X11.50R16)", "7.50R16", "11R22.5", "E78-14", "195R14C",
	"190/65R390", "235/710R460A", "16x35-16", "1300x700-24", "2657017", "２６５／７０Ｒ１７", "33×12,5R15 LR E",
	"265/70R17 to LT285/70R17 121/118S 12/12 tread, 40 psi", "205/55RF16 91V XL", "265/70R17,5", "\xff265/70R17\xfe",
	"165/95-14LT 10PR M+S", "265/70R17 115", "90/90-21 M/C 54S", strings.Repeat("265/", 40),
	"70/70R10 0A  0070/20R10A00", "165/95-14LT 00PR", "23x1552.50R15LL", // once misread
}

// FuzzParse: a size read is a possible one, and its canonical spelling reads
// back to itself; anything else is an *Ask.
func FuzzParse(f *testing.F) {
	for _, s := range seeds {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		size, err := tyre.Parse(text)
		if err != nil {
			if tyre.AsAsk(err) == nil || !size.IsZero() {
				t.Fatalf("%q: %+v with %v", text, size, err)
			}
			return
		}
		checkSize(t, size)
	})
}

// FuzzFind: offsets lie in the text in order, on whole characters, and every
// size found stands on its own.
func FuzzFind(f *testing.F) {
	for _, s := range seeds {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		end := 0
		for _, found := range tyre.Find(text) {
			if found.Start < end || found.End <= found.Start || found.End > len(text) {
				t.Fatalf("%q: %d to %d after %d", text, found.Start, found.End, end)
			}
			end = found.End
			if utf8.ValidString(text) && !utf8.ValidString(text[found.Start:found.End]) {
				t.Fatalf("%q: cut inside a character at %d to %d", text, found.Start, found.End)
			}
			if found.Err != nil {
				if tyre.AsAsk(found.Err) == nil || !found.Size.IsZero() {
					t.Fatalf("%q: %+v", text, found)
				}
				continue
			}
			checkSize(t, found.Size)
		}
	})
}

func checkSize(t *testing.T, size tyre.Size) {
	t.Helper()
	if mm := size.DiameterMM(); math.IsNaN(mm) || mm < 200 || mm > 2000 {
		t.Fatalf("%+v: diameter %v", size, mm)
	}
	if size.SectionHeightMM() <= 0 {
		t.Fatalf("%+v: section height %v", size, size.SectionHeightMM())
	}
	again, err := tyre.Parse(size.Text)
	if err != nil || again != size {
		t.Fatalf("canonical %q of %+v reads as %+v %v", size.Text, size, again, err)
	}
}

func BenchmarkParse(b *testing.B) {
	for b.Loop() {
		if _, err := tyre.Parse("LT285/70R17 121/118S"); err != nil {
			b.Fatal(err)
		}
	}
}

// The worst texts allowed: as long as is looked at, all candidates.
func BenchmarkFindLong(b *testing.B) {
	for _, piece := range []string{"265/", "1 ", "33x12.5 ", "265/70R17 "} {
		text := strings.Repeat(piece, tyre.MaxText/len(piece))
		b.Run(piece, func(b *testing.B) {
			for b.Loop() {
				tyre.Find(text)
			}
		})
	}
}
