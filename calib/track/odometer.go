package track

import (
	"errors"
	"fmt"
	"math"
	"time"

	"milepost/calib/unit"
)

// Odometer against track (calibration-method, section 6): read when the tenth turns, at least 10 units.
const (
	odometerMin = 10.0 // dash units of distance

	odometerTurnSD  = 0.028 // units, both readings of the turning tenth together
	odometerTrackSD = 0.001 // relative, distance of the track
	odometerRollSD  = 0.002 // relative, the tyre's own day

	maxGapShare = 0.01 // of the distance; a curve a tenth longer than its chord then adds 0.1 %
)

// Why a comparison of distances is refused.
var (
	ErrTooShort    = errors.New("at least 10 units are needed between the two odometer readings")
	ErrGaps        = errors.New("the track has gaps over more than 1 % of the distance")
	ErrImplausible = errors.New("odometer and track are over 40 % apart")
	ErrNoTrack     = errors.New("the track doesn't cover the time between the two readings")
)

// Comparison is the distance an odometer counted beside the distance of a track, in the same unit.
type Comparison struct {
	Odometer float64
	Track    float64
}

// Compare sets two distances side by side, both in the dash's unit of distance: from a track, or from mile
// posts. It refuses less than 10 units (ErrTooShort) and what can't be the same drive (ErrImplausible).
func Compare(odometer, track float64) (Comparison, error) {
	c := Comparison{Odometer: odometer, Track: track}
	if !finitePositive(odometer) || !finitePositive(track) || odometer < odometerMin {
		return c, fmt.Errorf("compare odometer: %w", ErrTooShort)
	}
	if r := c.Ratio(); r > 1.4 || r < 1/1.4 {
		return c, fmt.Errorf("compare odometer: %w", ErrImplausible)
	}
	return c, nil
}

// CompareOdometer compares two odometer readings, each taken when the tenth turned, with the track between
// these moments. Besides the refusals of Compare: ErrNoTrack, ErrGaps.
func (t *Track) CompareOdometer(before, after float64, u unit.Distance, from, to time.Time) (Comparison, error) {
	if !u.Valid() {
		return Comparison{}, fmt.Errorf("compare odometer: unit of distance %q", string(u))
	}
	if len(t.Points) == 0 || !to.After(from) ||
		t.Start().Sub(from) > maxSpeedGap || to.Sub(t.End()) > maxSpeedGap {
		return Comparison{}, fmt.Errorf("compare odometer: %w", ErrNoTrack)
	}
	d := t.DistanceBetween(from, to)
	if d.Gap > maxGapShare*d.Metres() {
		return Comparison{}, fmt.Errorf("compare odometer: %w", ErrGaps)
	}
	return Compare(after-before, u.FromMetres(d.Metres()))
}

// Ratio returns track ÷ odometer: over 1, the odometer counts short.
func (c Comparison) Ratio() float64 { return c.Track / c.Odometer }

// RelativeSD returns the standard deviation of Ratio, relative:
// √((0.028/distance)² + 0.001² + 0.002²).
func (c Comparison) RelativeSD() float64 {
	turn := odometerTurnSD / c.Odometer
	return math.Sqrt(turn*turn + odometerTrackSD*odometerTrackSD + odometerRollSD*odometerRollSD)
}

// Circumference returns the true rolling circumference C = S·track/odometer, in the unit of the stored
// circumference S. It is free of the dash's offset and gain.
func (c Comparison) Circumference(stored float64) float64 { return stored * c.Ratio() }
