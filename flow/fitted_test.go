package flow

import (
	"strings"
	"testing"
)

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

// What was typed in another unit, or against the placard's, is echoed as it counts.
func TestTreadEcho(t *testing.T) {
	for _, c := range [][4]string{
		{"12/32 new 9/32 now", "Tread 9.5 mm new, 7.1 now.", "38 psi, placard 36", "Pressure 6 % over the placard's."},
		{"8/6", "Tread 8 mm new, 6 now.", "34 psi, placard 36", "Pressure 6 % under the placard's."},
	} {
		facts := append(bayFacts()[:9:9], &PhaseFact{Phase: PhaseFitted, Event: EvKept})
		playFrom(t, Policy{}, facts...).lines("LT285/75R17 121/118S", c[0]).said(c[1]).lines(c[2]).said(c[3])
	}
	for _, c := range [][2]string{{"unworn", "placard pressure"}, {"not known", "not sure"}, {"12 mm new", "as new"}} {
		facts := append(bayFacts()[:9:9], &PhaseFact{Phase: PhaseFitted, Event: EvKept})
		p := playFrom(t, Policy{}, facts...).lines("LT285/75R17 121/118S")
		for _, line := range c {
			for _, r := range p.lines(line).last {
				if strings.Contains(r.Text, "mm new, ") || strings.Contains(r.Text, "the placard's.") {
					t.Errorf("%q: %q", line, r.Text)
				}
			}
		}
	}
}
