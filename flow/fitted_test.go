package flow

import "testing"

// Tread, pressure and gears in a row of short answers are taken as they stand.
func TestFittedInARow(t *testing.T) {
	for _, lines := range [][]string{
		{"LT285/75R17 121/118S as new, placard, as built"},
		{"LT265/70R17 121/118S, as new, placard pressure, as built"},
		{"LT285/75R17 121/118S 12/12", "all as built, normal pressure"},
	} {
		facts := append(bayFacts()[:9:9], &PhaseFact{Phase: PhaseFitted, Event: EvKept})
		p := playFrom(t, Policy{}, facts...).lines(lines...).at(PhaseTarget)
		if v := p.s.Value(QGears); v != "as_built" {
			t.Errorf("%q: gears %q", lines, v)
		}
		if v, _ := p.s.Num(QPressure); v != 1 {
			t.Errorf("%q: pressure %v", lines, v)
		}
	}
}
