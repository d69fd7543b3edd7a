package flow

import (
	"regexp"
	"strings"

	"milepost/flow/understand"
	"milepost/flow/words"
)

// A write that was not released and is in the module all the same: it is heard
// while the hold stands, kept as a deviation, and told to whoever releases.

// heldNouns are words of a tool, a module or a write.
const heldNouns = `tool|scanner|tester|module|cluster|ecu|computer|writ(?:e|ing|ten)`

var (
	// heldTool is what tells a tool or a module that does not answer from a person
	// who does not.
	heldTool = regexp.MustCompile(`(?i)\b(?:` + heldNouns + `)\b`)
	// heldWork is what tells a write that broke off from a call, a phone or a
	// person that did.
	heldWork = regexp.MustCompile(`(?i)\b(?:` + heldNouns + `|laptop|(?:re)?program(?:ming|med)?|(?:re)?flash(?:ing|ed)?|coding)\b`)
	// unwritten is a write that is only spoken of: "I have not written anything".
	unwritten = regexp.MustCompile(`(?i)(?:\b(?:no|not|never|nothing|without|before|will)\b|n['’]t\b)[^.,;!]{0,20}\bwrit(?:e|ing|ten)\b`)
	// plainBreak is a write that broke off in so many words.
	plainBreak = regexp.MustCompile(`(?i)(?:^|[.,;!]|\b(?:it|that|this|everything)(?:['’]s)?\b) *(?:(?:has|had|was|got|just|then|have|and|been) +)*` +
		`(?:broken? off|aborted|froze|frozen|crashed|cut out)\b` +
		`|\b(?:stopped|stuck|cut|quit|died|ended|hung|got) (?:halfway|half way|midway|part ?way|in the middle)(?: through(?: it)?)? *(?:[.,;!]|$)`)
)

// whileHeld hears of a held write that was made before its release. It says
// whether the message told of one.
func (t *turn) whileHeld(in *input) bool {
	s := t.s
	if s.Hold == nil || s.released() || s.Writing == nil || s.Asked == nil || s.Asked.Question != QHold {
		return false
	}
	word := t.heldWord(in)
	if word == "" || word == s.Writing.Word || word == "took" && s.inTheAir() {
		return false
	}
	w := *s.Writing
	d := &DeviationFact{What: "write_before_release", Module: w.Module}
	if v, ok := t.typedValue(in.Text, s.Module(w.Module)); ok && w.Setting == "" && plausible(&w, v) {
		d.Value = v
	}
	if s.earlyWrite() == nil {
		t.record(d)
	}
	w.Word = word
	t.record(&w)
	in.Text = ""
	args := t.writeArgs()
	args["Broken"], args["Said"] = word != "took", figureOf(s.Module(w.Module), d.Value)
	if d.Value.Zero() {
		args["Said"] = ""
	}
	t.call("early_write", args)
	args["Called"] = t.s.Told["early_write"] != ""
	t.say(Caution, "hold.early", args)
	t.again()
	return true
}

// heldWord is what a message says of the held write: took, broke_off, no_answer,
// or "" for nothing. An "ok" is an answer to nothing here.
func (t *turn) heldWord(in *input) string {
	c, ok := t.command(in.Text)
	switch {
	case strings.Contains(in.Text, "?"):
		return ""
	case ok && c.Name == understand.CmdWrote:
		return "took"
	case ok || May(t.m.Role, ActRelease):
		return ""
	}
	switch w, ask := understand.ToolSays(in.Text); {
	case ask != nil:
	case w.Value.Word == understand.BrokeOff && brokeWriting(in.Text), w.Value.Word == understand.NoAnswer && heldTool.MatchString(in.Text):
		return w.Value.Word
	}
	return ""
}

// brokeWriting says whether what broke off is the write: a message that speaks of
// it, or says so in plain words.
func brokeWriting(text string) bool {
	return plainBreak.MatchString(text) || heldWork.MatchString(unwritten.ReplaceAllString(text, ""))
}

// earlyWrite is the write made before its release that is under way, nil if none
// is.
func (s *State) earlyWrite() *DeviationFact {
	for _, d := range s.openDeviations() {
		if d.What == "write_before_release" && s.Writing != nil && d.Module == s.Writing.Module {
			return &d
		}
	}
	return nil
}

// ownEarlyWrite lets a write made before its release be the change it is, once it
// is released after all.
func (t *turn) ownEarlyWrite() {
	if d := t.s.earlyWrite(); d != nil {
		d.Own = t.s.Writing.Change
		t.record(d)
	}
}

// earlyArgs are what the question for the release says of such a write.
func (t *turn) earlyArgs(args words.Args) bool {
	d := t.s.earlyWrite()
	if d == nil || !t.s.inTheAir() {
		return false
	}
	w := t.s.Writing
	args["Said"], args["Broken"] = figureOf(t.s.Module(w.Module), d.Value), w.Word != "took"
	args["Other"] = !d.Value.Zero() && !t.sameValue(t.s.Module(w.Module), d.Value, w.To)
	return true
}
