package track

import (
	"errors"
	"fmt"
	"math"
	"time"

	"milepost/calib/unit"
)

// Why a noted dash speed gives no reading. These are outcomes, not faults of the program.
var (
	ErrNotCovered = errors.New("the track doesn't cover the seconds before the note without a gap")
	ErrMoved      = errors.New("the speed was not held in the seconds before the note")
	ErrNotASpeed  = errors.New("not a speed that a dash shows")
)

// gpsDecimals is what the mean of a track is rounded to: its step hG is 0.1 (calibration-method, section 6).
const gpsDecimals = 1

// Reading is a dash speed and the satellite speed that belongs to it, both in Unit. In the contract's
// words: indicated, reference, and track_mean true.
type Reading struct {
	Indicated float64
	Reference float64 // mean of the 10 s before the note, in steps of 0.1
	Unit      unit.Speed
	Held      Stretch // the seconds it was taken from
}

// Reading pairs a dash speed with the mean satellite speed of the 10 s before it was noted
// (calibration-method, section 6). It gives ErrNotCovered, or ErrMoved where the speed moved 0.5 mph or
// more or faster than 0.3 mph a second.
func (t *Track) Reading(indicated float64, u unit.Speed, noted time.Time) (Reading, error) {
	if !u.Valid() || !(indicated > 0) || u.MetresPerSecond(indicated) > maxSpeedMPS {
		return Reading{}, fmt.Errorf("pair dash speed with track: %w", ErrNotASpeed)
	}
	held, err := t.MeanBefore(noted, steadyTime)
	if err != nil {
		return Reading{}, err
	}
	return Reading{
		Indicated: indicated,
		Reference: unit.RoundTo(held.Speed(u), gpsDecimals),
		Unit:      u,
		Held:      held,
	}, nil
}

// MeanBefore returns the mean speed over a window that ends at a moment, where it was held. With
// ErrMoved the mean comes back all the same, to be shown, not used.
func (t *Track) MeanBefore(at time.Time, window time.Duration) (Stretch, error) {
	from := at.Add(-window)
	points := t.between(from, at)
	s := newSeries(points)
	if window <= 0 || len(s.at) < 2 {
		return Stretch{}, fmt.Errorf("mean before note: %w", ErrNotCovered)
	}
	start := points[0].Time
	last := len(s.at) - 1
	if start.Add(s.at[0]).Sub(from) > maxSpeedGap || at.Sub(start.Add(s.at[last])) > maxSpeedGap {
		return Stretch{}, fmt.Errorf("mean before note: %w", ErrNotCovered)
	}
	for i := 1; i <= last; i++ {
		if s.at[i]-s.at[i-1] > maxSpeedGap {
			return Stretch{}, fmt.Errorf("mean before note: %w", ErrNotCovered)
		}
	}
	held := s.stretch(0, last, start)
	want := Steadiness{}.withDefaults()
	if s.hold(0, want) != last {
		return held, fmt.Errorf("mean before note: %w", ErrMoved)
	}
	return held, nil
}

// At returns the moment that lies an offset after the first point: "at 3 min 20 s".
func (t *Track) At(offset time.Duration) time.Time { return t.Start().Add(offset) }

// AtClock returns the moment in the track at which a clock in that zone shows a time of day, given as the
// time since midnight: "14:03:20". A nil zone is UTC. False where the track has no such moment; 2.5 s
// beyond either end are let pass, since a noted time has its own error.
func (t *Track) AtClock(sinceMidnight time.Duration, zone *time.Location) (time.Time, bool) {
	if len(t.Points) == 0 || sinceMidnight < 0 || sinceMidnight >= 24*time.Hour {
		return time.Time{}, false
	}
	if zone == nil {
		zone = time.UTC
	}
	first := t.Start().In(zone)
	clock := time.Time{}.Add(sinceMidnight)
	for day := -1; ; day++ {
		at := time.Date(first.Year(), first.Month(), first.Day()+day,
			clock.Hour(), clock.Minute(), clock.Second(), clock.Nanosecond(), zone)
		if at.After(t.End().Add(maxSpeedGap)) {
			return time.Time{}, false
		}
		if !at.Before(t.Start().Add(-maxSpeedGap)) {
			return at.UTC(), true
		}
	}
}

// finitePositive reports whether v is a number above zero that can be computed with.
func finitePositive(v float64) bool { return v > 0 && !math.IsInf(v, 0) }
