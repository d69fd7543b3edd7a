package flow

import (
	"strconv"

	"milepost/flow/understand"
	"milepost/flow/words"
)

// A reading can be struck, kept, swapped or corrected at any time; one that
// does not fit is asked about when parked.

// mend takes strike, keep, swap and correct: they are heard at any time.
func (t *turn) mend(in *input) bool {
	c, ok := t.heard(in.Text)
	if !ok {
		return false
	}
	what := map[string]string{understand.CmdStrike: "struck", understand.CmdKeep: "kept",
		understand.CmdSwap: "swapped", understand.CmdCorrect: "corrected"}[c.Value.Name]
	if what == "" {
		return false
	}
	which := c.Value.Arg
	if what == "corrected" {
		which = c.Value.From
	}
	rs, unclear := t.which(which)
	if len(rs) == 0 || what == "corrected" && len(rs) > 1 {
		t.sayWhich(which, unclear)
		in.Text = ""
		return true
	}
	if what == "corrected" {
		ms, _ := understand.Readings(c.Value.Arg, t.context())
		if len(ms) != 1 {
			return false
		}
		t.markAs(rs[0], what, t.pairs(ms)[0])
		t.mended()
	} else {
		for _, r := range rs {
			t.mark(r, what, 0, 0)
		}
		t.mended()
	}
	in.Text = ""
	return true
}

// mendReading changes how a reading counts, and decides anew where that is due.
func (t *turn) mendReading(r *ReadingFact, what string, dash, gps float64) {
	t.mark(r, what, dash, gps)
	t.mended()
}

// mended decides anew where readings count otherwise now.
func (t *turn) mended() {
	if t.s.Phase == PhaseReview {
		t.reviewAgain()
	}
}

// mark changes how a reading counts; the reading itself stays.
func (t *turn) mark(r *ReadingFact, what string, dash, gps float64) {
	t.markAs(r, what, &ReadingFact{Indicated: dash, Reference: gps})
}

// markAs is mark with what a corrected pair is, and how it was typed.
func (t *turn) markAs(r *ReadingFact, what string, to *ReadingFact) {
	f := &StruckFact{Number: r.Number, What: what}
	switch what {
	case "swapped":
		f.Indicated, f.Reference, f.DashStep, f.GPSStep = r.Reference, r.Indicated, r.GPSStep, r.DashStep
	case "corrected":
		f.Indicated, f.Reference, f.DashStep, f.GPSStep = to.Indicated, to.Reference, to.DashStep, to.GPSStep
	}
	args := words.Args{"Number": r.Number, "Was": pairText(r), "Now": plainFigure(f.Indicated) + "/" + plainFigure(f.Reference)}
	t.record(f)
	t.record(&AnswerFact{Question: QDoubt, About: strconv.Itoa(r.Number), Value: what})
	t.understood("mend."+what, args)
}

// convertDrive puts every pair in two units of a drive into the dash's unit:
// the phone was not set anew between them.
func (t *turn) convertDrive(drive int) {
	for i := range t.s.Readings {
		r := t.s.Readings[i]
		if g, ok := convertedGPS(&r); ok && r.Drive == drive && r.Questioned && !r.Struck {
			to := &ReadingFact{Indicated: r.Indicated, Reference: g, DashStep: r.DashStep}
			if whole(r.Reference) { // typed so, in the other unit
				to.GPSStep = round(g/r.Reference, 4)
			}
			t.markAs(&r, "corrected", to)
			t.mended()
		}
	}
}

// doubtQuestion asks about readings that do not fit, one at a time, when
// parked.
func doubtQuestion(when func(*State) bool) question {
	return question{ID: QDoubt, When: func(s *State) bool { return when(s) && s.doubted() != nil }, Done: func(*State) bool { return false },
		Ask: askDoubt, Take: takeDoubt, Why: "why.doubt", Help: "help.doubt", Hint: "hint.doubt"}
}

// doubted is the first reading in doubt that nobody has decided about.
func (s *State) doubted() *ReadingFact {
	for i := range s.Readings {
		r := &s.Readings[i]
		if r.Questioned && !r.Struck && s.Answers[Key{QDoubt, strconv.Itoa(r.Number)}].Value == "" {
			return r
		}
	}
	return nil
}

func askDoubt(t *turn) {
	r := t.s.doubted()
	args := t.doubtArgs(r)
	about := strconv.Itoa(r.Number)
	switch {
	case mixedUnits(r) != 0:
		t.ask(QDoubt, about, "doubt.units", args, "convert", "strike", "keep")
	case t.s.fitsSwapped(r):
		t.ask(QDoubt, about, "doubt.ask", args, "swap", "strike", "keep")
	default:
		t.ask(QDoubt, about, "doubt.ask", args, "strike", "keep")
	}
}

func takeDoubt(t *turn, in *input) bool {
	r := t.s.doubted()
	if r == nil {
		return false
	}
	choice := in.Choice
	if a, ok := understand.YesNo(in.Text); choice == "" && ok && mixedUnits(r) != 0 {
		choice = map[understand.Answer]string{understand.Yes: "convert", understand.No: "keep"}[a.Value]
	}
	switch choice {
	case "strike":
		t.mendReading(r, "struck", 0, 0)
		return true
	case "keep":
		t.mendReading(r, "kept", 0, 0)
		return true
	case "swap":
		t.mendReading(r, "swapped", 0, 0)
		return true
	case "convert":
		if _, ok := convertedGPS(r); ok {
			t.convertDrive(r.Drive)
			return true
		}
	}
	if t.mend(in) {
		return true
	}
	// The pair typed again is a correction.
	if ms, _ := understand.Readings(in.Text, t.context()); len(ms) == 1 {
		t.markAs(r, "corrected", t.pairs(ms)[0])
		t.mended()
		in.Text = ""
		return true
	}
	if c := readCodes(&input{Text: in.Text}); c.Any() && t.s.Phase == PhaseDrive {
		t.recordCodes(c)
		in.Text = ""
		return true
	}
	return false
}
