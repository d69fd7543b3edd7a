package flow

import (
	"cmp"
	"math"
	"regexp"
	"slices"

	"milepost/flow/understand"
	"milepost/flow/words"
)

// Answers can be changed at any time; the old one stays in the log beside the
// new one, and what depended on it is worked out again.

// moves the target: a change of these answers changes the value to write.
var movesTarget = map[QuestionID]bool{
	QPlacard: true, QStored: true, QEntry: true, QChanged: true, QPercent: true, QList: true,
	QSteps: true, QFitted: true, QTread: true, QPressure: true, QRevs: true, QRollout: true,
	QGears: true, QSensing: true, QAxles: true, QUnits: true, QRule: true,
}

// changeAnswer is "change the new size to 285/70R17".
func (t *turn) changeAnswer(c command, _ *input) bool {
	if t.s.Driving() {
		t.answerTo(Notice, "amend.driving", nil)
		return true
	}
	if t.s.Phase == PhaseClosed {
		t.again()
		return true
	}
	id, ok := amendable[c.Field]
	if c.Field == understand.FieldLast {
		last := t.lastAnswered(math.MaxInt64)
		id, ok = last.Question, last.Seq > 0
		if q := t.newestTaking(c.Arg); q != nil {
			id, ok = q.ID, true
		}
	}
	if !ok {
		t.answerTo(Notice, "amend.which", nil)
		t.again()
		return true
	}
	q := find(id)
	if c.Arg == "" {
		q.Ask(t)
		return true
	}
	t.amend(q, "", t.withField(q, c), "words")
	return true
}

// newestTaking is the question answered last among those whose reader takes a
// text as an answer, nil if none does.
func (t *turn) newestTaking(text string) *question {
	if text == "" {
		return nil
	}
	var answers []Answer
	for _, a := range t.s.Answers {
		answers = append(answers, a)
		if a.Question == QPlacard && len(t.s.Modules) > 0 { // the value is given beside the size, and has no answer of its own
			a.Question = QStored
			answers = append(answers, a)
		}
	}
	slices.SortFunc(answers, func(a, b Answer) int {
		return cmp.Or(cmp.Compare(b.Seq, a.Seq), cmp.Compare(b.Question, a.Question), cmp.Compare(a.About, b.About))
	})
	for _, a := range answers {
		if q := find(a.Question); q != nil && !anyWords[q.ID] && t.takes(q, text) {
			return q
		}
	}
	return nil
}

// anyWords are the questions that any words answer.
var anyWords = map[QuestionID]bool{QVehicle: true, QBackup: true}

// takes says whether a question's reader takes a text as its answer, tried on a
// copy of the state.
func (t *turn) takes(q *question, text string) bool {
	try := &turn{s: t.s.Clone(), env: t.env, m: t.m}
	if !q.Take(try, &input{Text: text}) || try.err != nil {
		return false
	}
	for _, e := range try.entries {
		switch f := e.Fact.(type) {
		case *AnswerFact:
			if f.Question == q.ID {
				return true
			}
		case *StoredFact:
			if q.ID == QStored || q.ID == QSteps {
				return true
			}
		case *SizeFact:
			if sizeQuestion[f.Which] == q.ID {
				return true
			}
		case *VehicleFact:
			return q.ID == QVehicle
		case *OdometerFact:
			return q.ID == QOdometer
		case *VINFact:
			return q.ID == QVIN
		}
	}
	return false
}

// fieldWord says what a bare figure is, where the question was named apart
// from it: "change step to 5".
var fieldWord = map[string]string{
	understand.FieldStep: "step", understand.FieldLimits: "limits", understand.FieldTread: "tread", understand.FieldPressure: "pressure",
	understand.FieldGears: "gears", understand.FieldRevs: "published revs per mile", understand.FieldRollout: "rollout", understand.FieldOdometer: "odometer",
}

// withField is the new answer, with the word that names it where it is not
// taken without.
func (t *turn) withField(q *question, c command) string {
	word, ok := fieldWord[c.Field]
	if with := word + " " + c.Arg; ok && !t.takes(q, c.Arg) && t.takes(q, with) {
		return with
	}
	return c.Arg
}

// putRight is a sentence that puts an answer right: "the tread is 12/8".
var putRight = regexp.MustCompile(`(?i)^\s*(?:(?:no|sorry|wait|actually|oh)[,.:;]?\s+)*((?:the|my)\s+[a-z ]{3,24}?\s+(?:is|was|are|were|should be)\s+.+?)[\s,]*(?:actually|really|in fact|sorry)?[.!]*\s*$`)

// putsRight takes a sentence that names an answer given before and says it
// anew. It says whether the message was one.
func (t *turn) putsRight(open *question, text string) bool {
	m := putRight.FindStringSubmatch(text)
	if m == nil || t.s.Driving() || t.s.Phase == PhaseClosed {
		return false
	}
	c, ok := readCommand("change " + m[1])
	id := amendable[c.Field]
	if !ok || c.Name != understand.CmdChange || c.Arg == "" || id == "" || open != nil && id == open.ID || general[c.Field] {
		return false
	}
	q := find(id)
	if q == nil || !t.s.Has(id) && (id != QStored && id != QSteps || len(t.s.Modules) == 0) || !t.takes(q, t.withField(q, c)) {
		return false
	}
	return t.changeAnswer(c, nil)
}

// general are fields whose words say too little to put an answer right with.
var general = map[string]bool{understand.FieldLast: true, understand.FieldStored: true, understand.FieldVehicle: true, understand.FieldSize: true}

// amendable maps the words of the reader to questions.
var amendable = map[string]QuestionID{
	understand.FieldVehicle: QVehicle, understand.FieldVIN: QVIN, understand.FieldPlace: QPlace,
	understand.FieldOdometer: QOdometer, understand.FieldUnits: QUnits, understand.FieldRule: QRule,
	understand.FieldRegulated: QRegulated, understand.FieldVolts: QVolts,
	understand.FieldSizeFactory: QPlacard, understand.FieldSizeFitted: QFitted,
	understand.FieldStored: QStored, understand.FieldFactoryValue: QStored, understand.FieldStep: QSteps,
	understand.FieldLimits: QSteps, understand.FieldBackup: QBackup, understand.FieldTread: QTread,
	understand.FieldPressure: QPressure, understand.FieldRevs: QRevs, understand.FieldRollout: QRollout,
	understand.FieldGears: QGears, understand.FieldSpeedFrom: QSensing, understand.FieldLoad: QLoad,
}

// personal are the questions whose answers are erasable words.
var personal = map[QuestionID]bool{QVehicle: true, QVIN: true, QBackup: true}

// amend puts a new answer in place of an old one.
func (t *turn) amend(q *question, about, text, by string) {
	if movesTarget[q.ID] && t.s.inTheAir() && t.readable(q, text) {
		t.record(&AmendedFact{Question: q.ID, About: about, By: by, Waits: true}, Item{ItemText, text})
		t.understood("amend.waits", words.Args{"Value": t.toWrite()})
		t.advance()
		return
	}
	old := t.answerText(t.s.Answers[Key{q.ID, about}])
	n, said := len(t.entries), len(t.replies)
	asked := t.s.Asked
	if !q.Take(t, &input{Text: text}) || len(t.entries) == n {
		t.unread(q, text, asked, said)
		return
	}
	now := t.answerText(t.s.Answers[Key{q.ID, about}])
	t.amended(Key{q.ID, about}, old, now, by)
	if len(t.replies) > said {
		return // it asked something back
	}
	t.depends(q.ID)
}

// amended records that an answer is another now. Words that may have to be erased
// are no part of the leaf.
func (t *turn) amended(k Key, from, to, by string) {
	f := &AmendedFact{Question: k.Question, About: k.About, From: from, To: to, By: by}
	f.Waits = (movesTarget[k.Question] || k.Question == QDrive) && t.s.inTheAir()
	var items []Item
	if personal[k.Question] {
		f.From, f.To = "", ""
		items = []Item{{ItemFrom, from}, {ItemTo, to}}
	}
	t.record(f, items...)
}

// unread says that an amendment was not understood, unless something was asked
// back, and goes on where the job was.
func (t *turn) unread(q *question, text string, asked *AskedFact, said int) {
	if len(t.replies) == said {
		t.answerTo(Notice, "amend.unread", words.Args{"Said": short(text), "Name": t.nameOfQuestion(q.ID)})
	}
	t.s.Asked = asked
	t.again()
}

// depends works out again what depended on an answer, and says first whether a
// value already written depended on it.
func (t *turn) depends(q QuestionID) {
	target := t.s.Target(t.s.mainName())
	if !movesTarget[q] || target == nil {
		t.advance()
		return
	}
	if t.s.inTheAir() {
		t.understood("amend.waits", words.Args{"Value": t.toWrite()})
		t.advance()
		return
	}
	t.retargetNow()
	t.advance()
}

// inTheAir says whether a write under way may have changed the module already:
// then it is read back before anything else.
func (s *State) inTheAir() bool {
	return s.Writing != nil && s.Writing.Word != "begun" && s.Writing.Word != "refused"
}

// retargetNow goes back to the target and works it out again, saying first
// what is stored now.
func (t *turn) retargetNow() {
	old := t.figure(t.s.Target(t.s.mainName()).Value)
	if t.s.Writes() > 0 {
		t.say(Caution, "amend.written", words.Args{"Value": t.figure(t.s.Main().Now)})
	}
	if can(t.s.Phase, EvRetarget) && !t.move(EvRetarget) {
		return
	}
	if t.s.Phase == PhaseTarget {
		t.retarget(old)
	}
}

// readable says whether a text is an answer to a question, without taking it.
func (t *turn) readable(q *question, text string) bool {
	try := &turn{s: t.s.Clone(), env: t.env, m: t.m}
	return q.Take(try, &input{Text: text}) && len(try.entries) > 0
}

// amendedMeanwhile takes up amendments that had to wait for the read-back. The
// last one moves the target.
func (t *turn) amendedMeanwhile() {
	if t.s.Writing != nil || t.s.Phase != PhaseChange {
		return
	}
	waiting := t.s.Waiting
	for i, a := range waiting {
		q := find(a.Question)
		if a.By == "edit" {
			changes, _ := t.rewrite([]Key{{a.Question, a.About}}, a.Text)
			f := &AmendedFact{Question: q.ID, About: a.About, By: a.By}
			for _, c := range changes {
				f.From, f.To = c.from, c.to
			}
			t.record(f)
			if i == len(waiting)-1 {
				t.depends(q.ID)
				return
			}
			continue
		}
		if i == len(waiting)-1 {
			t.amend(q, a.About, a.Text, a.By)
			return
		}
		if q.Take(t, &input{Text: a.Text}) {
			t.record(&AmendedFact{Question: q.ID, About: a.About, By: a.By})
		}
	}
	if t.s.Waits {
		t.retargetNow()
	}
}

// deleted notes that a message was withdrawn; the answer stands until someone
// says otherwise.
func (t *turn) deleted() {
	keys := t.s.By[t.m.Delete]
	if t.s.ByWho[t.m.Delete] != t.m.Who || len(keys) == 0 {
		t.answerTo(Notice, "edit.noted", nil)
		return
	}
	q := keys[0].Question
	t.record(&AmendedFact{Question: q, About: keys[0].About, By: "delete"})
	key := "delete.stands"
	switch {
	case q == QBackup:
		key = "delete.backup"
	case t.s.Taps[t.m.Delete]:
		key = "delete.tap"
	}
	t.answerTo(Notice, key, words.Args{"Name": t.text(t.m.Role, "name."+string(q), nil)})
	if !t.s.Driving() {
		t.again()
	}
}
