package calib

import (
	"math"

	"milepost/calib/unit"
)

// neverUnderSDs: section 5, the S with mean error = 1.7·sd(v).
const neverUnderSDs = 1.7

// testSpeeds are those of policy and rule never-under (section 5): 40, 80, 120 km/h or 25, 50, 75 mph, without
// those over the tyre's symbol. Where all are, the work speed stands in.
func (j *job) testSpeeds() []float64 {
	all := [3]float64{40, 80, 120}
	if j.unit == unit.MPH {
		all = [3]float64{25, 50, 75}
	}
	speeds := make([]float64, 0, len(all))
	for _, v := range all {
		if v <= j.symbolCap {
			speeds = append(speeds, v)
		}
	}
	if len(speeds) == 0 {
		speeds = append(speeds, j.W)
	}
	return speeds
}

// aimTrue is S* of policy true: mean error zero at W.
func (j *job) aimTrue(f *fit) float64 {
	return math.Max(f.ceff()*(j.W-f.b+gpsTruncation*f.whole)/j.W, 1)
}

// aim is S* of the policy, before step and limits. distance is C by odometer, 0 without one.
func (j *job) aim(f *fit, distance float64) float64 {
	switch j.policy {
	case PolicyNeverUnder:
		return j.aimNeverUnder(f)
	case PolicyDistance:
		if distance > 0 {
			return distance
		}
		return f.Cp
	}
	return j.aimTrue(f)
}

// aimNeverUnder is the largest S that any test speed asks for; Cp itself with no reading yet (section 3).
func (j *job) aimNeverUnder(f *fit) float64 {
	if f.n == 0 {
		return f.Cp
	}
	largest := 0.0
	for _, v := range j.testSpeeds() {
		largest = math.Max(largest, f.ceff()*neverUnderSlope(f, v))
	}
	return largest
}

// neverUnderSlope solves ē(v) = 1.7·sd(v) for m̂ = S/C_eff. With p = m̂·v and c = b − v − 0.05·[whole] it is the
// upper root of (c + p)² = 1.7²·(Vbb + 0.0225·[whole] − 2p·Vub + p²·Vuu).
func neverUnderSlope(f *fit, v float64) float64 {
	const k = neverUnderSDs * neverUnderSDs
	c := f.b - v - gpsTruncation*f.whole
	qa := 1 - k*f.Vuu
	qb := c + k*f.Vub // half of it
	qc := c*c - k*(f.Vbb+gpsTruncVar*f.whole)
	root := math.Sqrt(math.Max(qb*qb-qa*qc, 0))
	if qa <= 0 { // sd of u over 59 %: never with the priors of section 4
		return math.Max(-c/v, 0)
	}
	return math.Max((-qb+root)/qa/v, 0)
}

// choice is the value to write and how it came about.
type choice struct {
	star    float64 // S*
	best    setting // snapped
	limited string
	aim     float64 // of section 9, at W
}

// choose works out S*, snaps it and holds it to the limits (section 5).
func (j *job) choose(f *fit, distance float64) choice {
	c := choice{star: j.aim(f, distance)}
	if j.policy != PolicyTrue {
		c.aim, _ = f.errorAt(setting{S: c.star}, j.W)
	}
	if j.list != nil {
		c.best = j.fromList(f, c)
		return c
	}
	v, limited := j.scale.Snap(c.star, j.step, j.low, j.high, j.policy == PolicyNeverUnder)
	c.limited = limited
	c.best = setting{Value: Number(v), S: j.scale.Circumference(v)}
	return c
}

// fromList takes the entry with the least E|e − aim|, under never-under of those not below S*, else the largest.
func (j *job) fromList(f *fit, c choice) setting {
	var best, largest *setting
	least := math.Inf(1)
	for i := range j.list {
		e := &j.list[i]
		if largest == nil || e.S > largest.S {
			largest = e
		}
		if j.policy == PolicyNeverUnder && e.S < c.star {
			continue
		}
		if miss := j.missAt(f, *e, c.aim); miss < least {
			least, best = miss, e
		}
	}
	if best == nil {
		return *largest
	}
	return *best
}

// missAt is E|e − aim| at W with value s.
func (j *job) missAt(f *fit, s setting, aim float64) float64 {
	mean, sd := f.errorAt(s, j.W)
	return expectedAbs(mean-aim, sd)
}

// expectedAbs is E|e| of a normal (section 9).
func expectedAbs(mean, sd float64) float64 {
	if sd <= 0 {
		return math.Abs(mean)
	}
	z := mean / sd
	return sd*math.Sqrt(2/math.Pi)*math.Exp(-z*z/2) + mean*math.Erf(z/math.Sqrt2)
}

// belowTrue gives the test speed where value s reads most under true, and by how much; by is 0 where none does.
func (j *job) belowTrue(f *fit, s setting) (at, by float64) {
	for _, v := range j.testSpeeds() {
		if e, _ := f.errorAt(s, v); e < by {
			at, by = v, e
		}
	}
	return at, by
}
