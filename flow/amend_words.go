package flow

import (
	"cmp"
	"math"
	"regexp"
	"slices"

	"milepost/flow/understand"
)

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
		if q := find(a.Question); q != nil && !anyWords[q.ID] && t.s.amendsFrom(q.ID) && t.takes(q, text) {
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
