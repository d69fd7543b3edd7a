package flow

import (
	"slices"
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

// newCodesQuestion stops the job where something new has come up.
func newCodesQuestion(due func(*State) bool) question {
	return question{ID: QNewCodes, When: func(s *State) bool { return due(s) && s.newCodes() },
		Done: (*State).codesSettled, Ask: askNewCodes, Take: takeNewCodes,
		Why: "why.new-codes", Hint: "hint.new-codes"}
}

// codesAbout names what codes are read after: change.3, drive.2, restore.5.
func (s *State) codesAbout() string {
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
	for _, c := range s.Codes {
		switch {
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
	if len(here) == 0 {
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

// newCodes says whether the last reading of this step shows something new, or
// a lamp with which nobody drives.
func (s *State) newCodes() bool {
	here := s.codesHere()
	if len(here) == 0 || !s.codesRead() {
		return false
	}
	c := here[len(here)-1]
	return len(c.New) > 0 || stops(c.Lamps) && !s.roadWaived()
}

func (s *State) roadWaived() bool { return s.Waivers[GateRoad].Reason }

func stops(lamps []string) bool {
	return slices.ContainsFunc(lamps, func(l string) bool { return slices.Contains(roadStops, l) })
}

// codesSettled says whether someone has decided to go on. A lamp that forbids
// the road can't be decided away: it goes out or the gate is waived.
func (s *State) codesSettled() bool {
	here := s.codesHere()
	if len(here) > 0 && stops(here[len(here)-1].Lamps) && !s.roadWaived() {
		return false
	}
	return s.Answers[Key{QNewCodes, s.codesAbout()}].Value == "go_on"
}

// knownCodes are those from before the work, and those someone went on with;
// after restoring only the former count.
func (s *State) knownCodes() (known []string) {
	for _, c := range s.Codes {
		about := "drive." + strconv.Itoa(c.Drive)
		if c.When == "after_write" {
			about = "change." + strconv.Itoa(c.Change)
		}
		if c.When == "before" || s.Phase != PhaseRecover && s.Answers[Key{QNewCodes, about}].Value == "go_on" {
			known = append(known, c.List...)
		}
	}
	return known
}

func askCodes(t *turn) {
	s := t.s
	here := s.codesHere()
	about := s.codesAbout() + "." + strconv.Itoa(len(here))
	switch {
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
	f := &CodesFact{When: "after_drive", List: list(c.Codes), New: []string{}, Lamps: list(c.Lamps), Drive: s.lastDrive()}
	switch s.Phase {
	case PhaseChange, PhaseRecover:
		f.When, f.Drive, f.Change = "after_write", 0, len(s.Changes)
	case PhaseTarget:
		f.When, f.Drive = "before", 0
	}
	if f.When != "before" {
		known := s.knownCodes()
		for _, code := range f.List {
			if !slices.Contains(known, code) {
				f.New = append(f.New, code)
			}
		}
	}
	var items []Item
	if len(c.Other) > 0 {
		items = append(items, Item{ItemOther, strings.Join(c.Other, ", ")})
	}
	t.record(f, items...)
	switch {
	case stops(f.Lamps):
		t.cautionApart("lamps")
	case len(f.New) == 0 && len(f.List) > 0:
		t.understood("echo.codes.known", words.Args{"Codes": strings.Join(f.List, ", ")})
	}
	if len(f.New) > 0 && s.codesRead() || stops(f.Lamps) {
		t.call("new_codes", words.Args{"Codes": strings.Join(f.New, ", "), "Lamps": strings.Join(f.Lamps, ", ")})
	}
}

// whileDriving is when codes and lamps were told of that came up on the road.
const whileDriving = "while_driving"

// seenDriving keeps what is told of codes and lamps on the road: nothing is
// asked there, and "parked, none" does not make it undone. It says whether the
// message told of any.
func (t *turn) seenDriving(in *input) bool {
	codes, _, _ := understand.Codes(in.Text)
	lamps, _, _ := understand.Lamps(in.Text)
	if len(codes.Value.List)+len(lamps.Value.List) == 0 {
		return false
	}
	c := readCodes(&input{Text: in.Text})
	f := &CodesFact{When: whileDriving, List: list(c.Codes), New: []string{}, Lamps: list(c.Lamps), Drive: t.s.lastDrive()}
	t.record(f, Item{ItemOther, strings.Join(c.Other, ", ")})
	if stops(f.Lamps) {
		t.understood("drive.lamp", words.Args{"Lamps": strings.Join(f.Lamps, ", ")})
	}
	return true
}

// addSeen adds to the first reading after a drive what was told of on the road.
func (t *turn) addSeen(c *codesSaid) {
	if len(t.s.codesHere()) > 0 {
		return // read again since
	}
	for _, f := range t.s.Codes {
		if f.When != whileDriving || f.Drive != t.s.lastDrive() {
			continue
		}
		c.Codes, c.Lamps, c.None = union(c.Codes, f.List), union(c.Lamps, f.Lamps), false
	}
}

// union is a list with what another has beside it.
func union(a, b []string) []string {
	u := slices.Clone(a)
	for _, x := range b {
		if !slices.Contains(u, x) {
			u = append(u, x)
		}
	}
	return u
}

func askNewCodes(t *turn) {
	here := t.s.codesHere()
	c := here[len(here)-1]
	args := words.Args{"Codes": strings.Join(c.New, ", "), "Lamps": strings.Join(c.Lamps, ", ")}
	about := t.s.codesAbout()
	switch {
	case stops(c.Lamps):
		t.ask(QNewCodes, about, "newcodes.lamp", args, "recover", "read_again")
	default:
		t.ask(QNewCodes, about, "newcodes.codes", args, "recover", "go_on", "read_again")
	}
}

func takeNewCodes(t *turn, in *input) bool {
	choice := in.Choice
	if choice == "" {
		switch text := strings.ToLower(in.Text); {
		case hasWord(text, "recover", "restore"):
			choice = "recover"
		case hasWord(text, "go on", "carry on", "continue", "proceed"):
			choice = "go_on"
		case hasWord(text, "read again", "again", "cleared"):
			choice = "read_again"
		}
	}
	switch choice {
	case "recover":
		t.goRecover()
		return true
	case "go_on":
		here := t.s.codesHere()
		if stops(here[len(here)-1].Lamps) && !t.s.roadWaived() {
			t.hint("newcodes.no-road", nil)
			return true
		}
		t.record(&AnswerFact{Question: QNewCodes, About: t.s.codesAbout(), Value: "go_on"})
		return true
	case "read_again":
		t.ask(QCodesNow, t.s.codesAbout()+"."+strconv.Itoa(len(t.s.codesHere())), "codes.again", nil, "none", "some")
		return true
	}
	if c := readCodes(in); c.Any() {
		t.recordCodes(c)
		return true
	}
	return false
}

// codesSaid is what a message says of codes and lamps.
type codesSaid struct {
	Codes     []string
	Lamps     []string
	Other     []string // lamps in words of no known kind
	None      bool     // nothing is there
	LampsOnly bool     // it says that no lamp is on, and nothing of codes
}

// Any says whether the message says anything of them.
func (c codesSaid) Any() bool {
	return c.None || len(c.Codes) > 0 || len(c.Lamps) > 0 || len(c.Other) > 0
}

// readCodes reads what a message says of trouble codes and lamps, and takes it
// out of the message.
func readCodes(in *input) (c codesSaid) {
	codes, saidCodes, _ := understand.Codes(in.Text)
	lamps, saidLamps, _ := understand.Lamps(in.Text)
	c.Codes = codes.Value.List
	for _, l := range lamps.Value.List {
		if l.Category == understand.LampOther {
			c.Other = append(c.Other, l.Words)
		}
		if !slices.Contains(c.Lamps, l.Category) {
			c.Lamps = append(c.Lamps, l.Category)
		}
	}
	if len(c.Codes) == 0 && len(c.Lamps) == 0 {
		c.None = saidCodes && codes.Value.None
		c.LampsOnly = saidLamps && lamps.Value.None && !c.None
	}
	if c.Any() {
		in.Text = ""
	}
	return c
}

// hasWord says whether a lower-case text holds one of the phrases as whole
// words.
func hasWord(text string, phrases ...string) bool {
	padded := " " + strings.Join(strings.FieldsFunc(text, func(r rune) bool {
		return !(r >= 'a' && r <= 'z' || r >= '0' && r <= '9' || r == '\'')
	}), " ") + " "
	for _, p := range phrases {
		if strings.Contains(padded, " "+p+" ") {
			return true
		}
	}
	return false
}
