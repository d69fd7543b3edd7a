package flow

import (
	"regexp"
	"strconv"

	"milepost/flow/understand"
)

// The tool's word after a write, and what follows from each.

func takeWritten(t *turn, in *input) bool {
	switch in.Choice {
	case "recover":
		t.goRecover()
		return true
	case "adopt":
		t.adopt()
		return true
	case "":
	default:
		t.toolSaid(in.Choice, "")
		return true
	}
	if t.otherSetting(in) {
		return true
	}
	if t.s.Writing.Word == "refused" && t.s.Writing.Why == "value" && t.newLimits(in) {
		return true
	}
	w, ask := understand.ToolSays(in.Text)
	if ask == nil && w.Value.Word != understand.Took {
		t.toolSaid(w.Value.Word, w.Value.Reason)
		in.Text = ""
		return true
	}
	m := t.s.Module(t.s.Writing.Module)
	if v, ok := t.typedValue(in.Text, m); ok && t.likely(v) {
		t.typedAfterWrite(in, m, v, ask == nil)
		in.Text = ""
		return true
	}
	if ask == nil {
		t.toolSaid("took", "")
		in.Text = ""
		return true
	}
	if c, ok := t.heard(in.Text); ok {
		switch c.Value.Name {
		case understand.CmdWrote:
			t.toolSaid("took", "")
			return true
		case understand.CmdWrite, understand.CmdGoOn, understand.CmdRelease:
			askWritten(t)
			return true
		case understand.CmdKeep:
			if last := lastChange(t.s); last != nil && t.s.adoptable(last) {
				t.adopt()
				return true
			}
		}
	}
	return false
}

var wroteWords = regexp.MustCompile(`(?i)\b(wrote|put|entered|typed|set|programmed|coded|write|written)\b`)
var readWords = regexp.MustCompile(`(?i)\b(reads?|shows?|back|says|now|display)\b`)

// typedAfterWrite takes a value typed in place of the tool's word: the
// read-back, or the value that was written where that is another one.
func (t *turn) typedAfterWrite(in *input, m *Module, v Value, took bool) {
	w := t.s.Writing
	wrote := wroteWords.MatchString(in.Text) && !readWords.MatchString(in.Text)
	switch {
	case wrote && t.sameValue(m, v, w.To):
		t.toolSaid("took", "")
	case wrote:
		t.toolSaid("took", "")
		t.readBack(v)
	default:
		if last := t.s.lastTry(w); last != nil && w.Word == "begun" && !took && t.s.strayed(last) {
			t.retyped(*last, v)
			return
		}
		if w.Word != "took" {
			t.toolSaid("took", "")
		}
		t.readBack(v)
	}
}

// toolSaid records the tool's word and what follows from it.
func (t *turn) toolSaid(word, why string) {
	w := *t.s.Writing
	broken := w.Word == "broke_off" || w.Word == "no_answer"
	w.Again = broken && (word == "broke_off" || word == "no_answer")
	w.Word, w.Why = word, why
	if word != "took" {
		w.Try++
	}
	t.record(&w)
	t.record(&AnswerFact{Question: QWritten, About: strconv.Itoa(w.Change), Value: word})
	switch word {
	case "broke_off", "no_answer":
		t.cautionApart("broken")
		args := t.writeArgs()
		args["Again"] = w.Again
		t.call("broke_off", args)
	}
}

func takeRefused(t *turn, in *input) bool {
	why := in.Choice
	if why == "value_refused" {
		why = "value"
	}
	if why == "" {
		if w, ask := understand.ToolSays("refused: " + in.Text); ask == nil {
			why = w.Value.Reason
		}
	}
	switch why {
	case understand.Access, understand.Conditions, understand.ValueRefused, understand.NotSupported:
		w := *t.s.Writing
		w.Why = why
		t.record(&w, Item{ItemOther, in.Text})
		in.Text = ""
		return true
	}
	if w, ask := understand.ToolSays(in.Text); ask == nil {
		t.toolSaid(w.Value.Word, w.Value.Reason)
		in.Text = ""
		return true
	}
	return false
}

func takeSupply(t *turn, in *input) bool {
	if t.wrongSupply(in.Text) {
		return true
	}
	v, ok, ask := understand.Voltage(in.Text)
	switch {
	case ok && !voltsFine(v.Value, in.Text):
		t.hint("before.volts.low", lowArgs(v.Value))
		return true
	case ok:
		t.record(&AnswerFact{Question: QVolts, Number: v.Value, Unit: "V", Value: "on"})
		t.record(&AnswerFact{Question: QSupply, Value: "on"})
		in.Text = ""
		return true
	case ask != nil:
		t.askBack(ask)
		return true
	}
	a, ok := understand.YesNo(in.Text)
	if in.Choice == "supply_on" || ok && a.Value == understand.Yes {
		t.ask(QSupply, "volts", "before.volts", nil) // a supply is not on before somebody has read it off
		return true
	}
	if ok {
		t.hint("change.supply.waits", nil)
		return true
	}
	return false
}

// newLimits takes the limit or step that the tool named with its refusal, and
// works the value out again.
func (t *turn) newLimits(in *input) bool {
	old, n := t.toWrite(), len(t.entries)
	alsoSteps(t, in)
	if len(t.entries) == n || t.s.Phase != PhaseChange {
		return len(t.entries) > n
	}
	t.record(&ChangeFact{Number: t.s.Writing.Change, Setting: t.settingOf(t.s.Writing), Before: t.s.Writing.From, After: t.s.Writing.To,
		Module: t.s.Writing.Module, Why: "refused"})
	if t.move(EvRetarget) {
		t.retarget(old)
		t.answerFirst("write") // that was decided before the tool refused
	}
	return true
}
