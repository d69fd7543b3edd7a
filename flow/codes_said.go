package flow

import (
	"regexp"
	"slices"
	"strings"

	"milepost/flow/understand"
	"milepost/flow/words"
)

// codesSaid is what a message says of codes and lamps.
type codesSaid struct {
	Codes     []string
	Lamps     []string
	Other     []string // lamps in words of no known kind
	None      bool     // nothing is there
	LampsOnly bool     // it says that no lamp is on, and nothing of codes
	CodesToo  bool     // it says which codes are there, or that none is
	LampsOut  bool     // it says in so many words that no lamp is on
}

// Any says whether the message says anything of them.
func (c codesSaid) Any() bool {
	return c.None || len(c.Codes) > 0 || len(c.Lamps) > 0 || len(c.Other) > 0
}

var lampOut = regexp.MustCompile(`(?i)\b(lamp|light|warning)s?\b[^,.;]*\b(off|out|gone)\b`)

// readCodes reads what a message says of trouble codes and lamps, and takes it
// out of the message.
func readCodes(in *input) (c codesSaid) {
	codes, saidCodes, _ := understand.Codes(in.Text)
	lamps, saidLamps, _ := understand.Lamps(in.Text)
	c.Codes = codes.Value.List
	c.CodesToo = saidCodes && (len(c.Codes) > 0 || codes.Value.None)
	c.LampsOut = saidLamps && lamps.Value.None && lampWords.MatchString(in.Text) || len(lamps.Value.List) == 0 && lampOut.MatchString(in.Text)
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

// addUnread adds to a reading of codes the lamp that asked for it. Another lamp
// is no answer to that: only codes are, or that there are none.
func (t *turn) addUnread(c *codesSaid) {
	here := t.s.codesHere()
	if len(here) == 0 || !here[len(here)-1].Unread || c.LampsOut {
		return
	}
	c.Lamps = union(here[len(here)-1].Lamps, c.Lamps)
	c.CodesToo, c.None = c.CodesToo || c.None, false
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
