package calib

import (
	"math"

	"milepost/calib/unit"
)

// DriveSpeeds are the true speeds to ask for, in order (section 8): five on a first drive, three after a later write,
// each lowered to limit (the road's, the policy's, the speed symbol's; dash unit). Where lowered ones would repeat, a step in
// between takes their place, since finer steps tell more than repeats. A limit of 0 or less is none.
func DriveSpeeds(u unit.Speed, first bool, limit float64) []float64 {
	all := []float64{70, 60, 50, 65, 55}
	if u == unit.KMH {
		all = []float64{110, 90, 80, 100, 70}
	}
	if !first { // 70, 60, 65 or 110, 90, 100
		all = []float64{all[0], all[1], all[3]}
	}
	if !(limit > 0) || limit >= all[0] {
		return all
	}
	top := math.Max(math.Floor(limit), 1)
	used := map[float64]bool{top: true}
	for _, v := range all[1:] {
		if v < top {
			used[v] = true
		}
	}
	for i, v := range all {
		switch {
		case i == 0:
			all[i] = top
		case v >= top:
			all[i] = between(top, used)
			used[all[i]] = true
		}
	}
	return all
}

// between is an unused speed half way from top to the next one below it, or failing that the next unused one down.
func between(top float64, used map[float64]bool) float64 {
	below := top - 2*gridStep
	for v := range used {
		if v < top && v > below {
			below = v
		}
	}
	v := math.Max(math.Floor((top+below)/2), 1)
	for used[v] && v > 1 {
		v--
	}
	return v
}

// Question is what one more reading should answer.
type Question string

// The two questions of section 8.
const (
	ForWorkSpeed Question = "work_speed" // the error at W
	ForOffset    Question = "offset"     // b
)

// Grid of section 8, next best reading.
const (
	gridStep    = 5
	gridFromMPH = 25
	gridFromKMH = 40 // the same speed, on the grid
)

// NextReading is the true speed, in the dash unit, at which one more reading would tell most (section 8): for each
// candidate a made-up reading updates V, and the speed with the least sd of e(W), or of b, is taken.
func (m *Model) NextReading(q Question) float64 {
	from, to := float64(gridFromMPH), m.fastestAsked()
	if m.j.unit == unit.KMH {
		from = gridFromKMH
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

// fastestAsked is W as a speed that can be held: whole, unless it is below 1.
func (m *Model) fastestAsked() float64 { return math.Max(math.Floor(m.j.W), math.Min(m.j.W, 1)) }

// sdWith is the sd of e(W) at the value now stored, or of b, after one more reading at true speed v: in the last drive
// where that was at this value, else in a drive of its own. The GPS truncation of section 4 stays out of it: no speed
// changes it.
func (m *Model) sdWith(v float64, q Question) float64 {
	f := m.f
	r := observation{S: m.now.S, G: v, hG: m.j.gpsStep, base: glanceSD * m.j.q, k: -1}
	k := m.lastDelta()
	r.k = k
	f.place(&r, m.j.q)
	mG := r.m * r.G
	noise := r.s * r.s
	vu, vb := f.Vub-mG*f.Vuu, f.Vbb-mG*f.Vub // of V·h with h = (−mG, 1, −mG for δk)
	total := vb - mG*vu                      // hᵀVh
	if k >= 0 && f.V != nil {
		uk, bk, kk := f.V.At(0, 2+k), f.V.At(1, 2+k), f.V.At(2+k, 2+k)
		vu, vb = vu-mG*uk, vb-mG*bk
		total = vb - mG*vu - mG*(bk-mG*uk-mG*kk)
	} else {
		noise += mG * sdDay * mG * sdDay
	}
	total += noise
	uu, ub, bb := f.Vuu-vu*vu/total, f.Vub-vu*vb/total, f.Vbb-vb*vb/total
	if q == ForOffset {
		return math.Sqrt(math.Max(bb, 0))
	}
	mW := m.now.S / f.ceff() * m.j.W
	return math.Sqrt(math.Max(bb+mW*mW*uu-2*mW*ub, 0))
}

// lastDelta is the δ of the last drive if it was at the value now stored and has counted readings, else −1.
func (m *Model) lastDelta() int {
	n := len(m.drives) - 1
	if n < 0 || !same(m.drives[n].actual, m.now) {
		return -1
	}
	for i := len(m.obs) - 1; i >= 0 && m.obs[i].drive == n; i-- {
		if m.obs[i].k >= 0 {
			return m.obs[i].k
		}
	}
	return -1
}
