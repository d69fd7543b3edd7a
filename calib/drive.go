package calib

import (
	"math"

	"milepost/calib/unit"
)

// Question is what one more reading should answer.
type Question string

// The two questions of section 8.
const (
	ForWorkSpeed Question = "work_speed" // the error at W
	ForOffset    Question = "offset"     // b
)

// Grid of section 8, next best reading.
const (
	gridStep               = 5
	gridFromMPH, gridFrom  = 25, 40 // km/h: the same speed, on the grid
	symbolFloorMPH, floorV = 5, 5
)

// NextReading is the true speed, in the dash unit, at which one more reading would tell most (section 8): for each
// candidate a made-up reading updates V, and the speed with the least sd of e(W), or of b, is taken.
func (m *Model) NextReading(q Question) float64 {
	from, to := float64(gridFromMPH), m.j.W
	if m.j.unit == unit.KMH {
		from = gridFrom
	}
	if seen := m.fastest(); !m.j.faster && seen > 0 { // someone has said that faster can't be driven
		to = math.Min(to, seen)
	}
	best, least := to, math.Inf(1)
	consider := func(v float64) {
		if sd := m.sdWith(v, q); sd <= least { // of equals the faster
			best, least = v, sd
		}
	}
	for v := from; v < to; v += gridStep {
		consider(v)
	}
	consider(to)
	return best
}

// sdWith is the sd of e(W) at the value now stored, or of b, after one more reading at true speed v in a drive of
// its own.
func (m *Model) sdWith(v float64, q Question) float64 {
	f := m.f
	r := observation{S: m.now.S, G: v, hG: m.j.gpsStep, base: glanceSD * m.j.q, k: -1}
	f.place(&r, m.j.q)
	mG := r.m * r.G
	noise := r.s*r.s + mG*sdDay*mG*sdDay
	vu, vb := f.Vub-mG*f.Vuu, f.Vbb-mG*f.Vub // V·h with h = (−mG, 1)
	total := noise + vb - mG*vu
	uu, ub, bb := f.Vuu-vu*vu/total, f.Vub-vu*vb/total, f.Vbb-vb*vb/total
	if q == ForOffset {
		return math.Sqrt(bb)
	}
	mW := m.now.S / f.ceff() * m.j.W
	return math.Sqrt(math.Max(bb+mW*mW*uu-2*mW*ub, 0))
}
