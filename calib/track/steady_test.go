package track

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"milepost/calib/unit"
	"pgregory.net/rapid"
)

var t0 = time.Date(2026, 11, 25, 10, 15, 0, 0, time.UTC)

const mph = unit.MetresPerSecondPerMPH

// driven makes a track with a fix every interval; speed, in mph, is a function of seconds.
func driven(length, every time.Duration, speed func(s float64) float64) *Track {
	b := builder{limit: 1 << 20}
	for at := time.Duration(0); at <= length; at += every {
		b.add(t0.Add(at), place{}, speed(at.Seconds())*mph, true)
	}
	return b.finish()
}

func TestSteady(t *testing.T) {
	hold := func(v float64) func(float64) float64 { return func(float64) float64 { return v } }
	noise := rand.New(rand.NewPCG(1, 2))
	for _, c := range []struct {
		name  string
		track *Track
		want  []float64 // mph
	}{
		{"held", driven(30*time.Second, time.Second, hold(60)), []float64{60}},
		{"just ten seconds", driven(10*time.Second, time.Second, hold(60)), []float64{60}},
		{"nine seconds", driven(9*time.Second, time.Second, hold(60)), nil},
		{"ten a second, noise of 0.2 mph", driven(20*time.Second, 100*time.Millisecond,
			func(float64) float64 { return 60 + 0.2*noise.NormFloat64() }), []float64{60}},
		{"two speeds", driven(60*time.Second, time.Second, func(s float64) float64 {
			return 50 + math.Min(math.Max(s-20, 0), 15)
		}), []float64{50, 65}},
		{"creeping up 0.1 mph a second", driven(60*time.Second, time.Second, func(s float64) float64 { return 60 + 0.1*s }), nil},
		{"accelerating", driven(60*time.Second, time.Second, func(s float64) float64 { return s }), nil},
		{"no points", &Track{}, nil},
	} {
		t.Run(c.name, func(t *testing.T) {
			got := c.track.Steady(Steadiness{})
			if len(got) != len(c.want) {
				t.Fatalf("%d stretches %+v, want %d", len(got), got, len(c.want))
			}
			for i, s := range got {
				if math.Abs(s.Speed(unit.MPH)-c.want[i]) > 0.2 {
					t.Errorf("stretch %d at %.2f mph, want %v", i, s.Speed(unit.MPH), c.want[i])
				}
			}
		})
	}
}

// With a wide band the slope decides: 0.25 mph a second is held, 0.35 is not.
func TestSteadySlope(t *testing.T) {
	wide := Steadiness{Band: 10 * mph}
	for _, c := range []struct {
		rate float64
		want int
	}{{0.25, 1}, {-0.25, 1}, {0.35, 0}, {-0.35, 0}} {
		track := driven(20*time.Second, 100*time.Millisecond, func(s float64) float64 { return 50 + c.rate*s })
		if got := track.Steady(wide); len(got) != c.want {
			t.Errorf("%v mph a second: %+v, want %d", c.rate, got, c.want)
		}
	}
}

// A tunnel parts a stretch in two.
func TestSteadyGap(t *testing.T) {
	track := driven(60*time.Second, time.Second, func(float64) float64 { return 60 })
	track.Points = append(track.Points[:20:20], track.Points[25:]...)
	got := track.Steady(Steadiness{})
	if len(got) != 2 || got[0].Duration != 19*time.Second || got[1].Duration != 35*time.Second {
		t.Fatalf("stretches %+v", got)
	}
	if want := 60 * mph * 19; math.Abs(got[0].LengthM()-want) > 1e-6 {
		t.Errorf("length %v m, want %v", got[0].LengthM(), want)
	}
}

// Whatever was driven: stretches are in order, apart, long enough and as steady as they say, and a held
// part of 15 s (3 s of it for the slope to settle) is always inside one.
func TestSteadyProperties(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		every := time.Duration(rapid.IntRange(50, 1000).Draw(rt, "every ms")) * time.Millisecond
		v := rapid.Float64Range(5, 80).Draw(rt, "start")
		rates := rapid.SliceOfN(rapid.Float64Range(-3, 3), 1, 12).Draw(rt, "mph a second, each 5 s")
		heldFrom := float64(5 * len(rates))
		track := driven(time.Duration(heldFrom+16)*time.Second, every, func(s float64) float64 {
			at := v
			for i, r := range rates {
				at += r * math.Min(math.Max(s-float64(5*i), 0), 5)
			}
			return math.Max(at, 0)
		})
		got := track.Steady(Steadiness{})
		end := t0
		covered := false
		for _, s := range got {
			if s.Start.Before(end) || s.Duration < 10*time.Second || !(s.MovedMPS < 0.5*mph) || s.Points < 2 {
				rt.Fatalf("stretch %+v after %v", s, end)
			}
			end = s.Start.Add(s.Duration)
			middle := t0.Add(time.Duration(heldFrom+9) * time.Second)
			covered = covered || (!s.Start.After(middle) && !end.Before(middle))
		}
		if !covered {
			rt.Fatalf("held part not found: %+v", got)
		}
	})
}

func TestReading(t *testing.T) {
	// 20 s at 70.04 mph, then slowing down, then 20 s at 50.
	track := driven(60*time.Second, 200*time.Millisecond, func(s float64) float64 {
		return 70.04 - math.Min(math.Max(s-20, 0), 20)*1.002
	})
	for _, c := range []struct {
		name  string
		dash  float64
		u     unit.Speed
		at    time.Duration
		want  float64
		cause error
	}{
		{"held", 66, unit.MPH, 15 * time.Second, 70.0, nil},
		{"held, in km/h", 106, unit.KMH, 15 * time.Second, 112.7, nil},
		{"a second after the last fix but one", 66, unit.MPH, 19500 * time.Millisecond, 70.0, nil},
		{"slowing down", 60, unit.MPH, 30 * time.Second, 0, ErrMoved},
		{"slowed down 5 s ago", 48, unit.MPH, 45 * time.Second, 0, ErrMoved},
		{"held again", 48, unit.MPH, 55 * time.Second, 50.0, nil},
		{"too near the start", 66, unit.MPH, 7 * time.Second, 0, ErrNotCovered},
		{"before it", 66, unit.MPH, -time.Minute, 0, ErrNotCovered},
		{"after it", 66, unit.MPH, 70 * time.Second, 0, ErrNotCovered},
		{"no speed", 0, unit.MPH, 15 * time.Second, 0, ErrNotASpeed},
		{"not a number", math.NaN(), unit.MPH, 15 * time.Second, 0, ErrNotASpeed},
		{"unit of neither kind", 60, "knots", 15 * time.Second, 0, ErrNotASpeed},
	} {
		got, err := track.Reading(c.dash, c.u, track.At(c.at))
		if !errors.Is(err, c.cause) || err == nil && (got.Reference != c.want || got.Indicated != c.dash || got.Unit != c.u) {
			t.Errorf("%s: %+v, %v; want %v, %v", c.name, got, err, c.want, c.cause)
		}
	}
}

func TestMeanBeforeGap(t *testing.T) {
	track := driven(30*time.Second, time.Second, func(float64) float64 { return 60 })
	track.Points = append(track.Points[:20:20], track.Points[23:]...)
	if _, err := track.MeanBefore(track.At(25*time.Second), 10*time.Second); !errors.Is(err, ErrNotCovered) {
		t.Errorf("over a gap: %v", err)
	}
	if got, err := track.MeanBefore(track.At(19*time.Second), 10*time.Second); err != nil || got.Points != 11 {
		t.Errorf("before the gap: %+v, %v", got, err)
	}
}

func TestAtClock(t *testing.T) {
	track := driven(time.Hour, time.Second, func(float64) float64 { return 60 })
	zone := time.FixedZone("five behind", -5*3600)
	clock := func(h, m, s int) time.Duration {
		return time.Duration(h)*time.Hour + time.Duration(m)*time.Minute + time.Duration(s)*time.Second
	}
	for _, c := range []struct {
		clock time.Duration
		zone  *time.Location
		want  time.Duration
		ok    bool
	}{
		{clock(10, 18, 20), nil, clock(0, 3, 20), true},
		{clock(5, 18, 20), zone, clock(0, 3, 20), true},
		{clock(10, 14, 58), nil, -2 * time.Second, true},
		{clock(10, 14, 50), nil, 0, false},
		{clock(11, 16, 0), nil, 0, false},
		{clock(24, 0, 0), nil, 0, false},
		{-1, nil, 0, false},
	} {
		got, ok := track.AtClock(c.clock, c.zone)
		if ok != c.ok || ok && !got.Equal(t0.Add(c.want)) {
			t.Errorf("AtClock(%v): %v, %v; want %v, %v", c.clock, got, ok, t0.Add(c.want), c.ok)
		}
	}
	// Over midnight.
	late := driven(time.Hour, time.Minute, func(float64) float64 { return 60 })
	for i := range late.Points {
		late.Points[i].Time = late.Points[i].Time.Add(13*time.Hour + 30*time.Minute)
	}
	if got, ok := late.AtClock(clock(0, 10, 0), nil); !ok || got.Day() != t0.Day()+1 {
		t.Errorf("after midnight: %v, %v", got, ok)
	}
}
