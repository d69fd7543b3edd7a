package flow

import (
	"strings"

	"milepost/calib/tyre"
	"milepost/calib/unit"
	"milepost/flow/understand"
	"milepost/flow/words"
)

// loadFindings compares load and speed with the placard's.
func (s *State) loadFindings() []tyre.Finding {
	z0, ok0 := s.size("factory")
	z1, ok1 := s.size("fitted")
	if !ok0 || !ok1 {
		return nil
	}
	return tyre.Compare(z0, z1, tyre.Vehicle{Duals: s.Value(QDuals) == "yes", Winter: s.Value(QWinter) == "yes"})
}

func (t *turn) sayLoad() {
	fs := t.s.loadFindings()
	if len(fs) == 0 {
		return
	}
	hold := true
	for _, f := range fs {
		if f.Outcome != tyre.Enough {
			hold = false
		}
	}
	if hold {
		t.understood("echo.load.holds", nil)
	}
}

// loadWants says whether load or speed symbol wants an answer: below the
// placard's, or the marking on the new tyre not told.
func loadWants(s *State) bool {
	z0, ok0 := s.size("factory")
	if !ok0 || !s.Has(QFitted) || (z0.LoadIndex == "" && z0.SpeedSymbol == "") {
		return false
	}
	return len(s.loadLeft()) > 0
}

// loadLeft are the findings that nobody has answered yet.
func (s *State) loadLeft() (left []tyre.Finding) {
	if s.HasFor(QLoad, "") {
		return nil
	}
	for _, f := range s.loadFindings() {
		if f.Outcome != tyre.Enough && !s.HasFor(QLoad, s.loadAbout(f)) {
			left = append(left, f)
		}
	}
	return left
}

// loadAbout names a finding for the question about it: of another size it is
// another one.
func (s *State) loadAbout(f tyre.Finding) string {
	return string(f.Matter) + " " + s.Sizes["fitted"].Text
}

// answerLoad records what was said to the finding that stands first.
func (t *turn) answerLoad(a AnswerFact) {
	left := t.s.loadLeft()
	w := worst(left)
	for _, f := range left {
		if f.Matter == w.Matter || w.Outcome == tyre.Unclear && f.Outcome == tyre.Unclear {
			b := a // what is not marked is asked for in one question
			b.Question, b.About = QLoad, t.s.loadAbout(f)
			t.record(&b)
		}
	}
}

// worst gives the finding to be asked about first.
func worst(fs []tyre.Finding) tyre.Finding {
	var w tyre.Finding
	for _, rank := range []tyre.Outcome{tyre.Unclear, tyre.Caution, tyre.Below} {
		for _, f := range fs {
			if f.Outcome == rank {
				w = f
			}
		}
	}
	return w
}

func askLoad(t *turn) {
	f := worst(t.s.loadLeft())
	about := t.s.loadAbout(f)
	args := words.Args{"Placard": unit.Figure(f.Placard, 0), "Fitted": unit.Figure(f.Fitted, 0), "Derated": f.Derated,
		"Speed": f.Matter == tyre.TopSpeed}
	switch {
	case f.DifferentPressure:
		t.ask(QLoad, about, "fitted.load.sidewall", args)
	case f.Outcome == tyre.Unclear:
		t.ask(QLoad, about, "fitted.load.missing", args)
	case f.Matter == tyre.TopSpeed:
		t.ask(QLoad, about, "fitted.speed.below", args, "winter", "other_tyres", "noted")
	default:
		t.ask(QLoad, about, "fitted.load.below", args, "other_tyres", "noted")
	}
}

func takeLoad(t *turn, in *input) bool {
	switch in.Choice {
	case "winter":
		t.answerLoad(AnswerFact{Value: "winter"})
		t.record(&AnswerFact{Question: QWinter, Value: "yes"})
		t.caution("winter", true)
		return true
	case "noted":
		t.answerLoad(AnswerFact{Value: "noted"})
		t.record(&DeviationFact{What: "below_placard"})
		t.caution("load", true)
		return true
	case "other_tyres":
		askFitted(t)
		return true
	}
	if kg, ok, _ := understand.Load(in.Text); ok {
		f := worst(t.s.loadLeft())
		in.take(kg.Start, kg.End)
		if f.Fitted = kg.Value.Single; f.Derated {
			f.Fitted /= tyre.PassengerOnTruck
		}
		if f.Matter == tyre.SingleLoad && f.Placard > 0 && f.Fitted < f.Placard {
			t.ask(QLoad, t.s.loadAbout(f), "fitted.load.below", words.Args{"Placard": unit.Figure(f.Placard, 0),
				"Fitted": unit.Figure(f.Fitted, 0), "Derated": f.Derated}, "other_tyres", "noted")
			return true
		}
		t.answerLoad(AnswerFact{Number: kg.Value.Single, Unit: "kg"})
		return true
	}
	// The marking itself: "121/118S".
	if z, err := tyre.Parse(t.s.Sizes["fitted"].unmarked() + " " + in.Text); err == nil && (z.LoadIndex != "" || z.SpeedSymbol != "") {
		f := t.s.Sizes["fitted"]
		if bare := f.unmarked(); bare != f.Text {
			f.Text = bare + " " + z.LoadIndex + z.SpeedSymbol // what was typed before was not it
		}
		f.LoadIndex, f.SpeedSymbol = z.LoadIndex, z.SpeedSymbol
		t.record(&f)
		in.Text = ""
		t.sayLoad()
		return true
	}
	if a, ok := understand.YesNo(in.Text); ok && a.Value != understand.Yes {
		t.answerLoad(AnswerFact{Value: "not_known"})
		t.caution("load", true)
		return true
	}
	return false
}

// unmarked is the size's text without load index and speed symbol.
func (f SizeFact) unmarked() string {
	return strings.TrimSpace(strings.Replace(f.Text, f.LoadIndex+f.SpeedSymbol, "", 1))
}
