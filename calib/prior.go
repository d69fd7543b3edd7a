package calib

import (
	"math"

	"milepost/calib/unit"
)

// Relative standard deviations of section 3.
const (
	sdAnchored  = 0.0100 // factory-anchored
	sdTypical   = 0.0115 // typical factor, if check 1 failed
	sdPublished = 0.0095 // tyre maker's revs per mile
	sdRollout   = 0.0045 // measured rollout
	sdReference = 0.006  // section 1: Sref estimated, in squares, on published and measured circumferences
	sdGears     = 0.05   // section 2, 5: place of sensing not known
	sdEarlier   = 0.005  // section 10: known value of an earlier job

	wearShare     = 0.8   // section 3: w = 2·0.8·(tread new − tread now)
	pressureShare = 0.010 // section 3: p = 1 + 0.010·(ratio − 1)
	rolloutFactor = 1.002 // section 3
	sourcesApart  = 2.5   // section 3: first two sources, in units of their joint sd
	rolloutApart  = 2.0   // section 3: rollout against the others
	sdRolloutKept = 0.025 // section 3: a rollout that doesn't fit, if kept
)

// Priors of section 4 by market.
const (
	uMeanMPH, uGainMPH = -0.003, 0.008
	uMeanKMH, uGainKMH = -0.007, 0.010
	bMeanMPH, bSDMPH   = 0.15, 0.50 // mph
	bMeanKMH, bSDKMH   = 0.55, 1.00 // km/h
	sdDay              = 0.0020     // δk
	sdListEntry        = 0.0070     // section 1: an entry of a list that is not read off
	sdOldTyresGain     = 0.004      // section 6
	sdOldTyresPrior    = 0.005      // section 6
	sdFarTarget        = 0.05       // section 10, first drive far from the target
)

// prior is what is believed before any reading.
type prior struct {
	Cp, sp     float64 // mm; relative sd
	uMean, uSD float64
	bMean, bSD float64 // dash unit
}

// source is one prediction of the circumference.
type source struct{ mm, sd float64 }

// combine pools sources in logarithms by inverse variance (section 3).
func combine(sources ...source) source {
	var sum, weight float64
	for _, s := range sources {
		w := 1 / (s.sd * s.sd)
		sum += w * math.Log(s.mm)
		weight += w
	}
	return source{math.Exp(sum / weight), 1 / math.Sqrt(weight)}
}

// priorCircumference is Cp and sp of section 3. apart tells that the first two sources disagree, rolloutOff that
// the rollout disagrees with the others and counts with its larger sd.
func (j *job) priorCircumference() (c source, apart, rolloutOff bool) {
	first := source{j.s0 * (j.Dc - j.wear) / j.D0c * j.pressure, sdAnchored}
	if !j.entry.Fits {
		first = source{factorTypical * math.Pi * (j.Dc - j.wear) * j.pressure, sdTypical}
	}
	reference := 0.0
	if j.srefEstimated {
		reference = sdReference
	}
	c = first
	if n := j.known.PublishedRevsPerMile; n != nil {
		published := source{unit.MillimetresPerMile / *n * (1 - j.wear/j.D1) * j.pressure, math.Hypot(sdPublished, reference)}
		joint := math.Hypot(first.sd, published.sd)
		if d := math.Abs(math.Log(first.mm/published.mm)) / joint; d > sourcesApart {
			apart = true
			first.sd *= d / 2
			published.sd *= d / 2
		}
		c = combine(first, published)
	}
	if l := j.known.MeasuredRolloutMM; l != nil {
		rollout := source{*l * rolloutFactor, math.Hypot(sdRollout, reference)}
		if math.Abs(math.Log(rollout.mm/c.mm)) > rolloutApart*math.Hypot(c.sd, rollout.sd) {
			rolloutOff = true
			rollout.sd = math.Hypot(sdRolloutKept, reference)
		}
		c = combine(c, rollout)
	}
	switch { // section 2, 5
	case !j.gearsChanged:
	case j.speedFrom == SpeedFromGearbox:
		c.mm *= j.gearFactor
	case j.speedFrom == SpeedFromUnknown:
		c.sd = sdGears
	}
	return c, apart, rolloutOff
}

// marketPrior completes Cp and sp to the priors of section 4. The market is km/h under rule never-under, else
// the dash unit decides; b is in the dash unit.
func (j *job) marketPrior(c source) prior {
	p := prior{Cp: c.mm, sp: c.sd}
	uGain := uGainMPH
	p.uMean, p.bMean, p.bSD = uMeanMPH, bMeanMPH, bSDMPH
	if j.rule == RuleNeverUnder || j.unit == unit.KMH {
		uGain = uGainKMH
		p.uMean = uMeanKMH
		p.bMean, p.bSD = j.unit.FromKMH(bMeanKMH), j.unit.FromKMH(bSDKMH)
	}
	p.uSD = math.Hypot(p.sp, uGain)
	return p
}

// earlierPrior takes the value an earlier job left for this set (section 10): without readings the target is that
// value itself, with 0.5 %, dash margin included.
func (j *job) earlierPrior(s float64) prior {
	p := j.marketPrior(source{s, sdEarlier})
	p.uSD = sdEarlier
	if j.policy == PolicyTrue { // undo what section 5 will do, so that S* = s
		p.Cp = s / math.Exp(p.uMean) * j.W / (j.W - p.bMean)
	}
	return p
}
