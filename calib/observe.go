package calib

import (
	"fmt"
	"math"

	"milepost/calib/unit"
)

// driveState is one drive's stored value: as said, and as it counts.
type driveState struct {
	said   setting
	actual setting // the read-back where it is known and differs: section 10, did not take
	read   bool    // the read-back is known
	missed bool    // it differs
}

// maxStep is the widest step of a speed figure in dash units: 1 mph is 1.609 km/h.
const maxStep = 2.0

const maxSpeed = 450 // dash units; a km/h figure on a mph dash must still get in, to be asked about

// observe turns drives into observations; path names the field in errors.
func (j *job) observe(path string, drives []Drive) ([]driveState, []observation, error) {
	if len(drives) > MaxDrives {
		return nil, nil, bad(path, "has %d drives, %d at most", len(drives), MaxDrives)
	}
	n := 0
	for i := range drives {
		if len(drives[i].Readings) > MaxReadings {
			return nil, nil, bad(fmt.Sprintf("%s[%d].readings", path, i), "has %d readings, %d at most", len(drives[i].Readings), MaxReadings)
		}
		n += len(drives[i].Readings)
	}
	states := make([]driveState, len(drives))
	obs := make([]observation, 0, n)
	for i := range drives {
		d := &drives[i]
		state, err := j.driveState(path, i, d)
		if err != nil {
			return nil, nil, err
		}
		states[i] = state
		if obs, err = j.observeDrive(path, i, d, state.actual.S, obs); err != nil {
			return nil, nil, err
		}
	}
	return states, obs, nil
}

func (j *job) driveState(path string, i int, d *Drive) (s driveState, err error) {
	v := d.Value
	if !v.Known() && !v.bad {
		return s, bad(fmt.Sprintf("%s[%d].value", path, i), "is needed")
	}
	if s.said, err = j.settingOf(fmt.Sprintf("%s[%d].value", path, i), v); err != nil {
		return s, err
	}
	s.actual = s.said
	if b := d.ReadBack; b != nil && (b.Known() || b.bad) {
		if s.actual, err = j.settingOf(fmt.Sprintf("%s[%d].read_back", path, i), *b); err != nil {
			return s, err
		}
		s.read, s.missed = true, !same(s.said, s.actual)
	}
	if d.Odometer == 0 && d.Track == 0 {
		return s, nil
	}
	for _, f := range [2]struct {
		name string
		v    float64
	}{{"odometer", d.Odometer}, {"track", d.Track}} {
		if !(f.v > 0 && f.v <= 1e5) {
			return s, bad(fmt.Sprintf("%s[%d].%s", path, i, f.name), "must be a distance above zero, with the other of the two")
		}
	}
	if r := d.Track / d.Odometer; r < 0.4 || r > 2.5 {
		return s, bad(fmt.Sprintf("%s[%d].track", path, i), "does not belong to that odometer distance")
	}
	return s, nil
}

func (j *job) observeDrive(path string, i int, d *Drive, s float64, obs []observation) ([]observation, error) {
	first, step := len(obs), j.gpsStep
	for n := range d.Readings {
		r := &d.Readings[n]
		o := observation{drive: i, index: n, hI: r.DashStep, I: r.Indicated, G: r.Reference, S: s, base: glanceSD * j.q, struck: r.Struck}
		if !(r.Indicated > 0 && r.Indicated <= maxSpeed) {
			return nil, bad(fmt.Sprintf("%s[%d].readings[%d].indicated", path, i, n), "must be a speed above zero, up to %d", maxSpeed)
		}
		if t := r.MileSeconds; t != 0 { // section 6, measured mile
			if !(t >= 8 && t <= 1800) {
				return nil, bad(fmt.Sprintf("%s[%d].readings[%d].mile_seconds", path, i, n), "must be 8 to 1800 s")
			}
			o.G = unit.MPH.To(3600/t, j.unit)
			o.extra = o.G * stopwatchSD / t * (o.G * stopwatchSD / t)
		}
		if !(o.G > 0 && o.G <= maxSpeed) {
			return nil, bad(fmt.Sprintf("%s[%d].readings[%d].reference", path, i, n), "must be a speed above zero, up to %d", maxSpeed)
		}
		for _, step := range []struct {
			name string
			v    float64
		}{{"dash_step", r.DashStep}, {"gps_step", r.GPSStep}} {
			if !(step.v >= 0 && step.v <= maxStep) {
				return nil, bad(fmt.Sprintf("%s[%d].readings[%d].%s", path, i, n, step.name), "must be 0 to %g", maxStep)
			}
		}
		if r.TrackMean {
			o.base = trackSD * j.q
		}
		if r.MileSeconds == 0 && r.GPSStep == 0 && o.G != math.Trunc(o.G) { // section 4: such a drive has tenths
			step = math.Min(step, decimalStep)
		}
		obs = append(obs, o)
	}
	for n := range d.Readings {
		o := &obs[first+n]
		switch {
		case d.Readings[n].MileSeconds != 0:
			o.hG = 0
		case d.Readings[n].TrackMean:
			o.hG = math.Min(step, decimalStep)
		case d.Readings[n].GPSStep != 0: // converted: section 1, mixed units on entry
			o.hG = d.Readings[n].GPSStep
		default:
			o.hG = step
		}
		o.whole = o.hG == 1 || o.hG > maxStep/4 && o.hG == d.Readings[n].GPSStep
		for _, e := range obs[first : first+n] { // identical pairs count once: section 4
			if !o.struck && !e.struck && e.I == o.I && e.G == o.G {
				o.repeat = true
				break
			}
		}
	}
	return obs, nil
}

// deltaSDs gives δ's sd for every drive that has counted readings, and numbers the observations' δ. present is the
// value now stored: on another entry of a list that is not read off δ is wider (section 4).
func (j *job) deltaSDs(obs []observation, drives []driveState, present setting) []float64 {
	sds := make([]float64, 0, len(drives))
	number := make([]int, len(drives)) // of a drive's δ, from 1
	for i := range obs {
		o := &obs[i]
		if !o.counted() || number[o.drive] > 0 {
			continue
		}
		sd := sdDay
		if at := drives[o.drive].actual; at.soft && !same(at, present) {
			sd = math.Hypot(sdDay, sdListEntry)
		}
		sds = append(sds, sd)
		number[o.drive] = len(sds)
	}
	for i := range obs {
		obs[i].k = number[obs[i].drive] - 1 // −1: nothing counted on that drive, δ = 0
	}
	return sds
}

// same tells whether two values are one; the tolerance is for decimals only.
func same(a, b setting) bool {
	if a.IsLabel() || b.IsLabel() {
		return a.Label == b.Label
	}
	return math.Abs(a.Number-b.Number) <= 1e-9*math.Max(a.Number, b.Number)
}
