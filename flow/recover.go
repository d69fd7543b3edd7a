package flow

import (
	"strconv"
	"strings"

	"milepost/flow/understand"
	"milepost/flow/words"
)

// recoverPhase goes back: the original value of each module, read back, codes
// compared, the odometer before and after; the whole backup only where the
// value alone does not cure it.
func recoverPhase() phaseOf {
	return phaseOf{Questions: []question{
		odometerQuestion("before_recover"),
		holdQuestion(), supplyQuestion(), otherSettingQuestion(), refusedQuestion(), writtenQuestion(), readBackQuestion(),
		codesQuestion((*State).restored),
		{ID: QCured, When: (*State).asksCured, Done: (*State).curedAnswered, Ask: askCured, Take: takeCured,
			Why: "why.cured", Hint: "hint.cured"},
		sameModuleQuestion(),
		odometerQuestion("after_recover"),
		putBackQuestion(), // put from every phase
	}, Enter: (*turn).enterRecover, Next: nextRecover}
}

// backupSetting names the restore of a whole backup.
const backupSetting = "backup"

// round of recovering: what belongs to an earlier one does not count.
func (s *State) recoverAbout(when string) string {
	return when + "." + strconv.Itoa(s.Recovers)
}

// restored says whether every setting is as it was before the work.
func (s *State) restored() bool {
	return s.Writing == nil && len(s.Modules) > 0 && len(s.toRestore()) == 0
}

// unsure says whether a write of a module was left in the air when recovering
// began: then it is written even where the old value was the last one known.
func (s *State) unsure(module string) bool { return s.Broken[module] }

// enterRecover says what goes back. A write that was under way is dropped; the
// module is then written whatever is thought to be in it.
func (t *turn) enterRecover() {
	list := t.s.toRestore()
	value := t.writeWords(list)
	if len(list) == 0 {
		value = withUnit(t.s.Main(), t.s.Main().Restore())
	}
	t.say(Result, "recover.begin", words.Args{"N": len(list), "Value": value, "Home": t.s.Home()})
}

// recover is the command: from every phase after the backup, and from closed.
func (t *turn) recover(command, *input) bool {
	switch {
	case t.s.Driving():
		t.answerTo(Notice, "recover.parked", nil)
	case t.s.Phase == PhaseRecover:
		t.again()
	case !can(t.s.Phase, EvRecover):
		t.answerTo(Notice, "recover.nothing", nil)
		t.again()
	default:
		t.goRecover()
		t.advance()
	}
	return true
}

// goRecover moves to recovering.
func (t *turn) goRecover() {
	if t.s.Phase == PhaseClosed {
		t.understood("recover.reopened", nil)
	}
	if t.move(EvRecover) {
		t.enterRecover()
	}
}

// nextRecover writes what is still to be restored, then closes as restored.
func nextRecover(t *turn) Event {
	s := t.s
	if !s.restored() {
		t.beginRestore()
		if q := t.due(phases()[PhaseRecover]); q != nil {
			q.Ask(t)
		}
		return ""
	}
	if s.wantsBackup() {
		t.openWrite(&WriteFact{Module: backupModule(s), Setting: backupSetting, From: s.Main().Now, To: s.Main().Restore()}, "restore")
		if q := t.due(phases()[PhaseRecover]); q != nil {
			q.Ask(t)
		}
		return ""
	}
	t.record(&StoppedFact{How: "restored"})
	value := t.writeWords(s.putBack())
	if value == "" {
		value = withUnit(s.Main(), s.Main().Now)
	}
	t.say(Result, "recover.done", words.Args{"Value": value, "Codes": s.LastCodes().upsets()})
	return EvRestored
}

// beginRestore opens the write of the next setting that goes back.
func (t *turn) beginRestore() {
	if list := t.s.toRestore(); t.s.Writing == nil && len(list) > 0 {
		t.openWrite(&list[0], "restore")
	}
}

// asksCured: something is still wrong though the value is back.
func (s *State) asksCured() bool {
	return s.restored() && s.codesRead() && s.newCodes() && !s.wholeDone()
}

func (s *State) curedAnswered() bool { return s.HasFor(QCured, s.recoverAbout("cured")) }

// wholeDone says whether the whole backup was put back in this round.
func (s *State) wholeDone() bool {
	for _, c := range s.Changes[min(s.RecoverFrom, len(s.Changes)):] {
		if c.Setting == backupSetting && c.Took {
			return true
		}
	}
	return false
}

func (s *State) wantsBackup() bool {
	return s.Answers[Key{QCured, s.recoverAbout("cured")}].Value == "whole_backup" && s.HasFor(QSameUnit, s.recoverAbout("same")) &&
		s.Answers[Key{QSameUnit, s.recoverAbout("same")}].Value == "yes" && !s.wholeDone()
}

// wholeBackup is a backup that holds the module's data, nil if only values are
// kept.
func (s *State) wholeBackup() *BackupFact {
	for i := len(s.Backups) - 1; i >= 0; i-- {
		if !s.Backups[i].ValuesOnly {
			return &s.Backups[i]
		}
	}
	return nil
}

func backupModule(s *State) string {
	if b := s.wholeBackup(); b != nil && b.Module != "" {
		return b.Module
	}
	return s.mainName()
}

func askCured(t *turn) {
	about := t.s.recoverAbout("cured")
	c := t.s.LastCodes()
	args := words.Args{"Codes": strings.Join(c.New, ", "), "Lamps": lampNames(c.Lamps), "Hash": t.backupHash()}
	if t.s.wholeBackup() == nil {
		t.ask(QCured, about, "recover.values-only", args, "leave_it", "read_again")
		return
	}
	if t.s.Home() {
		t.askRole(QCured, about, t.releaser(), "recover.not-cured", args, "whole_backup", "leave_it", "read_again")
		return
	}
	t.ask(QCured, about, "recover.not-cured", args, "whole_backup", "leave_it", "read_again")
}

// backupHash is the end of the hash of the file that would be put back.
func (t *turn) backupHash() string {
	return hashEnd(t.s.BackupHash)
}

func takeCured(t *turn, in *input) bool {
	choice := in.Choice
	if choice == "" {
		text := strings.ToLower(in.Text)
		switch {
		case hasWord(text, "whole", "backup", "file"):
			choice = "whole_backup"
		case hasWord(text, "leave", "no", "workshop", "cured"):
			choice = "leave_it"
		}
	}
	switch choice {
	case "whole_backup":
		if t.s.wholeBackup() == nil {
			return false
		}
		if t.s.Home() && !t.mayRelease() {
			return true
		}
	case "leave_it":
	case "read_again":
		t.ask(QCodesNow, t.s.codesAbout()+".again", "codes.again", nil, "none", "some")
		return true
	default:
		if c := readCodes(in); c.Any() {
			t.recordCodes(c)
			return true
		}
		return false
	}
	t.record(&AnswerFact{Question: QCured, About: t.s.recoverAbout("cured"), Value: choice})
	in.Text = ""
	return true
}

// sameModuleQuestion compares part and serial number before a whole backup
// goes back.
func sameModuleQuestion() question {
	return question{ID: QSameUnit,
		When: func(s *State) bool {
			return s.Answers[Key{QCured, s.recoverAbout("cured")}].Value == "whole_backup"
		},
		Done: func(s *State) bool { return s.HasFor(QSameUnit, s.recoverAbout("same")) },
		Ask: func(t *turn) {
			t.ask(QSameUnit, t.s.recoverAbout("same"), "recover.same-module", words.Args{"Hash": t.backupHash()}, "yes", "no")
		},
		Take: takeSameModule, Why: "why.same-module", Hint: "hint.yes-no"}
}

func takeSameModule(t *turn, in *input) bool {
	v := in.Choice
	if a, ok := understand.YesNo(in.Text); v == "" && ok {
		v = "no"
		if a.Value == understand.Yes {
			v = "yes"
		}
	}
	if v == "" {
		return false
	}
	t.record(&AnswerFact{Question: QSameUnit, About: t.s.recoverAbout("same"), Value: v})
	if v == "no" {
		t.understood("recover.other-module", nil)
	}
	in.Text = ""
	return true
}
