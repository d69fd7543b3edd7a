package calib

import (
	"encoding/json"
	"math"
	"regexp"
	"testing"

	"milepost/calib/unit"

	"pgregory.net/rapid"
)

// TestThereAndBack: for every kind, value to circumference and back is the same value.
func TestThereAndBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		q := rapid.SampledFrom(Quantities()).Draw(t, "quantity")
		v0 := rapid.Float64Range(q.Low, q.High).Draw(t, "v0")
		v := rapid.Float64Range(q.Low, q.High).Draw(t, "value")
		s, ok := NewScale(q.Kind, v0, 2436, rapid.SampledFrom([]Direction{Up, Down}).Draw(t, "direction"))
		if !ok {
			t.Fatal("no scale")
		}
		if back := s.Value(s.Circumference(v)); math.Abs(back/v-1) > 1e-12 {
			t.Fatalf("%v %s comes back as %v", v, q.Unit, back)
		}
	})
}

// TestLargerTyre: a larger tyre asks for a larger circumference, in every kind and under every policy.
func TestLargerTyre(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		q := rapid.SampledFrom(Quantities()).Draw(t, "quantity")
		if q.Kind == SizeList {
			t.Skip("a list has no step in between")
		}
		d0 := rapid.Float64Range(550, 1000).Draw(t, "placard")
		d1 := d0 * rapid.Float64Range(0.9, 1.1).Draw(t, "fitted")
		more := rapid.Float64Range(1.001, 1.05).Draw(t, "more")
		policy := rapid.SampledFrom([]Policy{PolicyTrue, PolicyNeverUnder, PolicyDistance}).Draw(t, "policy")
		target := func(d float64) Answer {
			k := Known{ValueKind: q.Kind, FactorySize: Size{DiameterMM: d0}, NewSize: Size{DiameterMM: d}, Policy: policy, ValueStep: new(0.001)}
			k.StoredFactoryValue = Number((q.Low + q.High) / 2)
			if v, ok := q.Value(0.966 * math.Pi * d0); ok {
				k.StoredFactoryValue = Number(v)
			}
			a, err := Target(Case{Known: k})
			if err != nil {
				t.Fatal(err)
			}
			return a
		}
		a, b := target(d1), target(d1*more)
		if b.Target.CircumferenceMM <= a.Target.CircumferenceMM {
			t.Fatalf("S* %v, with a larger tyre %v", a.Target.CircumferenceMM, b.Target.CircumferenceMM)
		}
		up := b.Target.Value.Number >= a.Target.Value.Number
		down := b.Target.Value.Number <= a.Target.Value.Number
		if q.Direction == Up && !up || q.Direction == Down && !down {
			t.Fatalf("%s goes %s: %v, larger tyre %v", q.Kind, q.Direction, a.Target.Value, b.Target.Value)
		}
		if a.Target.Low > a.Target.High || a.Target.Value.Number <= 0 {
			t.Fatalf("%+v", *a.Target)
		}
	})
}

// TestFewerReadings: of readings that all follow the model, leaving the last out never narrows the interval at W.
func TestFewerReadings(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := 2588 * rapid.Float64Range(0.99, 1.01).Draw(t, "true circumference")
		b := rapid.Float64Range(-0.2, 0.6).Draw(t, "offset")
		var speeds []float64
		for i := range rapid.IntRange(2, 10).Draw(t, "readings") {
			speeds = append(speeds, 72-float64(i)*rapid.SampledFrom([]float64{1, 2, 5}).Draw(t, "step"))
		}
		half := func(speeds []float64) float64 {
			d := Drive{Value: Number(2438)}
			for i, v := range speeds { // no rounding and no noise: the same pattern, only longer
				d.Readings = append(d.Readings, Reading{Indicated: b + 2438/c*v + 1e-7*float64(i), Reference: v})
			}
			_, pm, err := mustFit(vehicleOf(nil, d)).ErrorAt(Number(2438), 70)
			if err != nil {
				t.Fatal(err)
			}
			return pm
		}
		if fewer, all := half(speeds[:len(speeds)-1]), half(speeds); fewer < all-1e-9 {
			t.Fatalf("± %v with %d readings, ± %v with %d", fewer, len(speeds)-1, all, len(speeds))
		}
	})
}

// TestUnitInvariance: under rule never-under the priors are one market in either dash unit, so Cp, the first target and
// the prior of b are the same figures in mph as in km/h.
func TestUnitInvariance(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s0 := rapid.Float64Range(2380, 2480).Draw(t, "stored")
		w := rapid.Float64Range(80, 130).Draw(t, "work speed, km/h")
		policy := rapid.SampledFrom([]Policy{PolicyTrue, PolicyNeverUnder, PolicyDistance}).Draw(t, "policy")
		fit := func(u unit.Speed) *Model {
			return mustFit(vehicleOf(func(k *Known) {
				k.StoredFactoryValue, k.DashUnit, k.Rule, k.Policy, k.WorkSpeed = Number(s0), u, RuleNeverUnder, policy, new(u.FromKMH(w))
			}))
		}
		k, m := fit(unit.KMH), fit(unit.MPH)
		if math.Abs(k.f.Cp/m.f.Cp-1) > 1e-12 || math.Abs(k.choice.star/m.choice.star-1) > 1e-9 {
			t.Fatalf("Cp %v and %v, S* %v and %v", k.f.Cp, m.f.Cp, k.choice.star, m.choice.star)
		}
		if math.Abs(k.f.b/m.f.b/unit.KMHPerMPH-1) > 1e-12 {
			t.Fatalf("b %v km/h and %v mph", k.f.b, m.f.b)
		}
	})
}

// TestScaleInvariance: the same job told in circumference, diameter, radius or revolutions gives the same S*.
func TestScaleInvariance(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		values := []float64{2438, rapid.Float64Range(2450, 2700).Draw(t, "second value")}
		star := func(kind Kind) float64 {
			q, _ := QuantityOf(kind)
			c := vehicleOf(nil, pairs(values[0], first...), pairs(values[1], 70, 70, 60, 60, 65, 65))
			c.Known.ValueKind = kind
			for i := range c.Drives {
				v, _ := q.Value(values[i])
				c.Drives[i].Value = Number(v)
			}
			c.Known.StoredFactoryValue = c.Drives[0].Value
			return mustFit(c).choice.star
		}
		want := star(CircumferenceMM)
		for _, kind := range []Kind{DiameterMM, RadiusMM, RevMile, RevKM} {
			if got := star(kind); math.Abs(got/want-1) > 1e-9 {
				t.Fatalf("S* %v as %s, %v as circumference", got, kind, want)
			}
		}
	})
}

// TestStruckIsLeftOut: a struck reading changes nothing but its own line, and order of readings in a drive nothing.
func TestStruckIsLeftOut(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		extra := Reading{Indicated: float64(rapid.IntRange(20, 90).Draw(t, "dash")), Reference: float64(rapid.IntRange(20, 90).Draw(t, "GPS")), Struck: true}
		c := vehicleOf(nil, pairs(2438, first...))
		plain := mustReview(c)
		c.Drives[0].Readings = rapid.Permutation(append([]Reading{extra}, c.Drives[0].Readings...)).Draw(t, "order")
		struck := mustReview(c)
		if math.Abs(plain.Target.CircumferenceMM-struck.Target.CircumferenceMM) > 1e-6 || plain.Decision.Do != struck.Decision.Do {
			t.Fatalf("S* %v, with a struck reading %v", plain.Target.CircumferenceMM, struck.Target.CircumferenceMM)
		}
	})
}

func mustReview(c Case) Answer {
	a, err := Review(c)
	if err != nil {
		panic(err)
	}
	return a
}

// exponent finds a figure that is not a plain decimal.
var exponent = regexp.MustCompile(`[0-9][eE][+-]?[0-9]`)

// FuzzCase: no input panics, hangs or prints a figure that is not a plain decimal; what can't be used names itself.
func FuzzCase(f *testing.F) {
	for _, c := range []Case{benchmarkCase(), vehicleOf(nil), vehicleOf(func(k *Known) {
		k.ValueKind, k.StoredFactoryValue = SizeList, Label("265/70R17")
		k.ValueList = []ListEntry{{Label: "265/70R17"}, {Label: "285/70R17", CircumferenceMM: new(2520.0)}}
	})} {
		data, err := json.Marshal(c)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(data)
	}
	f.Add([]byte(`{"id":{},"known":{"value_kind":"percent","stored_factory_value":1e308,"factory_size":{"od_mm":-1},"new_size":[]}}`))
	f.Add([]byte(`{"known":{"value_kind":"rev_mile","stored_factory_value":0.001,"value_step":1000000,"factory_size":{"od_mm":250},"new_size":{"od_mm":2500},"work_speed":400,"dash_unit":"km/h"},` +
		`"drives":[{"value":10000000,"readings":[{"indicated":450,"reference":0.0001},{"indicated":0.0001,"reference":450}]}]}`))
	f.Add([]byte(`null`))
	f.Add([]byte(`{"known":null,"drives":null,"value_now":null} {}`))
	f.Fuzz(func(t *testing.T, data []byte) {
		c, err := ParseCase(data)
		if err != nil {
			return
		}
		for _, work := range []func(Case) (Answer, error){Target, Review} {
			a, err := work(c)
			if err != nil {
				if fe, ok := err.(*FieldError); !ok || fe.Text == "" {
					t.Fatalf("%T %v", err, err)
				}
				continue
			}
			out, err := json.Marshal(a.Rounded())
			if err != nil {
				t.Fatal(err)
			}
			var plain struct {
				Target, Prior, Estimate, Errors, Readings json.RawMessage
			}
			if err := json.Unmarshal(out, &plain); err != nil {
				t.Fatal(err)
			}
			for _, part := range []json.RawMessage{plain.Prior, plain.Estimate} {
				if exponent.Match(part) {
					t.Fatalf("an exponent in %s", part)
				}
			}
		}
	})
}
