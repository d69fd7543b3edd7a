package flow

import (
	"slices"
	"strings"
	"testing"
)

// A lamp that was not on before the work stops the job like a new code, and the
// codes are asked for with it.
func TestNewLampAfterAWrite(t *testing.T) {
	written := func() *play { return bay(t, Policy{}).lines("write", "took", "2596").asks(QCodesNow) }
	for text, lamp := range map[string]string{"check engine": "engine", "engine lamp": "engine", "tpms light on": "tyre_pressure"} {
		p := written().lines(text).asks(QCodesNow).said(strings.ReplaceAll(lamp, "_", " ")+" lamp on", "And the codes?")
		if p.s.writesDone() && p.s.codesRead() {
			t.Errorf("%q: the codes count as read", text)
		}
		p.lines("none").asks(QNewCodes).said("New since the work: " + strings.ReplaceAll(lamp, "_", " ") + " lamp")
		c := p.s.LastCodes()
		if !slices.Equal(c.Lamps, []string{lamp}) || !slices.Equal(c.NewLamps, []string{lamp}) || len(c.List) != 0 || c.Unread {
			t.Errorf("%q: %+v", text, c)
		}
		p.lines("go on").at(PhaseDrive)
		p = written().lines(text, "oil light too").asks(QCodesNow).said("And the codes?")
		if !p.s.LastCodes().Unread || p.s.codesRead() || !slices.Contains(p.s.LastCodes().Lamps, lamp) {
			t.Errorf("%q: %+v", text, p.s.LastCodes())
		}
		for _, none := range []string{"none", "no codes", "no"} {
			written().lines(text, "oil light too", none).asks(QNewCodes)
		}
		written().lines(text, "oil light too").tap("none").asks(QNewCodes)
		written().lines(text, "P0500").asks(QNewCodes).said("P0500, " + strings.ReplaceAll(lamp, "_", " ") + " lamp").lines("recover").at(PhaseRecover)
	}
	written().lines("check engine light on", "tpms light too").asks(QCodesNow).said("And the codes?").lines("P0500").asks(QNewCodes)
	written().lines("engine light on, no codes").asks(QNewCodes)
	written().lines("engine lamp", "the lamp is off, no codes").at(PhaseDrive)
	written().lines("none").at(PhaseDrive)
	written().lines("abs lamp").asks(QNewCodes).said("Do not drive")
}

// A lamp from before the work, or gone on with, is no new one.
func TestKnownLamp(t *testing.T) {
	facts := bayFacts()
	facts[4] = &CodesFact{When: "before", List: []string{}, New: []string{}, Lamps: []string{"engine"}}
	p := playFrom(t, Policy{}, append(facts, &PhaseFact{Phase: PhaseFitted, Event: EvKept})...).lines("ok", "write", "took", "2596")
	p.lines("engine lamp").asks(QCodesNow).lines("none").at(PhaseDrive)
	p = bay(t, Policy{}).lines("write", "took", "2596", "engine lamp", "none", "go on", "go", "65/65 60/60 62/62", "parked").asks(QCodesNow)
	p.lines("engine lamp", "none").at(PhaseReview)
}
