package tyre_test

import (
	"testing"

	"milepost/calib/tyre"
)

// A narrow diagonal or bias-belted tyre: the letter marks it, as R does. G1:
// rim × 25.4 + 2 × section × aspect; 130/90B16 is 406.4 + 234 = 640.4 mm.
func TestNarrowDiagonalAndBelted(t *testing.T) {
	for text, mm := range map[string]float64{
		"130/90B16": 640.4, "130/80B17 65H": 639.8, "T125/70D16": 581.4, "t125/70 d16 96M": 581.4,
		"120/90-18": 673.2, "110/90D19": 680.6, "90/90D21": 695.4,
	} {
		s, err := tyre.Parse(text)
		if err != nil {
			t.Errorf("%s: %v", text, err)
			continue
		}
		if d := s.DiameterMM(); d < mm-0.06 || d > mm+0.06 {
			t.Errorf("%s: %.1f mm, want %.1f", text, d, mm)
		}
		if got := found("it is on " + text + ", as new"); len(got) != 1 {
			t.Errorf("%s in a sentence: %q", text, got)
		}
	}
	for _, text := range []string{"100/97 d 16", "61/65 b 12", "62/60 dash 16", "110/105 by 12", "60/58 b"} {
		if got := found(text); len(got) > 0 {
			t.Errorf("%q: took %q", text, got)
		}
	}
}
