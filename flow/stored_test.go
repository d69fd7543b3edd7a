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

// A display in inches has tenths at the coarsest; the value said is one that
// the tool can show, and is taken when it is read back.
func TestInchStep(t *testing.T) {
	for typed, want := range map[string]string{"96 inch circumference": "102.2", "96.0 inch circumference": "102.2", "95.98 inch circumference": "102.21"} {
		p := factory(t).lines("LT265/70R17 121/118S", typed, "yes", "can't save", "values noted").lines("LT285/75R17 121/118S 12/12, placard pressure, gears unchanged")
		p.at(PhaseTarget).said("Write "+want+" in").lines("write", "took", want).asks(QCodesNow)
		if m := p.s.Main(); m.Now != p.s.Target("").Value {
			t.Errorf("%s: now %v, target %v", typed, m.Now, p.s.Target("").Value)
		}
	}
}

// A figure is held back from the facts until it is known what it is.
func TestStoredFactHeldBack(t *testing.T) {
	p := factory(t).lines("LT265/70R17 121/118S", "400").asks(QQuantity)
	for _, r := range p.last {
		if f, ok := r.Facts["stored"]; ok {
			t.Errorf("%+v", f)
		}
	}
	p.lines("radius mm")
	found := false
	for _, r := range p.last {
		f, ok := r.Facts["stored"].(*StoredFact)
		found = found || ok && f.Quantity == "radius" && f.Unit == "mm"
	}
	if !found {
		t.Error("not shown once known")
	}
}
