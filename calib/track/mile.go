package track

import (
	"errors"
	"fmt"
	"time"

	"milepost/calib/unit"
)

// stopwatchSD is the standard deviation of a hand-held stopwatch over a measured mile, both ends together
// (calibration-method, section 6).
const stopwatchSD = 300 * time.Millisecond

// Shortest and longest time for one mile or kilometre that is taken: about 5 to 200 of the unit per hour.
const (
	shortestTimed = 18 * time.Second
	longestTimed  = 720 * time.Second
)

// ErrStopwatch refuses a time that can't be that of a measured mile or kilometre.
var ErrStopwatch = errors.New("not the time of a measured mile or kilometre: 18 s to 12 min")

// Timed is a speed from a measured mile or kilometre and a stopwatch, taken by a passenger at held speed.
type Timed struct {
	Elapsed time.Duration
	Unit    unit.Speed // mph for a mile, km/h for a kilometre
}

// MeasuredMile takes the time for one measured mile (or kilometre, with unit.Kilometres). Times outside
// 18 s to 12 min are refused with ErrStopwatch.
func MeasuredMile(elapsed time.Duration, u unit.Distance) (Timed, error) {
	if !u.Valid() {
		return Timed{}, fmt.Errorf("time measured mile: unit of distance %q", string(u))
	}
	if elapsed < shortestTimed || elapsed > longestTimed {
		return Timed{}, fmt.Errorf("time measured mile: %w", ErrStopwatch)
	}
	return Timed{Elapsed: elapsed, Unit: u.Speed()}, nil
}

// Speed returns G = 3600/t in the unit asked for (check-values 8.2).
func (m Timed) Speed(u unit.Speed) float64 {
	return m.Unit.To(3600/m.Elapsed.Seconds(), u)
}

// Uncertainty returns the relative uncertainty of the speed for that of the stopwatch: equal shares of
// time make equal shares of speed.
func (m Timed) Uncertainty(stopwatch time.Duration) float64 {
	return stopwatch.Seconds() / m.Elapsed.Seconds()
}

// Variance returns what a reading's variance gains for the stopwatch, (G·0.3/t)², in the square of the
// unit. The step of its satellite figure is then 0 (calibration-method, section 6; not simulated there).
func (m Timed) Variance(u unit.Speed) float64 {
	sd := m.Speed(u) * m.Uncertainty(stopwatchSD)
	return sd * sd
}
