package flow

import (
	"slices"
	"strconv"

	"milepost/flow/words"
)

// changePhase writes one setting at a time: hold, write, the tool's word,
// ignition off and on, read-back; then codes and lamps.
func changePhase() phaseOf {
	return phaseOf{Questions: []question{
		holdQuestion(), supplyQuestion(), otherSettingQuestion(), refusedQuestion(), writtenQuestion(), readBackQuestion(),
		codesQuestion((*State).writesDone), newCodesQuestion((*State).writesDone),
	}, Enter: func(t *turn) { t.beginWrite() }, Next: nextChange}
}

// nextChange goes on with the next module, or to the drive when all agree.
func nextChange(t *turn) Event {
	if t.beginWrite() {
		if q := t.due(phases()[PhaseChange]); q != nil {
			q.Ask(t)
		}
		return ""
	}
	return EvVerified
}

func writtenQuestion() question {
	return question{ID: QWritten, When: func(s *State) bool { return s.Writing != nil }, Done: (*State).toolSpoke,
		Ask: askWritten, Take: takeWritten, Why: "why.written", Help: "help.written", Hint: "hint.written"}
}

func refusedQuestion() question {
	return question{ID: QRefused, When: func(s *State) bool { return s.Writing != nil && s.Writing.Word == "refused" && s.Writing.Why == "" },
		Done: func(*State) bool { return false },
		Ask: func(t *turn) {
			t.ask(QRefused, t.s.writeAbout(), "change.refused", nil, "access", "conditions", "value_refused", "not_supported")
		},
		Take: takeRefused, Why: "why.refused", Hint: "hint.refused"}
}

// supplyQuestion lets no write begin without a supply: at home it waits.
func supplyQuestion() question {
	return question{ID: QSupply, When: func(s *State) bool { return s.Writing != nil && s.Writing.Word == "begun" && s.noSupply() },
		Done: func(*State) bool { return false },
		Ask:  func(t *turn) { t.ask(QSupply, "", "change.supply", nil, "supply_on") },
		Take: takeSupply, Bare: true, Why: "why.volts", Hint: "hint.volts"}
}

// toolSpoke says whether the tool's word leads on to the read-back.
func (s *State) toolSpoke() bool {
	return s.Writing.Word == "took" || s.Writing.Word == "not_sure"
}

// writesDone says whether nothing is left to be written in this phase.
func (s *State) writesDone() bool {
	if s.Phase == PhaseRecover {
		return s.restored()
	}
	return s.Writing == nil && s.allAgree() && s.pendingAxle() == nil && len(s.Changes) > 0
}

// noSupply says whether someone has said that no stabilised supply is there.
func (s *State) noSupply() bool { return s.Value(QVolts) == "none" || s.Value(QSupply) == "none" }

// writeAbout names the write and how often its word was asked for.
func (s *State) writeAbout() string {
	if s.Writing == nil {
		return ""
	}
	return strconv.Itoa(s.Writing.Change) + "." + strconv.Itoa(s.Writing.Try)
}

// axleSetting names the change that tells the module of other gears.
const axleSetting = "axle_ratio"

// pendingAxle is the change of the axle ratio where it is still to be made:
// it comes first, known exactly.
func (s *State) pendingAxle() *WriteFact {
	if s.Value(QAxleSet) != "yes" || s.Value(QGears) != "changed" {
		return nil
	}
	_, now := s.axle()
	if sameStored(nil, now, Number(s.ratio("now"))) {
		return nil
	}
	return &WriteFact{Module: axleSetting, Setting: axleSetting, From: now, To: Number(s.ratio("now"))}
}

// beginWrite opens the next write that is to be made and holds it where that
// is due. False: nothing is left to write.
func (t *turn) beginWrite() bool {
	s := t.s
	if s.Writing != nil {
		return true
	}
	w := s.pendingAxle()
	for i := range s.Modules {
		m := &s.Modules[i]
		if g := s.Target(m.Name); w == nil && g != nil && g.Value != m.Now {
			w = &WriteFact{Module: m.Name, From: m.Now, To: g.Value}
		}
	}
	if w == nil {
		return false
	}
	t.openWrite(w, "write")
	return true
}

// openWrite records the beginning of a write, and the hold before it.
func (t *turn) openWrite(w *WriteFact, what string) {
	s := t.s
	w.Change, w.Word = len(s.Changes)+1, "begun"
	if n := s.failures(w); n > 0 {
		w.Try = 1 + n
	}
	t.record(w)
	t.hold(what, w)
}

// tried says whether a change was a try of this very write that did not take.
func (s *State) tried(c *ChangeFact, w *WriteFact) bool {
	return !c.Took && c.Why != "refused" && sameSetting(c, w) && c.After == w.To && (c.Why == "restore") == (s.Phase == PhaseRecover)
}

// failures counts the tries in a row that did not take.
func (s *State) failures(w *WriteFact) (n int) {
	for i := len(s.Changes) - 1; i >= 0 && s.tried(&s.Changes[i], w); i-- {
		n++
	}
	return n
}

// lastTry is the try of this write just before, nil where there was none or
// nothing was read back.
func (s *State) lastTry(w *WriteFact) *ChangeFact {
	if c := lastChange(s); c != nil && s.tried(c, w) && !c.ReadBack.Zero() {
		return c
	}
	return nil
}

// writeArgs are what the sentences of a write say.
func (t *turn) writeArgs() words.Args {
	w := t.s.Writing
	m := t.s.Module(w.Module)
	from, to := t.figures(w)
	if w.Setting == otherName {
		to = t.writeWord(w)
	}
	return words.Args{"From": from, "To": to, "HalfDone": t.s.HalfDone() && !t.s.roadSafe(), "Unit": unitOf(m), "Module": t.moduleWord(w.Module),
		"Several": len(t.s.Modules) > 1, "Axle": w.Setting == axleSetting, "Change": w.Change,
		"Restore": t.s.Phase == PhaseRecover, "Backup": w.Setting == backupSetting, "Other": w.Setting == otherName, "Called": t.s.Told["broke_off"] != ""}
}

// words of the tool as choices.
var toolChoices = []string{"took", "refused", "broke_off", "no_answer", "not_sure"}

func askWritten(t *turn) {
	w := t.s.Writing
	args := t.writeArgs()
	last := t.s.lastTry(w)
	key, choices := "change.write", toolChoices
	switch {
	case w.Word == "refused" && w.Why != "":
		key = "change.refused." + w.Why
	case w.Word == "broke_off" || w.Word == "no_answer":
		key = "change.broke"
		if w.Again {
			key, choices = "change.silent", []string{"took", "broke_off", "no_answer", "recover"}
		}
	case last != nil && t.s.strayed(last):
		args["Said"], _ = t.figures(&WriteFact{Module: w.Module, Setting: w.Setting, From: last.ReadBack})
		args["Keep"] = t.s.adoptable(last)
		key, choices = "change.other-value", []string{"took", "adopt", "refused", "broke_off"}
		if !t.s.adoptable(last) {
			choices = []string{"took", "refused", "broke_off"}
		}
	case last != nil && t.s.failures(w) > 1:
		key, choices = "change.twice", append(toolChoices[:4:4], "recover")
	case last != nil:
		key = "change.not-taken"
	}
	if t.s.Phase == PhaseRecover && key == "change.write" {
		key = "recover.write"
	}
	if t.s.Phase == PhaseRecover {
		choices = without(choices, "recover")
	}
	t.cautionApart("supply")
	t.ask(QWritten, t.s.writeAbout(), key, args, choices...)
}

func without(list []string, what ...string) (out []string) {
	for _, s := range list {
		if !slices.Contains(what, s) {
			out = append(out, s)
		}
	}
	return out
}

func lastChange(s *State) *ChangeFact {
	if len(s.Changes) == 0 {
		return nil
	}
	return &s.Changes[len(s.Changes)-1]
}

// adoptable says whether a value written in place of the one meant may be kept:
// a stored value that goes on to a drive, not a ratio known exactly, and nothing
// while the old one goes back.
func (s *State) adoptable(c *ChangeFact) bool {
	return s.Phase == PhaseChange && s.strayed(c) && s.Target(c.Module) != nil && c.Setting != axleSetting && c.Setting != otherName
}

// strayed says whether a change reads back neither what was there nor what was
// meant.
func (s *State) strayed(c *ChangeFact) bool {
	m := s.Module(c.Module)
	if c.Setting == axleSetting || c.Setting == otherName {
		m = nil
	}
	return !c.ReadBack.Zero() && !sameStored(m, c.ReadBack, c.Before) && !sameStored(m, c.ReadBack, c.After)
}
