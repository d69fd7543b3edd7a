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

// A pair typed in the other unit keeps the step it was typed with: the drive
// does not come to have tenths.
func TestReadingsInTheOtherUnit(t *testing.T) {
	half := func(lines ...string) float64 {
		p := bay(t, Policy{}).lines("drive first", "go").lines(lines...)
		p.lines("parked none")
		return errorAtW(p.s.Errors.Errors).PlusMinus
	}
	plain := half("66/70 57/60 47/50 61/65 52/55")
	mixed := half("66/70 57/60 47/50 61/65", "84/89 kmh")
	tenths := half("66/70 57/60 47/50 61/65 52/55.3")
	if mixed < plain-0.03 || mixed > plain+0.03 || tenths > plain-0.05 {
		t.Errorf("± %.2f in mph, %.2f with a pair in km/h, %.2f with tenths", plain, mixed, tenths)
	}
	if put := half("66/70 57/60 47/50 61/65 12/13", "correct 12/13 to 84/89 kmh"); put < plain-0.03 || put > plain+0.03 {
		t.Errorf("± %.2f in mph, %.2f with a pair put right in km/h", plain, put)
	}
	if two := half("66/70 57/60 47/50 61/65", "52/89", "parked", "yes"); two < plain-0.03 || two > plain+0.03 {
		t.Errorf("± %.2f in mph, %.2f with a GPS figure converted", plain, two)
	}
	p := bay(t, Policy{}).lines("drive first", "go", "66/70 57/60 47/50 61/65 52/55", "parked none").lines("change units to km/h")
	cs, _ := p.s.calibDrives("km/h")
	for _, r := range cs[0].Readings {
		if r.GPSStep < 1.6 || r.DashStep < 1.6 {
			t.Errorf("%+v", r)
		}
	}
}
