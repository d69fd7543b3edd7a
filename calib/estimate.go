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
	hG           float64
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
	V             *mat.SymDense // of (u, b, δ…)
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
	size := 2 + len(f.delta)
	data := make([]float64, size*size)
	A := mat.NewSymDense(size, data)
	a, x := mat.NewVecDense(size, nil), mat.NewVecDense(size, nil)
	var chol mat.Cholesky
	for range maxIterations {
		clear(data)
		data[0], data[size+1] = 1/(f.uSD*f.uSD), 1/(f.bSD*f.bSD)
		a.SetVec(0, f.uMean*data[0])
		a.SetVec(1, f.bMean*data[size+1])
		for k, sd := range f.deltaSD {
			data[(2+k)*size+2+k] = 1 / (sd * sd)
			a.SetVec(2+k, 0)
		}
		rhs := a.RawVector().Data
		for i := range obs {
			o := &obs[i]
			if !o.counted() {
				continue
			}
			f.place(o, q)
			mG := o.m * o.G
			h := [3]float64{-mG, 1, -mG} // step 1: u, b, δk
			y := o.I - mG - mG*(f.u+f.delta[o.k])
			c := o.w / (f.f2 * o.s * o.s)
			at := [3]int{0, 1, 2 + o.k}
			for r := range 3 { // step 2, upper triangle
				for s := r; s < 3; s++ {
					data[at[r]*size+at[s]] += c * h[r] * h[s]
				}
				rhs[at[r]] += c * h[r] * y
			}
		}
		if !chol.Factorize(A) || chol.SolveVecTo(x, a) != nil {
			break // A is a sum of squares and a positive diagonal: only overflow gets here
		}
		moved := math.Abs(x.AtVec(0) - f.u)
		f.u, f.b = bound(x.AtVec(0)), x.AtVec(1)
		for k := range f.delta {
			f.delta[k] = bound(x.AtVec(2 + k))
		}
		f.reweigh(obs, q)
		if moved < converged {
			break
		}
	}
	f.V = mat.NewSymDense(size, nil)
	if err := chol.InverseTo(f.V); err != nil {
		f.V.SetSym(0, 0, f.uSD*f.uSD)
		f.V.SetSym(1, 1, f.bSD*f.bSD)
	}
	f.Vuu, f.Vub, f.Vbb = f.V.At(0, 0), f.V.At(0, 1), f.V.At(1, 1)
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
	o.s = math.Sqrt((dashStep*dashStep+o.m*o.m*o.hG*o.hG)/12 + o.base*o.base + o.extra)
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
