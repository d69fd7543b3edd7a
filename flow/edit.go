package flow

import (
	"slices"
	"strconv"
	"strings"

	"milepost/flow/words"
)

// An edited message is read again as a whole: what came of it is put right, one
// question for all of it. An edit never releases, waives, signs off, writes or
// erases, and what was answered to such a question is said anew, not edited.

// editable are the questions whose answers an edit may change.
func editable(q QuestionID) bool {
	switch q {
	case QVehicle, QVIN, QPlace, QOdometer, QRegulated, QBefore, QClosing, QVolts, QCodes, QLoad, QRatio, QDrive, QReadBack, QCodesNow:
		return true
	}
	return movesTarget[q]
}

// Edit is an edited message that waits for its author's word.
type Edit struct {
	Of   string // message ID
	Text string // item
}

// ofMessage gives what came of a message and an edit may change, and whether
// anything else came of it.
func (s *State) ofMessage(id string) (keys []Key, other bool) {
	for _, k := range s.By[id] {
		if !editable(k.Question) || find(k.Question) == nil || s.overtaken(k) {
			other = true
		} else if !slices.Contains(keys, k) {
			keys = append(keys, k)
		}
	}
	return keys, other
}

// edited looks what an edit of a message would change, and asks about it: on a
// drive not before it has ended.
func (t *turn) edited() {
	keys, other := t.s.ofMessage(t.m.Edit)
	args := words.Args{"Said": short(t.m.Text)}
	key := ""
	switch {
	case t.s.ByWho[t.m.Edit] != t.m.Who || len(keys) == 0 && !other:
		key = "edit.noted"
	case t.s.Phase == PhaseClosed:
		key = "edit.kept"
	case len(keys) == 0:
		key = "edit.anew"
	}
	if key != "" {
		t.answerTo(Notice, key, args)
		return
	}
	changes, read := t.wouldChange(keys, t.m.Text)
	switch {
	case !read:
		args["Name"] = t.nameOfQuestion(keys[0].Question)
		key = "amend.unread"
	case len(changes) == 0:
		key = "edit.same"
	case t.s.Driving():
		key = "edit.parked"
	}
	if len(changes) > 0 {
		t.record(&AmendedFact{Question: changes[0].key.Question, About: changes[0].key.About, By: "edit"}, Item{ItemText, t.m.Text})
	}
	if key == "" {
		askAmend(t)
		return
	}
	t.answerTo(Notice, key, args)
	if key != "edit.same" {
		t.again()
	}
}

// askAmend asks whether an edited message is meant as a new answer.
func askAmend(t *turn) {
	if len(t.s.Edits) == 0 {
		t.advance()
		return
	}
	e := t.s.Edits[0]
	keys, _ := t.s.ofMessage(e.Of)
	if len(keys) == 0 { // overtaken while it waited
		t.record(&AnswerFact{Question: QAmend, Value: "no"})
		t.understood("edit.anew", nil)
		t.advance()
		return
	}
	changes, _ := t.wouldChange(keys, e.Text)
	t.ask(QAmend, string(keys[0].Question), "edit.ask", words.Args{"Changes": t.namesOf(changes)}, "yes", "no")
}

// takeAmend takes the edited text in place of the old one, or leaves that.
func takeAmend(t *turn, in *input) bool {
	answer := yesNo(in)
	if answer != "yes" && answer != "no" || len(t.s.Edits) == 0 {
		return false
	}
	e := t.s.Edits[0]
	t.record(&AnswerFact{Question: QAmend, Value: answer})
	in.Text = ""
	if answer == "no" {
		t.say(Notice, "edit.kept", nil)
		return true
	}
	if keys, _ := t.s.ofMessage(e.Of); len(keys) > 0 {
		t.applyEdit(keys, e.Text)
	} else {
		t.say(Notice, "edit.anew", nil)
	}
	return true
}

// applyEdit reads a message anew and works out again what depended on it.
func (t *turn) applyEdit(keys []Key, text string) {
	if moving := slices.DeleteFunc(slices.Clone(keys), func(k Key) bool { return !movesTarget[k.Question] }); t.s.inTheAir() && len(moving) > 0 {
		for _, k := range moving {
			t.record(&AmendedFact{Question: k.Question, About: k.About, By: "edit", Waits: true}, Item{ItemText, text})
		}
		t.understood("amend.waits", words.Args{"Value": t.toWrite()})
		t.advance()
		return
	}
	said := len(t.replies)
	changes, read := t.rewrite(keys, text)
	if len(t.replies) > said {
		return // it asked something back
	}
	if !read {
		t.say(Notice, "amend.unread", words.Args{"Said": short(text), "Name": t.nameOfQuestion(keys[0].Question)})
	}
	var moves QuestionID
	for _, c := range changes {
		t.amended(c.key, c.from, c.to, "edit")
		switch q := c.key.Question; {
		case movesTarget[q], q == QReadBack && !movesTarget[moves], q == QDrive && moves == "":
			moves = q
		case q == QCodesNow:
			t.codesMoved()
		}
	}
	switch moves {
	case "":
		t.advance()
	case QDrive:
		t.readingsMoved()
	case QReadBack:
		t.readBackMoved()
	default:
		t.depends(moves)
	}
}

// change is an answer that a message gave, before and after it was edited.
type change struct {
	key      Key
	from, to string
}

// wouldChange says what an edit would change, without changing it, and whether
// anything of it could be read.
func (t *turn) wouldChange(keys []Key, text string) ([]change, bool) {
	try := &turn{s: t.s.Clone(), env: t.env, m: t.m}
	changes, read := try.rewrite(keys, text)
	return changes, read || len(try.replies) > 0
}

// rewrite takes what came of a message from another text, each by its own
// reader. It gives what has changed, and whether anything was read.
func (t *turn) rewrite(keys []Key, text string) (changes []change, read bool) {
	keys = together(keys)
	for _, k := range keys {
		changes = append(changes, change{key: k, from: t.standing(k)})
	}
	before, said := len(t.entries), len(t.replies)
	in := &input{Text: text}
	for i, k := range keys {
		n, q := len(t.entries), find(k.Question)
		if slices.ContainsFunc(keys[:i], func(before Key) bool { return before.Question == k.Question }) {
			continue // its reader has read all of it
		}
		switch {
		case listOf(k.Question) != "":
			t.rewriteList(q, k.About, text)
			in.Text = ""
		case k.Question == QDrive:
			t.rewriteReadings(numbersOf(k.About), text)
			in.Text = ""
		case k.Question == QReadBack:
			t.rewriteReadBack(text)
		case k.Question == QCodesNow:
			t.rewriteCodes(text)
		default:
			now := t.s.Phase
			t.s.Phase = phaseAsking(q.ID) // it is read as it was then
			if i > 0 && q.Also != nil {   // the first one is what was asked
				q.Also(t, in)
			}
			if len(t.entries) == n && (i == 0 || in.rest() != "") {
				q.Take(t, in)
			}
			t.s.Phase = now
		}
		if len(t.replies) > said {
			break // it asked something back
		}
	}
	for i := range changes {
		changes[i].to = t.standing(changes[i].key)
	}
	changes = slices.DeleteFunc(changes, func(c change) bool { return c.from == c.to })
	return changes, len(t.entries) > before
}

// together puts what is read as one into one: what opens a job is read with the
// vehicle's name, codes and voltage with their list, the pairs of a message at once.
func together(keys []Key) (list []Key) {
	has := func(q QuestionID) bool {
		return slices.ContainsFunc(keys, func(k Key) bool { return k.Question == q })
	}
	opening := []QuestionID{QVIN, QPlace, QOdometer, QUnits, QRule, QRegulated}
	var pairs []int
	for _, k := range keys {
		n, err := strconv.Atoi(k.About)
		switch {
		case k.Question == QDrive && err == nil:
			pairs = append(pairs, n)
		case k.Question == QDrive, has(QBefore) && (k.Question == QCodes || k.Question == QVolts):
		case k.Question == QVehicle:
			list = slices.Insert(list, 0, k)
		default:
			list = append(list, k)
		}
	}
	if has(QVehicle) {
		slices.SortStableFunc(list, func(a, b Key) int {
			return slices.Index(opening, a.Question) - slices.Index(opening, b.Question)
		})
	}
	if len(pairs) > 0 {
		list = append(list, Key{QDrive, lineText(pairs)})
	}
	return list
}

func (t *turn) nameOfQuestion(q QuestionID) string {
	if q == QDrive {
		return t.text(t.m.Role, "name.readings", nil)
	}
	return t.text(t.m.Role, "name."+string(q), nil)
}

// namesOf says what would change, and to what: of pairs only those that differ.
func (t *turn) namesOf(changes []change) string {
	var parts []string
	for _, c := range changes {
		from, to := "", c.to
		if c.key.Question == QDrive {
			from, to = beyond(c.from, c.to), beyond(c.to, c.from)
		}
		parts = append(parts, t.text(t.m.Role, "edit.change", words.Args{"Name": t.nameOfQuestion(c.key.Question), "From": from, "To": to}))
	}
	return joinAnd(parts)
}

// beyond gives the words of a list that are not in another, each as often as it
// is there too often.
func beyond(list, other string) string {
	left := strings.Fields(other)
	return strings.Join(slices.DeleteFunc(strings.Fields(list), func(w string) bool {
		i := slices.Index(left, w)
		if i >= 0 {
			left = slices.Delete(left, i, i+1)
		}
		return i >= 0
	}), " ")
}
