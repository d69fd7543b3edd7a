package flow

import "testing"

// A sidewall load that nobody knows is an answer, though the size as typed has
// a marking of its own; another marking typed for it is taken.
func TestSidewallLoad(t *testing.T) {
	for said, want := range map[string]string{"not known": "109", "no idea": "109", "112S": "112", "112/110S": "112/110"} {
		facts := append(bayFacts()[:6:6], &SizeFact{Which: "factory", Text: "235/75R15 105S", DiameterMM: 733.5, LoadIndex: "105", SpeedSymbol: "S"},
			bayFacts()[7], &BackupFact{Bytes: 18432}, &PhaseFact{Phase: PhaseFitted, Event: EvKept})
		p := playFrom(t, Policy{}, facts...).lines("31x10.50R15LT 109S 12/12, placard pressure, gears unchanged").at(PhaseFitted).asks(QLoad)
		p.said("marked on the sidewall").lines(said)
		if p.s.Sizes["fitted"].LoadIndex != want {
			t.Errorf("%q: load index %s, want %s", said, p.s.Sizes["fitted"].LoadIndex, want)
		}
		if z, ok := p.s.size("fitted"); !ok || z.LoadIndex != want {
			t.Errorf("%q: worked with load index %s, want %s", said, z.LoadIndex, want)
		}
		if want == "109" {
			p.at(PhaseTarget)
		}
	}
}
