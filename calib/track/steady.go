package track

import (
	"math"
	"time"

	"milepost/calib/unit"
)

// What counts as steady (calibration-method, sections 6 and 10).
const (
	steadyTime = 10 * time.Second
	steadyBand = 0.5 * unit.MetresPerSecondPerMPH // m/s
	steadyRate = 0.3 * unit.MetresPerSecondPerMPH // m/s per second
)

// Two smoothings, ours: a receiver's noise from fix to fix (0.10 to 0.30 mph) is not the vehicle's, so the
// band is asked of means over one second and the slope of their change over up to three. With the method's
// own band the slope seldom decides, since 0.3 mph/s leaves 0.5 mph within two seconds; with a wider band it does.
const (
	smoothSpan = time.Second
	slopeSpan  = 3 * time.Second
)

// Steadiness says when a speed counts as held. A zero field is the method's own figure.
type Steadiness struct {
	Min  time.Duration // shortest stretch; 10 s
	Band float64       // m/s, what the speed must move less than; 0.5 mph
	Rate float64       // m/s per second, the steepest change; 0.3 mph/s
}

func (s Steadiness) withDefaults() Steadiness {
	if s.Min <= 0 {
		s.Min = steadyTime
	}
	if !(s.Band > 0) {
		s.Band = steadyBand
	}
	if !(s.Rate > 0) {
		s.Rate = steadyRate
	}
	return s
}

// Stretch is a part of a drive in which the speed was held. It is all of a track that becomes a fact.
type Stretch struct {
	Start    time.Time
	Duration time.Duration
	SpeedMPS float64 // m/s, mean over time of the file's own figures
	MovedMPS float64 // m/s, highest less lowest one-second mean
	Points   int
}

// LengthM returns the length in metres.
func (s Stretch) LengthM() float64 { return s.SpeedMPS * s.Duration.Seconds() }

// Speed returns the mean speed in a unit.
func (s Stretch) Speed(u unit.Speed) float64 { return inUnit(s.SpeedMPS, u) }

func inUnit(mps float64, u unit.Speed) float64 {
	return u.FromKMH(mps * unit.KMHPerMetrePerSecond)
}

// Steady returns the stretches in which the speed was held, in order, none overlapping another. Each
// begins as early as it can and then lasts as long as it can.
func (t *Track) Steady(want Steadiness) []Stretch {
	want = want.withDefaults()
	s := newSeries(t.Points)
	var found []Stretch
	for first := 0; first < len(s.at); {
		last := s.hold(first, want)
		if s.at[last]-s.at[first] >= want.Min {
			found = append(found, s.stretch(first, last, t.Start()))
			first = last + 1
			continue
		}
		first = s.nextStart(first, last, want)
	}
	return found
}

// series is the speeds of a track as plain columns: only the points that have one.
type series struct {
	at     []time.Duration // since the first point of the track
	speed  []float64       // m/s
	smooth []float64       // m/s, mean over smoothSpan centred on the point
	back   []int           // the point slopeSpan before, or the first there is
}

func newSeries(points []Point) series {
	s := series{
		at:    make([]time.Duration, 0, len(points)),
		speed: make([]float64, 0, len(points)),
	}
	for _, p := range points {
		if p.HasSpeed {
			s.at = append(s.at, p.Time.Sub(points[0].Time))
			s.speed = append(s.speed, p.SpeedMPS)
		}
	}
	s.smooth = make([]float64, len(s.at))
	s.back = make([]int, len(s.at))
	lo, hi, back, sum := 0, 0, 0, 0.0
	for i, at := range s.at {
		for ; hi < len(s.at) && s.at[hi] <= at+smoothSpan/2; hi++ {
			sum += s.speed[hi]
		}
		for ; s.at[lo] < at-smoothSpan/2; lo++ {
			sum -= s.speed[lo]
		}
		s.smooth[i] = sum / float64(hi-lo)
		for back+1 < i && at-s.at[back+1] >= slopeSpan {
			back++
		}
		s.back[i] = back
	}
	return s
}

// follows reports whether point i may follow the one before it in a stretch from first on: no gap, and no
// change steeper than rate over the slope span before it.
func (s series) follows(i, first int, rate float64) bool {
	if s.at[i]-s.at[i-1] > maxSpeedGap {
		return false
	}
	k := max(first, s.back[i])
	dt := s.at[i] - s.at[k]
	if dt < smoothSpan { // too short to tell a slope from noise
		return true
	}
	return math.Abs(s.smooth[i]-s.smooth[k]) <= rate*dt.Seconds()
}

// hold returns the last point up to which the speed is held from first on.
func (s series) hold(first int, want Steadiness) int {
	low, high := s.smooth[first], s.smooth[first]
	for i := first + 1; i < len(s.at); i++ {
		low, high = math.Min(low, s.smooth[i]), math.Max(high, s.smooth[i])
		if high-low >= want.Band || !s.follows(i, first, want.Rate) {
			return i - 1
		}
	}
	return len(s.at) - 1
}

// nextStart returns the next point worth starting from after a hold from first ended too soon at last:
// starts that would meet the same end are passed over.
func (s series) nextStart(first, last int, want Steadiness) int {
	stop := last + 1
	if stop >= len(s.at) || s.at[stop]-s.at[last] > maxSpeedGap {
		return stop
	}
	next := first + 1
	if back := s.back[stop]; back > first && !s.follows(stop, first, want.Rate) {
		next = back + 1
	}
	for i := last; i >= next; i-- {
		if math.Abs(s.smooth[i]-s.smooth[stop]) >= want.Band {
			return i + 1
		}
	}
	return next
}

func (s series) stretch(first, last int, start time.Time) Stretch {
	mean, moved := s.mean(first, last)
	return Stretch{
		Start:    start.Add(s.at[first]),
		Duration: s.at[last] - s.at[first],
		SpeedMPS: mean,
		MovedMPS: moved,
		Points:   last - first + 1,
	}
}

// mean returns the mean over time of the raw speeds from first to last, and how far the smoothed ones moved.
func (s series) mean(first, last int) (mean, moved float64) {
	low, high := s.smooth[first], s.smooth[first]
	var metres float64
	for i := first + 1; i <= last; i++ {
		metres += (s.speed[i-1] + s.speed[i]) / 2 * (s.at[i] - s.at[i-1]).Seconds()
		low, high = math.Min(low, s.smooth[i]), math.Max(high, s.smooth[i])
	}
	if last == first {
		return s.speed[first], 0
	}
	return metres / (s.at[last] - s.at[first]).Seconds(), high - low
}
