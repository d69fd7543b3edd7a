package flow

import (
	"milepost/flow/understand"
	"milepost/flow/words"
)

// What recovering puts back is settled by the first write: an answer amended
// after it moves the figures, and the value that goes back only after a question.

// freeze settles what goes back into a module once a write may have changed it.
func (s *State) freeze(f *WriteFact) {
	m := s.Module(f.Module)
	if m == nil || f.Setting != "" || f.Word == "begun" || f.Word == "refused" || !m.Back.Zero() {
		return
	}
	m.Back = m.entered()
}

// backMoved is the module of which another original was told after the first
// write, nil if there is none that nobody has decided about.
func (s *State) backMoved() *Module {
	for i := range s.Modules {
		m := &s.Modules[i]
		if m.Back.Zero() || m.entered().Zero() || sameStored(m, m.Back, m.entered()) || s.HasFor(QPutBack, backAbout(m)) {
			continue
		}
		return m
	}
	return nil
}

func backAbout(m *Module) string { return m.Name + " " + figureOf(m, m.entered()) }

// asksBack says whether it is asked now what goes back: not on the road, nor with
// a write in the air.
func (s *State) asksBack() bool {
	return s.Phase != PhaseClosed && !s.Driving() && !s.inTheAir() && s.backMoved() != nil
}

// putBackQuestion comes before any other once another original was told.
func putBackQuestion() question {
	return question{ID: QPutBack, When: (*State).asksBack, Done: func(*State) bool { return false },
		Ask: askPutBack, Take: takePutBack, Why: "why.put-back", Hint: "hint.yes-no"}
}

func askPutBack(t *turn) {
	m := t.s.backMoved()
	if m == nil {
		t.advance()
		return
	}
	t.ask(QPutBack, backAbout(m), "put-back.ask", words.Args{"Module": t.oneOfSeveral(m.Name), "Back": withUnit(m, m.Back), "New": withUnit(m, m.entered())}, "yes", "no")
}

func takePutBack(t *turn, in *input) bool {
	m := t.s.backMoved()
	answer := in.Choice
	if answer == "" {
		if a, ok := understand.YesNo(in.Text); ok {
			answer = string(a.Value)
		}
	}
	if m == nil || answer != "yes" && answer != "no" {
		return false
	}
	about, args := backAbout(m), words.Args{"Back": withUnit(m, m.Back)}
	if answer == "yes" {
		args["Back"] = withUnit(m, m.entered())
	}
	t.record(&AnswerFact{Question: QPutBack, About: about, Value: answer})
	t.understood("put-back.is", args)
	in.Text = ""
	return true
}

// applyPutBack lets the original told after a write be what goes back.
func (s *State) applyPutBack(f *AnswerFact) {
	if m := s.backMoved(); m != nil && f.Value == "yes" && backAbout(m) == f.About {
		m.Back = m.entered()
	}
}
