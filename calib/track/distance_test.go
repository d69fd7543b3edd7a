package track

import (
	"errors"
	"math"
	"testing"
	"time"

	"milepost/calib/unit"
)

// The rows of check-values 8.2: seconds for a mile, mph, km/h, relative uncertainty for 0.2 s.
func TestMeasuredMileRows(t *testing.T) {
	for _, c := range []struct{ seconds, mph, kmh, percent float64 }{
		{45, 80.000, 128.748, 0.44},
		{51.43, 69.998, 112.651, 0.39},
		{59, 61.017, 98.197, 0.34},
		{60, 60.000, 96.561, 0.33},
		{61, 59.016, 94.978, 0.33},
		{72, 50.000, 80.467, 0.28},
		{120, 30.000, 48.280, 0.17},
	} {
		m, err := MeasuredMile(time.Duration(c.seconds*1000)*time.Millisecond, unit.Miles)
		if err != nil {
			t.Errorf("%v s: %v", c.seconds, err)
			continue
		}
		if got := m.Speed(unit.MPH); math.Abs(got-c.mph) > 0.0005 {
			t.Errorf("%v s: %v mph, want %v", c.seconds, got, c.mph)
		}
		if got := m.Speed(unit.KMH); math.Abs(got-c.kmh) > 0.0005+1e-9 {
			t.Errorf("%v s: %v km/h, want %v", c.seconds, got, c.kmh)
		}
		if got := 100 * m.Uncertainty(200*time.Millisecond); math.Abs(got-c.percent) > 0.005 {
			t.Errorf("%v s: %v %%, want %v", c.seconds, got, c.percent)
		}
		sd := c.mph * 0.3 / c.seconds // (G·0.3/t)², calibration-method section 6
		if got := m.Variance(unit.MPH); math.Abs(got-sd*sd) > 1e-5 {
			t.Errorf("%v s: variance %v, want %v", c.seconds, got, sd*sd)
		}
	}
	if m, err := MeasuredMile(36*time.Second, unit.Kilometres); err != nil || math.Abs(m.Speed(unit.KMH)-100) > 1e-9 {
		t.Errorf("kilometre in 36 s: %v, %v", m, err)
	}
	for _, d := range []time.Duration{-time.Second, 0, 5 * time.Second, time.Hour} {
		if _, err := MeasuredMile(d, unit.Miles); !errors.Is(err, ErrStopwatch) {
			t.Errorf("%v: %v", d, err)
		}
	}
	if _, err := MeasuredMile(time.Minute, "furlong"); err == nil {
		t.Error("a furlong was taken")
	}
}

func TestCompare(t *testing.T) {
	for _, c := range []struct {
		odometer, track float64
		cause           error
	}{
		{20.0, 19.9, nil},
		{10, 10, nil},
		{9.9, 9.9, ErrTooShort},
		{0, 10, ErrTooShort},
		{math.NaN(), 10, ErrTooShort},
		{20, math.Inf(1), ErrTooShort},
		{20, 32.2, ErrImplausible}, // miles beside kilometres
		{32.2, 20, ErrImplausible},
	} {
		if _, err := Compare(c.odometer, c.track); !errors.Is(err, c.cause) {
			t.Errorf("Compare(%v, %v): %v, want %v", c.odometer, c.track, err, c.cause)
		}
	}
	c, _ := Compare(20, 19.9)
	if got := c.Circumference(2438); math.Abs(got-2438*0.995) > 1e-9 { // C = S·track/odometer
		t.Errorf("circumference %v", got)
	}
	// √((0.028/20)² + 0.001² + 0.002²) = 0.0026382, worked by hand.
	if got := c.RelativeSD(); math.Abs(got-0.0026382) > 1e-6 {
		t.Errorf("relative sd %v", got)
	}
}

func TestCompareOdometer(t *testing.T) {
	track := driven(20*time.Minute, time.Second, func(float64) float64 { return 60 }) // 20 miles
	from, to := track.At(0), track.At(15*time.Minute)
	c, err := track.CompareOdometer(45210.3, 45225.2, unit.Miles, from, to)
	if err != nil || math.Abs(c.Ratio()-15/14.9) > 1e-6 {
		t.Errorf("ratio %v, %v; want %v", c.Ratio(), err, 15/14.9)
	}
	if c, err := track.CompareOdometer(100, 124.0, unit.Kilometres, from, to); err != nil || math.Abs(c.Track-15*1.609344) > 1e-6 {
		t.Errorf("kilometres: %+v, %v", c, err)
	}
	if _, err := track.CompareOdometer(45210.3, 45225.2, unit.Miles, from.Add(-time.Minute), to); !errors.Is(err, ErrNoTrack) {
		t.Errorf("before the track: %v", err)
	}
	if _, err := track.CompareOdometer(45210.3, 45225.2, unit.Miles, to, from); !errors.Is(err, ErrNoTrack) {
		t.Errorf("turned round: %v", err)
	}
	if _, err := track.CompareOdometer(1, 5.1, unit.Miles, from, track.At(4*time.Minute)); !errors.Is(err, ErrTooShort) {
		t.Errorf("four miles: %v", err)
	}
	track.Points = append(track.Points[:300:300], track.Points[320:]...)
	if _, err := track.CompareOdometer(45210.3, 45225.2, unit.Miles, from, to); !errors.Is(err, ErrGaps) {
		t.Errorf("a gap of 20 s in 900: %v", err)
	}
}
