package calib

import (
	"math"
	"sort"

	"milepost/calib/unit"
)

// Target works out the first value to write, from sizes and measurements alone (sections 2, 3 and 5). Drives of
// the case are not looked at. An error is a *FieldError and names the field that can't be used.
func Target(c Case) (Answer, error) {
	m, err := newModel(&c, false)
	if err != nil {
		return Answer{}, err
	}
	return m.answer(m.decideTarget(), true)
}

// Review pools all readings of all drives and makes one decision (sections 4 to 10). An error is a *FieldError
// and names the field that can't be used.
func Review(c Case) (Answer, error) {
	m, err := newModel(&c, true)
	if err != nil {
		return Answer{}, err
	}
	return m.Review()
}

// Review is the answer for the model's case.
func (m *Model) Review() (Answer, error) { return m.answer(m.decide(), false) }

func (m *Model) decideTarget() Decision {
	switch {
	case !m.j.pairing.OK:
		return Decision{Do: Ask, Reason: ReasonSizeMismatch}
	case m.j.entryUnit():
		return Decision{Do: Ask, Reason: ReasonEntryUnit}
	case m.j.gearsChanged && m.j.speedFrom == SpeedFromUnknown: // section 2, 5
		near := m.fastestAsked()
		return Decision{Do: Read, Reason: ReasonGearsUnknown, Near: &near}
	}
	v := m.choice.best.Value
	return Decision{Do: Write, Reason: ReasonFirstTarget, Value: &v}
}

func (m *Model) answer(d Decision, target bool) (Answer, error) {
	after := m.now
	if d.Do == Write || target && m.j.pairing.OK {
		after = m.choice.best
	}
	a := Answer{
		ID:       m.c.ID,
		Method:   Method,
		Prior:    PriorFact{m.f.Cp, 100 * m.f.sp},
		Estimate: m.estimate(),
		Errors:   m.errors(after),
		Decision: d,
		Readings: m.notes(),
	}
	if m.j.pairing.OK {
		a.Target = m.target()
	}
	a.Decision.Because = m.because(d)
	a.Warnings = m.warnings(d, after, target)
	if !a.finite() {
		return Answer{}, &FieldError{"known", "these figures are too far from any vehicle's to compute with"}
	}
	return a, nil
}

func (m *Model) target() *TargetFact {
	star := m.choice.star
	_, sd := m.f.errorAt(setting{S: star, soft: m.choice.best.soft, driven: m.choice.best.driven}, m.j.W)
	part := m.f.kappa * sd / m.j.W // ±/W of the contract
	q := m.j.scale.Quantity()
	t := &TargetFact{
		Value: m.choice.best.Value, Unit: q.Unit, Quantity: q.Name,
		CircumferenceMM: star, Limited: m.choice.limited,
		Low: m.j.scale.Value(star * math.Max(1-part, 0.01)), High: m.j.scale.Value(star * (1 + part)),
	}
	if t.Low > t.High { // values that go down for a larger tyre
		t.Low, t.High = t.High, t.Low
	}
	return t
}

func (m *Model) estimate() Estimate {
	half := m.f.kappa * math.Sqrt(m.f.Vuu)
	c := m.f.ceff()
	return Estimate{U: m.f.u, Offset: m.f.b, CircumferenceMM: c, Low: c * math.Exp(-half), High: c * math.Exp(half)}
}

// errors gives the dash's errors at 30/50/70 mph or 50/80/110 km/h and at W, none above the speed symbol.
func (m *Model) errors(after setting) []SpeedError {
	speeds := [4]float64{30, 50, 70, m.j.W}
	if m.j.unit == unit.KMH {
		speeds = [4]float64{50, 80, 110, m.j.W}
	}
	sort.Float64s(speeds[:])
	out := make([]SpeedError, 0, len(speeds))
	for i, v := range speeds {
		if v > m.j.symbolCap || i > 0 && v == speeds[i-1] {
			continue
		}
		out = append(out, m.speedError(after, v))
	}
	return out
}

func (m *Model) speedError(after setting, v float64) SpeedError {
	before, _ := m.f.errorAt(m.j.factory, v)
	mean, sd := m.f.errorAt(after, v)
	return SpeedError{At: v, Unit: string(m.j.unit), Before: before, After: mean, PlusMinus: m.f.kappa * sd}
}

func (m *Model) notes() []ReadingNote {
	notes := make([]ReadingNote, len(m.obs))
	for i := range m.obs {
		o := &m.obs[i]
		notes[i] = ReadingNote{
			Drive: o.drive, Index: o.index, Indicated: o.I, Reference: o.G, Weight: o.w, Z: o.z(),
			Questioned: o.counted() && o.z() > questionedOver, Expected: m.f.b + o.m*o.G,
		}
	}
	return notes
}
