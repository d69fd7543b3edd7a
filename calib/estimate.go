package calib

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// Noise of one reading and the shape of the fit, section 4.
const (
	dashStep       = 1.0  // hI
	glanceSD       = 0.35 // ·q, one glance at both displays
	trackSD        = 0.25 // ·q, GPS figure is the mean of 10 s or more of a track
	decimalStep    = 0.1  // hG where tenths were typed, or of a track mean
	stopwatchSD    = 0.3  // s, section 6
	studentDOF     = 4.0  // step 3
	scatterPrior   = 8.0  // step 4
	maxIterations  = 12
	converged      = 1e-7 // of u
	questionedOver = 3.0  // |r|/s
	gpsTruncation  = 0.05 // dash units: 10 % of speed apps are taken to truncate
	gpsTruncVar    = 0.0225
	kappaNone      = 2.0
	kappaBase      = 2.05
	kappaPerN      = 0.6
)

// An observation is one reading in the symbols of section 4.
type observation struct {
	drive, index int // in the case
	k            int // δ it belongs to; −1: none
	I, G, S      float64
	hI, hG       float64
	base         float64 // 0.35·q or 0.25·q
	extra        float64 // variance added by a stopwatch
	whole        bool    // GPS figure of step 1
	struck       bool
	repeat       bool // the same pair stood earlier in this drive

	m, r, s, w float64 // at the last iterate: slope, residual, sd with f = 1, weight
}

func (o *observation) counted() bool { return !o.struck && !o.repeat }
func (o *observation) z() float64    { return math.Abs(o.r) / o.s }

// fit is the outcome of section 4.
type fit struct {
	prior
	u, b          float64
	V             *mat.SymDense // of (u, b, δ…); nil before any reading
	Vuu, Vub, Vbb float64
	n             int     // counted readings
	whole         float64 // [all GPS whole]
	kappa         float64
	delta         []float64 // δk
	deltaSD       []float64
	f2            float64
}

// estimate fits u, b and one δ per drive to the counted observations, and leaves slope, residual, sd and weight
// in every one. deltaSD gives the sd of each drive's δ.
func estimate(p prior, obs []observation, deltaSD []float64, q float64) *fit {
	f := &fit{prior: p, u: p.uMean, b: p.bMean, kappa: kappaNone, delta: make([]float64, len(deltaSD)), deltaSD: deltaSD, f2: 1}
	wholes := 0
	for i := range obs {
		obs[i].w = 1
		if obs[i].counted() {
			f.n++
			if obs[i].whole {
				wholes++
			}
		}
	}
	if f.n > 0 {
		f.kappa = kappaBase + kappaPerN/float64(f.n)
		if wholes == f.n {
			f.whole = 1
		}
	}
	f.iterate(obs, q)
	for i := range obs {
		f.place(&obs[i], q)
		if !obs[i].counted() {
			obs[i].w = 0
		}
	}
	return f
}

// iterate runs steps 1 to 4.
func (f *fit) iterate(obs []observation, q float64) {
	eq := newNormal(2 + len(f.delta))
	solved := false
	var at [3]int
	var h [3]float64
	for range maxIterations {
		eq.clear()
		eq.believe(0, f.uMean, f.uSD)
		eq.believe(1, f.bMean, f.bSD)
		for k, sd := range f.deltaSD {
			eq.believe(2+k, 0, sd)
		}
		for i := range obs {
			o := &obs[i]
			if !o.counted() {
				continue
			}
			f.place(o, q)
			mG := o.m * o.G
			at, h = [3]int{0, 1, 2 + o.k}, [3]float64{-mG, 1, -mG} // step 1
			y := o.I - mG - mG*(f.u+f.delta[o.k])
			eq.add(o.w/(f.f2*o.s*o.s), at[:], h[:], y) // step 2
		}
		x, ok := eq.solve()
		if !ok {
			break // A is a sum of squares on a positive diagonal: only overflow gets here
		}
		solved = true
		moved := math.Abs(x[0] - f.u)
		f.u, f.b = bound(x[0]), x[1]
		for k := range f.delta {
			f.delta[k] = bound(x[2+k])
		}
		f.reweigh(obs, q)
		if moved < converged {
			break
		}
	}
	f.Vuu, f.Vbb = f.uSD*f.uSD, f.bSD*f.bSD
	if !solved {
		return
	}
	if V, ok := eq.inverse(); ok {
		f.V = V
		f.Vuu, f.Vub, f.Vbb = V.At(0, 0), V.At(0, 1), V.At(1, 1)
	}
}

// reweigh is steps 3 and 4.
func (f *fit) reweigh(obs []observation, q float64) {
	sum := scatterPrior
	for i := range obs {
		o := &obs[i]
		if !o.counted() {
			continue
		}
		f.place(o, q)
		t := o.r * o.r / (o.s * o.s)
		o.w = math.Min(1, (studentDOF+1)/(studentDOF+t/f.f2))
		sum += o.w * t
	}
	f.f2 = math.Max(1, sum/(scatterPrior+float64(f.n)))
}

// place works out slope, residual and sd of an observation at the present iterate.
func (f *fit) place(o *observation, q float64) {
	d := 0.0
	if o.k >= 0 {
		d = f.delta[o.k]
	}
	o.m = o.S / f.Cp * math.Exp(-f.u-d)
	o.r = o.I - f.b - o.m*o.G
	hI := o.hI
	if hI == 0 {
		hI = dashStep
	}
	o.s = math.Sqrt((hI*hI+o.m*o.m*o.hG*o.hG)/12 + o.base*o.base + o.extra)
}

// bound keeps nonsense input from overflowing; sound jobs stay under 0.2.
func bound(u float64) float64 { return math.Max(-3, math.Min(3, u)) }

// ceff is C_eff = C/(1+g) = Cp·exp(u).
func (f *fit) ceff() float64 { return f.Cp * math.Exp(f.u) }

// errorAt is the mean error and its sd at true speed v with value s (section 4).
func (f *fit) errorAt(s setting, v float64) (mean, sd float64) {
	mv := s.S / f.ceff() * v
	mean = f.b + mv - v - gpsTruncation*f.whole
	variance := f.Vbb + mv*mv*f.Vuu - 2*mv*f.Vub + gpsTruncVar*f.whole
	if s.soft && !s.driven {
		variance += sdListEntry * v * sdListEntry * v
	}
	return mean, math.Sqrt(math.Max(variance, 0))
}
