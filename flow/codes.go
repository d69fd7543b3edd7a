package flow

import (
	"strconv"
	"strings"

	"milepost/flow/understand"
	"milepost/flow/words"
)

// Codes and lamps are read after each set of writes, after each drive and
// after restoring, and compared with those before the work.

// codesQuestion asks for them; what they belong to follows from the phase.
func codesQuestion(due func(*State) bool) question {
	return question{ID: QCodesNow, When: due, Done: func(s *State) bool { return s.codesRead() },
		Ask: askCodes, Take: takeCodes, Why: "why.codes", Hint: "hint.codes", Help: "help.codes"}
}

// codesAbout names what codes are read after: change.3, drive.2, restore.5.
func (s *State) codesAbout() string {
	if c := s.lateCodes(); c != nil {
		return codesStep(c)
	}
	switch s.Phase {
	case PhaseChange:
		return "change." + strconv.Itoa(len(s.Changes))
	case PhaseRecover:
		return "restore." + strconv.Itoa(len(s.Changes))
	case PhaseTarget:
		return "target." + strconv.Itoa(len(s.Targets))
	}
	return "drive." + strconv.Itoa(s.lastDrive())
}

// lastDrive is the number of the latest drive, 0 before the first.
func (s *State) lastDrive() int {
	if len(s.Drives) == 0 {
		return 0
	}
	return s.Drives[len(s.Drives)-1].Drive
}

// codesHere lists the readings of codes that belong to the present step.
func (s *State) codesHere() (here []CodesFact) {
	late := s.lateCodes()
	for _, c := range s.Codes {
		switch {
		case late != nil:
			if c.When == late.When && codesStep(&c) == codesStep(late) {
				here = append(here, c)
			}
		case s.Phase == PhaseDrive || s.Phase == PhaseReview || s.Phase == PhaseClose:
			if c.When == "after_drive" && c.Drive == s.lastDrive() {
				here = append(here, c)
			}
		case s.Phase == PhaseTarget:
			if c.When == "before" {
				here = append(here, c)
			}
		case c.When == "after_write" && c.Change == len(s.Changes):
			here = append(here, c)
		}
	}
	return here
}

// codesRead says whether they have been read, the second time too where a new
// communication code asks for it.
func (s *State) codesRead() bool {
	here := s.codesHere()
	if len(here) == 0 || here[len(here)-1].Unread {
		return s.Waivers[GateCodes].Reason && (s.Phase == PhaseDrive || s.Phase == PhaseReview)
	}
	return !(len(here) == 1 && onlyCommunication(here[0]) && s.Phase != PhaseDrive)
}

// onlyCommunication says whether all that is new are communication codes: they
// come of the write itself often enough, so they are cleared once.
func onlyCommunication(c CodesFact) bool {
	if len(c.New) == 0 || len(c.Lamps) > 0 {
		return false
	}
	for _, code := range c.New {
		if !strings.HasPrefix(code, "U") {
			return false
		}
	}
	return true
}

func askCodes(t *turn) {
	s := t.s
	here := s.codesHere()
	about := s.codesAbout() + "." + strconv.Itoa(len(here))
	switch {
	case len(here) > 0 && here[len(here)-1].Unread:
		t.ask(QCodesNow, about, "codes.after-lamp", words.Args{"Lamps": lampNames(here[len(here)-1].Lamps)}, "none", "some")
	case len(here) > 0 && onlyCommunication(here[len(here)-1]):
		t.ask(QCodesNow, about, "codes.clear", words.Args{"Codes": strings.Join(here[len(here)-1].New, ", ")}, "none", "some")
	case s.Phase == PhaseTarget:
		t.ask(QCodesNow, about, "codes.lamp", nil, "none", "some")
	case s.Phase == PhaseDrive || s.Phase == PhaseReview:
		t.ask(QCodesNow, about, "codes.drive", nil, "none", "some")
	default:
		t.ask(QCodesNow, about, "codes.now", nil, "none", "some")
	}
}

func takeCodes(t *turn, in *input) bool {
	if t.s.Phase == PhaseDrive || t.s.Phase == PhaseReview {
		if t.readingsToo(in) {
			in.Text = strings.TrimSpace(in.Text)
			if !readCodes(in).Any() {
				return true
			}
		}
	}
	switch in.Choice {
	case "none":
		t.recordCodes(codesSaid{None: true})
		return true
	case "some":
		t.hint("codes.which", nil)
		return true
	}
	if a, ok := understand.YesNo(in.Text); ok && a.Value == understand.No && strings.Trim(in.Text[a.End:], " .") == "" {
		in.Text = "none"
	}
	c := readCodes(in)
	switch {
	case c.LampsOnly:
		t.hint("codes.codes", nil)
		return true
	case !c.Any():
		return false
	}
	t.recordCodes(c)
	return true
}

// recordCodes records a reading of codes and lamps with what is new of it.
func (t *turn) recordCodes(c codesSaid) {
	s := t.s
	if s.Phase == PhaseDrive || s.Phase == PhaseReview {
		t.addSeen(&c)
	}
	t.addUnread(&c)
	f := &CodesFact{When: "after_drive", List: list(c.Codes), New: []string{}, Lamps: list(c.Lamps), Drive: s.lastDrive()}
	switch s.Phase {
	case PhaseChange, PhaseRecover:
		f.When, f.Drive, f.Change = "after_write", 0, len(s.Changes)
	case PhaseTarget:
		f.When, f.Drive = "before", 0
	}
	if late := s.lateCodes(); late != nil {
		f.When, f.Drive, f.Change = late.When, late.Drive, late.Change
	} else if f.When != "before" {
		f.Unread = len(f.Lamps) > 0 && !c.CodesToo && !stops(f.Lamps)
	}
	t.recordCodesAs(f, c)
	switch {
	case stops(f.Lamps):
		t.cautionApart("lamps")
	case len(f.New) == 0 && len(f.List) > 0:
		t.understood("echo.codes.known", words.Args{"Codes": strings.Join(f.List, ", ")})
	}
	if f.upsets() && s.codesRead() || stops(f.Lamps) {
		t.callForCodes(f)
	}
}

func (t *turn) callForCodes(f *CodesFact) {
	t.call("new_codes", words.Args{"Codes": strings.Join(f.New, ", "), "Lamps": lampNames(f.Lamps)})
}

// recordCodesAs records a reading of codes as that of a step, with what is new of
// it.
func (t *turn) recordCodesAs(f *CodesFact, c codesSaid) {
	s := t.s
	if f.When != "before" {
		known, lamps := s.knownCodes()
		f.New = without(f.List, known...)
		if f.New == nil {
			f.New = []string{}
		}
		f.NewLamps = without(f.Lamps, lamps...)
	}
	var items []Item
	if len(c.Other) > 0 {
		items = append(items, Item{ItemOther, strings.Join(c.Other, ", ")})
	}
	t.record(f, items...)
}
