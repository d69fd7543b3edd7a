package flow

import "testing"

// One odd pair throws no good one away, and "strike that" takes back the pair
// it stands behind, not one typed before.
func TestReadingsBesideAnOddOne(t *testing.T) {
	p := bay(t, Policy{}).lines("drive first", "go", "61/65 56/60 47 gps 50").said("61/65 and 56/60 taken", "47 gps 50")
	p.lines("66/70, strike that").said("66/70 struck out")
	if n := len(p.s.Readings); n != 3 || p.s.Readings[0].Struck || p.s.Readings[1].Struck || !p.s.Readings[2].Struck {
		t.Errorf("%+v", p.s.Readings)
	}
	p.lines("66 mile in 51.4 s")
	if len(p.s.Readings) != 3 {
		t.Error("the time of a measured mile was taken for a speed")
	}
}
