package calib

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

// propagate draws n outcomes and gives mean, sd and the symmetric 95 % interval: JCGM 101, 7.
func propagate(n int, draw func(*rand.Rand) float64) (mean, sd, low, high float64) {
	rng := rand.New(rand.NewPCG(20261125, 101))
	y := make([]float64, n)
	for i := range y {
		y[i] = draw(rng)
		mean += y[i] / float64(n)
	}
	for _, v := range y {
		sd += (v - mean) * (v - mean) / float64(n-1)
	}
	slices.Sort(y)
	return mean, math.Sqrt(sd), y[int(0.025*float64(n))], y[int(0.975*float64(n))]
}

// TestPropagateFourRectangles: JCGM 101 9.2.3 (clause from memory, numbers recomputed in the check-value page): the sum
// of four rectangular quantities of sd 1 has u = 2.0 and a 95 % interval of ±2√3(2 − 0.6^¼) = ±3.8794, not ±3.92.
func TestPropagateFourRectangles(t *testing.T) {
	_, sd, low, high := propagate(1e6, func(r *rand.Rand) float64 {
		sum := 0.0
		for range 4 {
			sum += math.Sqrt(3) * (2*r.Float64() - 1)
		}
		return sum
	})
	want := 2 * math.Sqrt(3) * (2 - math.Pow(0.6, 0.25))
	if math.Abs(sd-2) > 0.01 || math.Abs(high-want) > 0.01 || math.Abs(low+want) > 0.01 {
		t.Errorf("u %.4f, interval %.4f to %.4f, want 2.0 and ±%.4f", sd, low, high, want)
	}
}

// TestTargetUncertainty draws the sources of a first target from their sds (section 3), combines each draw as the
// method does, and compares the spread with the closed form sp.
func TestTargetUncertainty(t *testing.T) {
	for _, c := range []struct {
		name    string
		sources []source
	}{
		{"factory-anchored", []source{{2608.1, sdAnchored}}},
		{"with published revolutions", []source{{2562.0, sdAnchored}, {2566.9, sdPublished}}},
		{"with rollout", []source{{2562.0, sdAnchored}, {2566.9, sdPublished}, {2580.15, sdRollout}}},
	} {
		closed := combine(c.sources...)
		drawn := make([]source, len(c.sources))
		mean, sd, low, high := propagate(200_000, func(r *rand.Rand) float64 {
			for i, s := range c.sources {
				drawn[i] = source{s.mm * math.Exp(s.sd*r.NormFloat64()), s.sd}
			}
			return math.Log(combine(drawn...).mm)
		})
		if math.Abs(sd/closed.sd-1) > 0.01 {
			t.Errorf("%s: sd %.5f drawn, sp %.5f", c.name, sd, closed.sd)
		}
		if math.Abs(mean-math.Log(closed.mm)) > 5*closed.sd/math.Sqrt(200_000) {
			t.Errorf("%s: mean %.2f drawn, Cp %.2f", c.name, math.Exp(mean), closed.mm)
		}
		if half := (high - low) / 2; math.Abs(half/(1.96*closed.sd)-1) > 0.02 {
			t.Errorf("%s: 95 %% half-width %.5f drawn, %.5f by the closed form", c.name, half, 1.96*closed.sd)
		}
	}
}

// TestDashUncertainty propagates the priors of u and b to the dash error at 70 with the first target (vector 1 of
// section 13) and compares with the closed form behind ±2.05.
func TestDashUncertainty(t *testing.T) {
	m := mustFit(Case{Known: Known{ValueKind: CircumferenceMM, StoredFactoryValue: Number(2438), FactorySize: SizeText("LT265/70R17"), NewSize: SizeText("LT305/70R17")}})
	s := setting{S: m.choice.star}
	_, closed := m.f.errorAt(s, 70)
	_, sd, _, _ := propagate(200_000, func(r *rand.Rand) float64 {
		u, b := m.f.uMean+m.f.uSD*r.NormFloat64(), m.f.bMean+m.f.bSD*r.NormFloat64()
		return b + s.S/m.f.Cp*math.Exp(-u)*70 - 70
	})
	if math.Abs(sd/closed-1) > 0.01 {
		t.Errorf("sd %.4f drawn, %.4f by the closed form", sd, closed)
	}
}

// TestNormalEquationsAgree: the equations solved row by row agree with the arrow-shaped closed form, in which each
// drive's δ is eliminated by hand.
func TestNormalEquationsAgree(t *testing.T) {
	m := mustFit(benchmarkCase())
	f := m.f
	uu, ub, bb := 1/(f.uSD*f.uSD), 0.0, 1/(f.bSD*f.bSD)
	type sums struct{ d, eu, eb float64 }
	drives := make([]sums, len(f.delta))
	for k := range drives {
		drives[k].d = 1 / (f.deltaSD[k] * f.deltaSD[k])
	}
	for _, o := range m.obs {
		mG, c := o.m*o.G, o.w/(f.f2*o.s*o.s)
		uu, ub, bb = uu+c*mG*mG, ub-c*mG, bb+c
		drives[o.k].d += c * mG * mG
		drives[o.k].eu += c * mG * mG
		drives[o.k].eb -= c * mG
	}
	for _, k := range drives {
		uu, ub, bb = uu-k.eu*k.eu/k.d, ub-k.eu*k.eb/k.d, bb-k.eb*k.eb/k.d
	}
	det := uu*bb - ub*ub
	agrees(t, "Vuu", f.Vuu, bb/det, 1e-4)
	agrees(t, "Vbb", f.Vbb, uu/det, 1e-4)
	agrees(t, "Vub", f.Vub, -ub/det, 1e-4)
}

func benchmarkCase() Case {
	at := func(v float64, pairs ...float64) Drive {
		d := Drive{Value: Number(v)}
		for i := 0; i < len(pairs); i += 2 {
			d.Readings = append(d.Readings, Reading{Indicated: pairs[i], Reference: pairs[i+1]})
		}
		return d
	}
	return Case{
		Known:  Known{ValueKind: CircumferenceMM, StoredFactoryValue: Number(2438), FactorySize: SizeText("LT265/70R17"), NewSize: SizeText("LT305/70R17")},
		Drives: []Drive{at(2438, 66, 70, 57, 60, 47, 50, 61, 65, 52, 55), at(2589, 70, 70, 60, 60, 64, 65)},
	}
}
