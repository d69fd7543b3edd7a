package flow

import (
	"slices"
	"strconv"

	"milepost/flow/words"
)

// What it takes to put back every setting that the job has changed: the value
// of each module, the axle ratio, and what somebody changed beside them.

// otherName names a setting that somebody changed beside the value; otherModule
// stands for where it is, in the write that puts it back.
const (
	otherName   = "other"
	otherModule = "other_setting"
)

// OtherSetting is a setting changed in the same step as the value and kept as a
// change of its own.
type OtherSetting struct {
	Number int    // of its change
	Before Value  // zero: not told
	After  Value  // zero: not told
	Words  string // item: which setting, in the words of who changed it
	Back   bool   // put back and read back
}

// toRestore lists the writes that are still to be made until everything is as
// it was before the work, the newest change first.
func (s *State) toRestore() []WriteFact {
	type dated struct {
		WriteFact
		at int
	}
	var list []dated
	add := func(w WriteFact) {
		at := -1
		for i := range s.Changes {
			if c := &s.Changes[i]; sameSetting(c, &w) || w.Of > 0 && c.Number == w.Of {
				at = i
			}
		}
		if s.unsure(w.Module) {
			at = len(s.Changes) // left in the air: the latest of all
		}
		list = append(list, dated{w, at})
	}
	for i := range s.Modules {
		if m := &s.Modules[i]; !sameStored(m, m.Now, m.Restore()) || s.unsure(m.Name) {
			add(WriteFact{Module: m.Name, From: m.Now, To: m.Restore()})
		}
	}
	if was, now := s.axle(); !sameStored(nil, was, now) || s.unsure(axleSetting) {
		add(WriteFact{Module: axleSetting, Setting: axleSetting, From: now, To: was})
	}
	for _, o := range s.Others {
		if !o.Back {
			add(WriteFact{Module: otherModule, Setting: otherName, From: o.After, To: o.Before, Of: o.Number})
		}
	}
	slices.SortStableFunc(list, func(a, b dated) int { return b.at - a.at })
	out := make([]WriteFact, len(list))
	for i := range list {
		out[i] = list[i].WriteFact
	}
	return out
}

// axle is the axle ratio set in the module: before the work, and now as last
// read back.
func (s *State) axle() (was, now Value) {
	was = Number(s.ratio("factory"))
	for i := len(s.Changes) - 1; i >= 0; i-- {
		if c := &s.Changes[i]; c.Setting == axleSetting {
			was = c.Before // the first one's, in the end
			if now.Zero() {
				now = c.ReadBack
			}
		}
	}
	if now.Zero() {
		now = was
	}
	return was, now
}

// sameSetting says whether a change is of the setting that a write is of.
func sameSetting(c *ChangeFact, w *WriteFact) bool {
	if w.Setting != "" {
		return c.Setting == w.Setting && c.Of == w.Of && (w.Of > 0 || w.Setting != otherName)
	}
	return c.Module == w.Module && c.Setting != axleSetting && c.Setting != otherName && c.Setting != backupSetting
}

// other finds a setting that was changed beside the value by its change.
func (s *State) other(number int) OtherSetting {
	for _, o := range s.Others {
		if o.Number == number {
			return o
		}
	}
	return OtherSetting{Number: number}
}

// applyOther keeps what is known of a setting beside the value.
func (s *State) applyOther(e *Entry, f *ChangeFact) {
	switch {
	case f.Why == "own":
		unchanged := !f.Took && sameStored(nil, f.ReadBack, f.Before)
		s.Others = append(slices.Clone(s.Others), OtherSetting{Number: f.Number, Before: f.Before, After: f.After, Words: e.Item(ItemOther), Back: unchanged})
	case f.Took:
		s.Hold = nil // its release was for this write
		s.Others = slices.Clone(s.Others)
		for i := range s.Others {
			s.Others[i].Back = s.Others[i].Back || s.Others[i].Number == f.Of
		}
	}
}

// figures are what a write goes from and to as its tool shows them, "" where
// that is not known.
func (t *turn) figures(w *WriteFact) (from, to string) {
	print := func(v Value) string {
		switch {
		case w.Setting == otherName && v.Zero():
			return ""
		case w.Setting == axleSetting:
			return ratioFigure(v.Num)
		}
		return figureOf(t.s.Module(w.Module), v)
	}
	return print(w.From), print(w.To)
}

// writeWord says in a few words what a write writes.
func (t *turn) writeWord(w *WriteFact) string {
	_, to := t.figures(w)
	switch w.Setting {
	case otherName:
		return t.text(t.worker(), "word.other-setting", words.Args{"Words": short(t.s.other(w.Of).Words), "Change": strconv.Itoa(w.Of), "To": to})
	case axleSetting:
		return t.moduleWord(axleSetting) + " " + to
	}
	return withUnit(t.s.Module(w.Module), w.To)
}

// writeWords says in a few words what several writes write.
func (t *turn) writeWords(ws []WriteFact) string {
	var parts []string
	for i := range ws {
		word := t.writeWord(&ws[i])
		if w := &ws[i]; w.Setting == "" && len(t.s.Modules) > 1 {
			word = t.moduleWord(w.Module) + " " + word
		}
		parts = append(parts, word)
	}
	return joinAnd(parts)
}

// putBack lists the writes of this round of recovering that took.
func (s *State) putBack() (ws []WriteFact) {
	for i := min(s.RecoverFrom, len(s.Changes)); i < len(s.Changes); i++ {
		c := &s.Changes[i]
		if c.Why != "restore" || !c.Took || c.Setting == backupSetting {
			continue
		}
		w := WriteFact{Module: c.Module, From: c.Before, To: c.After, Of: c.Of}
		if c.Setting == axleSetting || c.Setting == otherName {
			w.Setting = c.Setting
		}
		ws = append(ws, w)
	}
	return ws
}

// otherArgs are what the read-back of a setting beside the value says.
func (t *turn) otherArgs() words.Args {
	_, to := t.figures(t.s.Writing)
	return words.Args{"To": to}
}

// readBackOther takes a yes or no on whether a setting beside the value reads as
// it did before it was changed: its figures need not be known.
func (t *turn) readBackOther(in *input) bool {
	w := *t.s.Writing
	if w.Setting != otherName {
		return false
	}
	answer := in.Choice
	if answer == "" && plainYesNo(in.Text) {
		answer = yesNo(in)
	}
	c := &ChangeFact{Number: w.Change, Setting: otherName, Before: w.From, After: w.To, Module: w.Module, Why: "restore", Of: w.Of}
	switch answer {
	case "yes":
		c.ReadBack, c.Took = w.To, true
		t.record(c)
		t.undone(w.Module)
		t.sayReadBack(&w, w.To)
	case "no":
		t.record(c)
		t.understood("echo.other-not-back", nil)
	default:
		return false
	}
	in.Text = ""
	return true
}
