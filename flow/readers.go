package flow

import (
	"math"
	"slices"
	"strings"
	"unicode"

	"milepost/calib/unit"
	"milepost/flow/understand"
)

// command is a digression as it was read.
type command = understand.Command

// readCommand reads a text that asks for something rather than answers.
func readCommand(text string) (command, bool) {
	m, ok := read(text)
	return m.Value, ok
}

func read(text string) (understand.Match[command], bool) {
	if ownGates.MatchString(text) { // these gates are ours alone, not words of the reader's
		return understand.Match[command]{Value: command{Name: understand.CmdWaive}}, true
	}
	return understand.ReadCommand(text)
}

// heard is the command in a message. Several ask it of the same text, so it is
// read once.
func (t *turn) heard(text string) (understand.Match[command], bool) {
	if t.asked == nil || t.asked.text != text {
		m, ok := read(text)
		t.asked = &askedFor{text, m, ok}
	}
	return t.asked.match, t.asked.ok
}

// command is heard without where it stands.
func (t *turn) command(text string) (command, bool) {
	m, ok := t.heard(text)
	return m.Value, ok
}

// askedFor is a text that was read for a command.
type askedFor struct {
	text  string
	match understand.Match[command]
	ok    bool
}

// choiceNumber reads the number of a choice, whatever the count of choices.
func choiceNumber(text string) (int, bool) {
	m, ok, _ := understand.Choice(text, 99)
	return m.Value, ok
}

// same compares two short texts as people would: letters and figures only.
func same(a, b string) bool {
	a, b = bare(a), bare(b)
	return a != "" && a == b
}

func bare(s string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsLetter(r) || unicode.IsDigit(r) {
			return unicode.ToLower(r)
		}
		return -1
	}, s)
}

// short is a text cut to what fits in a sentence.
func short(text string) string {
	text = strings.Join(strings.Fields(text), " ")
	if r := []rune(text); len(r) > 60 {
		return string(r[:60]) + "…"
	}
	return text
}

// yesNo is the answer to a yes-or-no question, "" if it is none: yes, no,
// none or not_sure.
func yesNo(in *input) string {
	if in.Choice != "" {
		return in.Choice
	}
	a, ok := understand.YesNo(in.Text)
	if !ok {
		return ""
	}
	in.take(a.Start, a.End)
	return string(a.Value)
}

// speedUnit is the dash's unit: as answered, else by policy.
func (t *turn) speedUnit() string {
	return SpeedUnit(t.s, t.env.Policy)
}

// distanceUnit is the odometer's unit.
func (t *turn) distanceUnit() string { return string(unit.Speed(t.speedUnit()).Distance()) }

// round rounds to a number of decimals.
func round(v float64, decimals int) float64 {
	p := math.Pow(10, float64(decimals))
	return math.Round(v*p) / p
}

// figures lists line numbers: "1, 2 and 4".
func figures(lines []int) string {
	lines = slices.Clone(lines)
	slices.Sort(lines)
	parts := make([]string, len(lines))
	for i, n := range lines {
		parts[i] = plainFigure(float64(n))
	}
	return strings.Join(parts, ", ")
}
