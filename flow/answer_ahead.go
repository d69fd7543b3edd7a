package flow

import "milepost/flow/words"

// gathering are the phases whose questions a message may answer ahead of their
// turn.
var gathering = []Phase{PhaseOpen, PhaseBefore, PhaseFactory, PhaseBackup, PhaseFitted}

// gather lets the other questions of the early phases take what the message
// answers ahead of its turn, so that it is not asked again.
func (t *turn) gather(in *input, open *question) {
	if in.rest() == "" {
		return
	}
	for _, ph := range gathering {
		qs := phases()[ph].Questions
		for i := range qs {
			q := &qs[i]
			if q.Also == nil || (open != nil && q.ID == open.ID) || !q.due(t.s) && !t.unasked(q.ID) {
				continue
			}
			entries, echoes, placard := len(t.entries), len(t.echo), t.s.Sizes["factory"].Text
			q.Also(t, in)
			if ph != t.s.Phase && (len(t.entries) > entries && len(t.echo) == echoes || q.ID == QPlacard && placard != t.s.Sizes["factory"].Text) {
				t.echoEarly(q) // it is not asked, so nothing else says that it was taken
			}
			if in.rest() == "" {
				return
			}
		}
	}
}

// echoEarly says in a few words what was taken ahead of its turn.
func (t *turn) echoEarly(q *question) {
	var a Answer
	for _, b := range t.s.Answers {
		if b.Question == q.ID && b.Seq > a.Seq {
			a = b
		}
	}
	value := t.answerText(a)
	switch q.ID {
	case QPlacard:
		value = t.s.Sizes["factory"].Text
	case QStored:
		if m := t.s.Main(); m != nil {
			value = withUnit(m, m.Factory())
		}
	}
	if name := "name." + string(q.ID); value != "" && catalogue().Has(name) {
		t.understood("echo.early", words.Args{"Name": upperFirst(t.text(t.worker(), name, nil)), "Value": value})
	}
}

// unasked says whether a question is one that nobody asks: what is said of it
// is taken.
func (t *turn) unasked(q QuestionID) bool {
	switch q {
	case QVIN:
		return !t.s.Has(q) || vinDoubted(t.s)
	case QRevs, QRollout:
		return !t.s.Has(q)
	case QUnits:
		return t.s.Phase == PhaseOpen
	}
	return false
}

// measuredLater takes published revolutions or a rollout that come once the
// target is worked out: it is worked out again.
func (t *turn) measuredLater(in *input) bool {
	if in.Text == "" || t.s.Driving() || t.s.Target(t.s.mainName()) == nil {
		return false
	}
	for _, id := range []QuestionID{QRevs, QRollout} {
		if q := find(id); t.takes(q, in.Text) {
			t.amend(q, "", in.Text, "words")
			return true
		}
	}
	return false
}
