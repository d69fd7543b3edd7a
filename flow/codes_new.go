package flow

import (
	"slices"
	"strconv"
	"strings"

	"milepost/flow/words"
)

// newCodesQuestion stops the job where something new has come up.
func newCodesQuestion(due func(*State) bool) question {
	return question{ID: QNewCodes, When: func(s *State) bool { return due(s) && s.newCodes() },
		Done: (*State).codesSettled, Ask: askNewCodes, Take: takeNewCodes,
		Why: "why.new-codes", Hint: "hint.new-codes"}
}

// newCodes says whether the last reading of this step shows something new, or
// a lamp with which nobody drives.
func (s *State) newCodes() bool {
	here := s.codesHere()
	if len(here) == 0 || !s.codesRead() {
		return false
	}
	c := here[len(here)-1]
	return c.upsets() || stops(c.Lamps) && !s.roadWaived()
}

// upsets says whether a reading shows a code or a lamp that was not there before
// the work. Those with which nobody drives are for the gate of the road.
func (f *CodesFact) upsets() bool { return len(f.New)+len(without(f.NewLamps, roadStops...)) > 0 }

// lampNames lists lamps in words.
func lampNames(lamps []string) string {
	return strings.ReplaceAll(strings.Join(lamps, ", "), "_", " ")
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

// knownCodes are the codes and lamps from before the work, and those someone went
// on with; after restoring only the former count.
func (s *State) knownCodes() (known, lamps []string) {
	for _, c := range s.Codes {
		about := "drive." + strconv.Itoa(c.Drive)
		if c.When == "after_write" {
			about = "change." + strconv.Itoa(c.Change)
		}
		if c.When == "before" || s.Phase != PhaseRecover && s.Answers[Key{QNewCodes, about}].Value == "go_on" {
			known, lamps = append(known, c.List...), append(lamps, c.Lamps...)
		}
	}
	return known, lamps
}

func askNewCodes(t *turn) {
	here := t.s.codesHere()
	c := here[len(here)-1]
	args := words.Args{"Codes": strings.Join(c.New, ", "), "Lamps": lampNames(c.NewLamps)}
	about := t.s.codesAbout()
	switch {
	case stops(c.Lamps):
		args["Lamps"] = lampNames(c.Lamps)
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
