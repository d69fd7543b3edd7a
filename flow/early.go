package flow

import (
	"slices"

	"milepost/flow/understand"
	"milepost/flow/words"
)

// A value that someone wrote before its turn is a deviation: it is put back
// and read before anything else.

// tooEarly are the phases in which nothing is written yet.
var tooEarly = []Phase{PhaseBefore, PhaseFactory, PhaseBackup, PhaseFitted, PhaseTarget}

// early notes a write that came before its turn. It says whether the message
// told of one.
func (t *turn) early(in *input) bool {
	if t.writeInstead(in) {
		return true
	}
	c, ok := t.command(in.Text)
	if !ok || c.Name != understand.CmdWrote || !slices.Contains(tooEarly, t.s.Phase) || t.s.undue() != nil {
		return false
	}
	ms, _ := understand.StoredValues(c.Arg, t.context())
	if len(ms) == 0 {
		ms, _ = understand.StoredValues(in.Text, t.context())
	}
	if len(ms) == 0 {
		t.hint("early.which", nil)
		return true
	}
	v := ms[0].Value
	t.record(&DeviationFact{What: "write_before_backup", Value: Value{Num: v.Value, Label: v.Label}, Module: v.Module})
	in.Text = ""
	if t.s.Main() == nil {
		t.understood("early.noted", words.Args{"Value": plainFigure(v.Value)})
		return true // put back once the original is known
	}
	askUndo(t)
	return true
}

// undue is the early write that has not been put back, nil if there is none.
func (s *State) undue() *DeviationFact {
	for _, d := range s.openDeviations() {
		if d.What == "write_before_backup" {
			return &d
		}
	}
	return nil
}

// undoQuestion comes first in the phase of the backup: a copy made of a changed
// module is no copy of the original.
func undoQuestion() question {
	return question{ID: QUndo, When: func(s *State) bool { return s.undue() != nil && s.Main() != nil },
		Done: func(s *State) bool { return s.undue() == nil }, Ask: askUndo, Take: takeUndo, Bare: true,
		Why: "why.undo", Hint: "hint.undo"}
}

func askUndo(t *turn) {
	d := t.s.undue()
	m := t.undoModule(d)
	t.ask(QUndo, m.Name, "early.undo", words.Args{"Value": figureOf(m, d.Value), "Original": withUnit(m, m.Factory()), "Backed": t.s.backedUp()})
}

func (t *turn) undoModule(d *DeviationFact) *Module {
	if m := t.s.Module(d.Module); m != nil {
		return m
	}
	return t.s.Main()
}

func takeUndo(t *turn, in *input) bool {
	d := *t.s.undue()
	m := *t.undoModule(&d)
	sizes, _ := understand.Sizes(in.Text)
	got, ok := t.typedValue(understand.MaskAll(in.Text, sizes), &m)
	want := m.Factory()
	if !ok || !plausible(&WriteFact{From: d.Value, To: want}, got) {
		return false // a tread, a pressure, part of a size
	}
	took := t.sameValue(&m, got, want)
	if took {
		got = want // equal as far as the tool's display goes
	}
	t.record(&ChangeFact{Number: len(t.s.Changes) + 1, Setting: m.Quantity, Before: d.Value, After: want, ReadBack: got, Took: took, Module: m.Name, Why: "undo"})
	in.Text = ""
	if !took {
		t.hint("early.again", words.Args{"Value": figureOf(&m, got), "Original": withUnit(&m, want)})
		return true
	}
	d.Undone = true
	t.record(&d)
	t.understood("early.back", words.Args{"Original": figureOf(&m, want)})
	return true
}
