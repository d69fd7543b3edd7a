package flow

import (
	"strings"
	"testing"
)

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

// A list of sizes is begun by its name, by its entries or by the one chosen.
func TestListOfSizes(t *testing.T) {
	p := factory(t).lines("LT265/70R17 121/118S").asks(QStored)
	p.lines("choice from a list of sizes").asks(QStored).said("Which one is chosen")
	p.lines("LT265/70R17").asks(QList)
	p.lines("LT265/70R17 LT285/70R17 LT305/70R17").asks(QOnly)
	if m := p.s.Main(); m.Original.Label != "LT265/70R17" || len(m.List) != 3 || m.Kind != "size_list" {
		t.Errorf("%+v", m)
	}
	q := factory(t).lines("LT265/70R17 121/118S", "LT265/70R17 LT285/70R17 LT305/70R17").asks(QStored).said("LT305/70R17", "chosen")
	q.lines("LT285/70R17").asks(QOnly)
	if m := q.s.Main(); m.Original.Label != "LT285/70R17" || len(m.List) != 3 {
		t.Errorf("%+v", m)
	}
}

// What is quoted is what was typed, never what is left of it.
func TestQuotesOwnWords(t *testing.T) {
	p := playFrom(t, Policy{}).lines("new job unit 3, bay, 1000 mi", "no", "all yes", "yes")
	for _, r := range p.last {
		if strings.Contains(r.Text, "\";") {
			t.Errorf("%s", r.Text)
		}
	}
	factory(t).lines("LT265/70R17 121/118S", "LT275/70R17 hello").said("\"LT275/70R17 hello\"")
}
