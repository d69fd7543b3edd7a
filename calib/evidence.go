package calib

import "math"

// Odometer against track, section 6.
const (
	odometerMinimum = 10.0  // units, of the dash's distance
	odometerTenth   = 0.028 // units: read when the tenth turns
	odometerGauge   = 0.001 // relative
	odometerShortAt = 0.02  // section 5: C/S* − 1 over this
	odometerDiffers = 0.007 // section 5: both errors are always shown over this
	odometerUnder   = 0.010 // section 5: u under its prior mean, with no odometer evidence
)

// Odometer is what comparisons of odometer and track say of the true rolling circumference. It is free of the
// dash's offset and gain (common practice; some vehicles count distance elsewhere).
type Odometer struct {
	CircumferenceMM float64
	SD              float64 // relative
	Comparisons     int     // 0: no evidence
}

// odometerEvidence pools the comparisons of at least ten units, in logarithms by inverse variance.
func (m *Model) odometerEvidence() Odometer {
	var sources []source
	for i, d := range m.c.Drives {
		if d.Odometer < odometerMinimum || d.Track == 0 {
			continue
		}
		sd := math.Sqrt(odometerTenth*odometerTenth/(d.Odometer*d.Odometer) + odometerGauge*odometerGauge + sdDay*sdDay)
		sources = append(sources, source{m.drives[i].actual.S * d.Track / d.Odometer, sd})
	}
	if len(sources) == 0 {
		return Odometer{}
	}
	c := combine(sources...)
	return Odometer{c.mm, c.sd, len(sources)}
}

// oldTyresPrior replaces the prior mean of the gain by what readings on the old tyres at the factory value say
// (section 6): u₀ from a fit with Cp = S0, sd 0.5 %.
func (m *Model) oldTyresPrior(p prior) (prior, error) {
	if len(m.c.OldTyreDrives) == 0 {
		return p, nil
	}
	drives, obs, err := m.j.observe("old_tyre_drives", m.c.OldTyreDrives)
	if err != nil {
		return p, err
	}
	own := m.j.marketPrior(source{m.j.s0, sdOldTyresPrior})
	f := estimate(own, obs, m.j.deltaSDs(obs, drives, m.j.factory), m.j.q)
	if f.n == 0 {
		return p, nil
	}
	p.uMean = f.u
	p.uSD = math.Hypot(p.sp, sdOldTyresGain)
	return p, nil
}
