package flow

import "testing"

// factory brings a job to the question for placard and value.
func factory(t *testing.T) *play {
	t.Helper()
	facts := append(bayFacts()[:6:6], &PhaseFact{Phase: PhaseFactory, Event: EvReady})
	return playFrom(t, Policy{}, facts...).lines("ok").at(PhaseFactory).asks(QPlacard)
}

// The range of an axle ratio that is stored is no pair of gears.
func TestStoredRangeIsNoGears(t *testing.T) {
	p := factory(t).lines("265/70R17 115T, 3.65 axle ratio, step 0.01, 2.97 to 4.56").asks(QOnly)
	m := p.s.Main()
	if m.Original != Number(3.65) || m.Step != 0.01 || m.Min == nil || *m.Min != 2.97 || m.Max == nil || *m.Max != 4.56 {
		t.Errorf("%+v", m)
	}
	if v := p.s.Value(QGears); v != "" {
		t.Errorf("gears are %s", v)
	}
}
