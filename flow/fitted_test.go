package flow

import "testing"

// Tread, pressure and gears in a row of short answers are taken as they stand.
func TestFittedInARow(t *testing.T) {
	for _, lines := range [][]string{
		{"LT285/75R17 121/118S as new, placard, unchanged"},
		{"LT265/70R17 121/118S, as new, placard pressure, unchanged"},
		{"LT285/75R17 121/118S 12/12", "all unchanged, normal pressure"},
	} {
		facts := append(bayFacts()[:9:9], &PhaseFact{Phase: PhaseFitted, Event: EvKept})
		p := playFrom(t, Policy{}, facts...).lines(lines...).at(PhaseTarget)
		if v := p.s.Value(QGears); v != "unchanged" {
			t.Errorf("%q: gears %q", lines, v)
		}
		if v, _ := p.s.Num(QPressure); v != 1 {
			t.Errorf("%q: pressure %v", lines, v)
		}
	}
}
