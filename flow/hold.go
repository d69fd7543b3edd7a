package flow

import (
	"strconv"
	"strings"

	"milepost/flow/understand"
	"milepost/flow/words"
)

// A hold point waits until somebody else releases the step. Role and hold are
// checked when the release arrives, not when it was asked for.

func holdQuestion() question {
	return question{ID: QHold, When: func(s *State) bool { return s.Hold != nil && s.Writing != nil }, Done: (*State).released,
		Ask: askHold, Take: takeHold, Why: "why.hold", Help: "help.hold", Hint: "hint.hold"}
}

func (s *State) released() bool { return s.Hold == nil || s.Hold.Now == "released" }

// hold puts a write under a hold where policy or home mode asks for one. The
// same write again needs no new release.
func (t *turn) hold(what string, w *WriteFact) {
	h := t.s.Hold
	if h != nil && h.Now == "released" && h.What == what && h.Value == w.To && h.Module == w.Module {
		return
	}
	if !t.env.Policy.holds(what, t.s.Home()) {
		return
	}
	t.record(&HoldFact{What: what, Value: w.To, Module: w.Module, Now: "asked"})
	t.tellWaiting(w)
}

// tellWaiting says to whoever does the work that somebody looks at it first.
func (t *turn) tellWaiting(w *WriteFact) {
	m := t.s.Module(w.Module)
	from, to := t.figures(w)
	if w.Setting == otherName {
		to = t.writeWord(w)
	}
	t.say(Notice, "hold.wait", words.Args{"Name": t.nameOfRole(t.releaser()), "From": from, "To": to, "Unit": unitOf(m),
		"Smaller": w.To.Label == "" && w.To.Num < w.From.Num, "Down": t.goesDown(), "Restore": t.s.Hold.What == "restore", "Module": t.oneOfSeveral(w.Module)})
}

// oneOfSeveral is a module's name where there is more than one, else "".
func (t *turn) oneOfSeveral(name string) string {
	if len(t.s.Modules) < 2 {
		return ""
	}
	return t.moduleWord(name)
}

// releaser is the role a hold is put to: the helper, or the supervisor where
// there is no helper.
func (t *turn) releaser() Role {
	if !t.reaches(Helper) && t.reaches(Supervisor) {
		return Supervisor
	}
	return Helper
}

func (s *State) holdAbout() string {
	return s.Hold.What + "." + s.writeAbout() + "." + strconv.Itoa(s.HoldCalls)
}

func askHold(t *turn) {
	h, w := t.s.Hold, t.s.Writing
	m := t.s.Module(w.Module)
	from, _ := t.figures(w)
	module := t.moduleWord(w.Module)
	if m == nil {
		module = "" // it is in the words of what is written
	}
	args := words.Args{"What": h.What, "From": from, "To": t.writeWord(w), "Module": module,
		"Backup": t.backupWord(w.Module), "Restore": h.What == "restore"}
	if g := t.s.Target(w.Module); g != nil && h.What == "write" && m != nil {
		args["Low"], args["High"], args["Limited"] = boundOf(m, g.Low), boundOf(m, g.High), g.Limited
	}
	choices := []string{"release", "not_yet"}
	if h.What == "write" && t.s.offersDrive() && len(t.s.Changes) == 0 && !t.s.inTheAir() {
		choices = append(choices, "drive_first")
	}
	key := "hold.ask"
	if h.Now == "refused" {
		key = "hold.again"
	}
	if t.earlyArgs(args) {
		key = "hold.ask.early"
	}
	to := t.releaser()
	if len(t.addressed(to)) == 0 {
		t.muster(to)
	}
	t.askRole(QHold, t.s.holdAbout(), to, key, args, choices...)
}

// backupWord says in a few words what a recover could rely on.
func (t *turn) backupWord(module string) string {
	for i := len(t.s.Backups) - 1; i >= 0; i-- {
		b := t.s.Backups[i]
		if b.Module != "" && b.Module != module {
			continue
		}
		switch {
		case b.ValuesOnly:
			return t.text(Helper, "backup.word.values", nil)
		case b.Attested:
			return t.text(Helper, "backup.word.attested", nil)
		}
		return t.text(Helper, "backup.word.file", words.Args{"Bytes": count(b.Bytes)})
	}
	return t.text(Helper, "backup.word.none", nil)
}

func takeHold(t *turn, in *input) bool {
	choice, reason := in.Choice, ""
	c, ok := t.heard(in.Text)
	if choice == "" && ok {
		switch c.Value.Name {
		case understand.CmdRelease, understand.CmdGoOn:
			choice = "release"
		case understand.CmdNotYet:
			choice, reason = "not_yet", c.Value.Reason
		case understand.CmdDriveFirst:
			choice = "drive_first"
		}
	}
	if choice == "" {
		switch a, ok := understand.YesNo(in.Text); {
		case ok && a.Value == understand.Yes && strings.Trim(in.Text[a.End:], " .!") == "":
			choice = "release"
		case ok && a.Value == understand.No:
			choice, reason = "not_yet", strings.Trim(in.Text[a.End:], " ,.")
		}
	}
	if choice != "" && !t.mayRelease() {
		return true
	}
	switch choice {
	case "release":
		t.release()
	case "not_yet":
		t.refuse(reason)
	case "drive_first":
		t.driveInstead()
	default:
		return false
	}
	in.Text = ""
	return true
}

// mayRelease checks role and own answer of whoever releases, now.
func (t *turn) mayRelease() bool {
	switch {
	case !May(t.m.Role, ActRelease):
		t.answerTo(Refusal, "refuse.release", words.Args{"Role": string(t.m.Role)})
	case t.own() && !t.env.Policy.Self:
		t.answerTo(Refusal, "refuse.own", nil)
	default:
		return true
	}
	return false
}

// own says whether the held step rests on an answer of the one who would
// release it.
func (t *turn) own() bool {
	if t.s.HoldFrom == t.m.Who {
		return true
	}
	return t.answered(func(q QuestionID) bool { return measured(q) || q == QFirst || q == QNext })
}

// measured says whether an answer is a figure of this vehicle that the value
// rests on. Units and rule are the shop's way of speaking, not figures.
func measured(q QuestionID) bool { return movesTarget[q] && q != QUnits && q != QRule }

// answered says whether this person gave an answer to any of some questions.
func (t *turn) answered(which func(QuestionID) bool) bool {
	for k, a := range t.s.Answers {
		if a.Who == t.m.Who && which(k.Question) {
			return true
		}
	}
	return false
}

func (t *turn) release() {
	h := *t.s.Hold
	h.Now, h.Self = "released", t.own()
	t.record(&h)
	t.ownEarlyWrite()
	t.understood("echo.released", words.Args{"Name": t.nameOf(t.m.Who), "Self": h.Self})
}

func (t *turn) refuse(reason string) {
	h := *t.s.Hold
	h.Now = "refused"
	t.record(&h, Item{ItemReason, reason})
	t.say(Notice, "hold.refused", words.Args{"Name": t.nameOf(t.m.Who), "Reason": reason})
}

// driveInstead takes the write back and drives at the present value first.
func (t *turn) driveInstead() {
	if !t.s.offersDrive() || t.s.Hold.What != "write" || t.s.inTheAir() {
		t.hint("hint.hold", words.Args{"Said": ""})
		return
	}
	h := *t.s.Hold
	h.Now = "refused"
	t.record(&h)
	t.answerFirst("drive_first")
	if t.move(EvRetarget) && t.s.roadOpen() {
		t.beginFirstDrive()
		if t.move(EvDriveFirst) {
			t.planDrive()
		}
	}
}

// cautionApart shows a safety caution without spending what was understood on
// it.
func (t *turn) cautionApart(key string) {
	echo := t.echo
	t.echo = nil
	t.caution(key, true)
	t.echo = echo
}
