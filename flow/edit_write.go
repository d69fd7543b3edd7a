package flow

import (
	"slices"
	"strconv"

	"milepost/flow/understand"
)

// A read-back and a reading of codes are figures from the vehicle: an edit of the
// message that gave the latest one puts it right, after a question, and what
// rested on it is done again.

// creditChange notes which message a read-back came of.
func (s *State) creditChange(e *Entry, f *ChangeFact) {
	if (f.Why == "target" || f.Why == "restore") && f.Setting != otherName && f.Setting != backupSetting && !f.ReadBack.Zero() {
		s.credit(e, Key{QReadBack, strconv.Itoa(f.Number)})
	}
}

// creditCodes notes which message a reading of codes came of: it is the latest
// of all for so long as no other follows.
func (s *State) creditCodes(e *Entry, f *CodesFact) {
	if f.When == "after_write" || f.When == "after_drive" {
		s.credit(e, Key{QCodesNow, strconv.Itoa(len(s.Codes))})
	}
}

// overtaken says whether something later stands in the place of what came of a
// message, so that an edit of it changes nothing any more.
func (s *State) overtaken(k Key) bool {
	switch k.Question {
	case QReadBack:
		c := lastChange(s)
		return c == nil || strconv.Itoa(c.Number) != k.About || s.inTheAir()
	case QCodesNow:
		return strconv.Itoa(len(s.Codes)) != k.About
	}
	return false
}

// standingWrite says what stands of a read-back or of codes, in a few words.
func (t *turn) standingWrite(k Key) string {
	if k.Question == QReadBack {
		c := lastChange(t.s)
		m := t.s.Module(c.Module)
		if c.Setting == axleSetting {
			m = nil
		}
		return figureOf(m, c.ReadBack)
	}
	c := t.s.LastCodes()
	if said := joinAnd(slices.Concat(c.List, c.Lamps)); said != "" {
		return said
	}
	return t.text(t.m.Role, "choice.none", nil)
}

// rewriteReadBack takes the read-back of the last change from another text.
func (t *turn) rewriteReadBack(text string) {
	c := *lastChange(t.s)
	m := t.s.Module(c.Module)
	w := &WriteFact{Change: c.Number, Module: c.Module, From: c.Before, To: c.After}
	if c.Setting == axleSetting {
		w.Setting, m = axleSetting, nil
	}
	v, ok := t.typedValue(text, m)
	if !ok || !plausible(w, v) || t.sameValue(m, v, c.ReadBack) {
		return
	}
	t.undone(c.Module)
	t.readIn(&c, w, v)
}

// readBackMoved goes on from a read-back that is another now: a value that is not
// in the module is written again, and what was driven at it is judged anew.
func (t *turn) readBackMoved() {
	s := t.s
	switch s.Phase {
	case PhaseDrive:
		d := s.CurrentDrive()
		if d == nil || d.Started || s.readingsOn(d.Drive) > 0 || s.allAgree() {
			break // the review goes by what was read back
		}
		t.record(&DriveFact{Drive: d.Drive, What: "dropped", Value: d.Value})
		if t.move(EvRetarget) {
			t.answerFirst("write") // that was decided before
		}
	case PhaseReview:
		t.reviewAgain()
	case PhaseClose:
		if t.move(EvReopen) {
			t.review()
		}
	}
	t.advance()
}

// rewriteCodes takes the latest reading of codes and lamps from another text: it
// is a reading of the same step.
func (t *turn) rewriteCodes(text string) {
	in := &input{Text: text}
	if a, ok := understand.YesNo(text); ok && a.Value == understand.No && len(text) == a.End {
		in.Text = "none"
	}
	c := readCodes(in)
	was := t.s.LastCodes()
	if !c.Any() || slices.Equal(list(c.Codes), was.List) && slices.Equal(list(c.Lamps), was.Lamps) {
		return
	}
	f := &CodesFact{When: was.When, Change: was.Change, Drive: was.Drive, List: list(c.Codes), New: []string{}, Lamps: list(c.Lamps)}
	t.recordCodesAs(f, c)
}

// codesMoved tells of what is new in a reading put right.
func (t *turn) codesMoved() {
	c := t.s.LastCodes()
	if stops(c.Lamps) {
		t.cautionApart("lamps")
	}
	if c.upsets() || stops(c.Lamps) {
		t.callForCodes(c)
	}
}
