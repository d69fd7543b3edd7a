package terminal

import (
	"regexp"
	"strconv"
	"strings"

	"milepost/bot"
	"milepost/flow"
)

// promptMark stands where a line is typed.
const promptMark = "> "

// A message begins with a sign of what it is, so that nobody needs colours for
// it; what follows stands under its words.
var signs = map[flow.ReplyKind]struct{ first, next, colour string }{
	flow.Prompt:  {"? ", "  ", "\x1b[1m"},
	flow.Notice:  {"- ", "  ", ""},
	flow.Caution: {"! ", "! ", "\x1b[33m"},
	flow.Result:  {"= ", "  ", ""},
	flow.Card:    {"| ", "| ", "\x1b[2m"},
	flow.Refusal: {"x ", "  ", "\x1b[31m"},
}

const colourEnd = "\x1b[0m"

// numbered finds a checklist: its own numbers are what is typed, so its choices
// get none.
var numbered = regexp.MustCompile(`(?m)^ *1[.)]? +\S`)

// humanMessage gives a message as people read it. Called with mu held.
func (t *Terminal) humanMessage(out *bot.Outbound) []byte {
	r := &out.Reply
	sign, ok := signs[r.Kind]
	if !ok {
		sign = signs[flow.Notice]
	}
	width := t.width()
	text := bot.Printable(r.Text)
	if to := addressees(out); len(to) > 0 && len(r.To) > 0 && !(len(to) == 1 && to[0] == t.cfg.Name) {
		text = "(to " + strings.Join(to, ", ") + ") " + text
	}
	var b strings.Builder
	for i, line := range wrap(text, width-len(sign.first)) {
		mark := sign.next
		if i == 0 {
			mark = sign.first
		}
		b.WriteString(t.paint(strings.TrimRight(mark+line, " "), sign.colour))
		b.WriteByte('\n')
	}
	for _, line := range choiceLines(r, width) {
		b.WriteString(strings.TrimRight(line, " "))
		b.WriteByte('\n')
	}
	for _, f := range r.Files {
		line := "  file: " + bot.Printable(f.Name)
		if t.cfg.Path != nil {
			line += " in " + bot.Printable(t.cfg.Path(f.SHA256))
		}
		b.WriteString(line + "\n")
	}
	return endLine([]byte(b.String()))
}

// choiceLines lists the choices by their numbers.
func choiceLines(r *flow.Reply, width int) []string {
	list := numbered.MatchString(r.Text)
	var out []string
	for i, c := range r.Choices {
		label := strings.ReplaceAll(bot.Printable(c.Label), "\n", " ")
		line := strconv.Itoa(i+1) + "  " + label
		if list {
			line = "[" + label + "]"
		}
		for _, l := range wrap(line, width-4) {
			out = append(out, "    "+l)
		}
	}
	return out
}

func (t *Terminal) width() int {
	if t.cfg.Width == nil {
		return 0
	}
	return t.cfg.Width()
}

func (t *Terminal) paint(line, colour string) string {
	if !t.cfg.Colour || colour == "" {
		return line
	}
	return colour + line + colourEnd
}

// spoken is a line that a person typed: a file, or a text.
func (t *Terminal) spoken(line string) (in bot.Inbound, fault string) {
	in = t.speaker()
	if path, ok := filePath(line); ok {
		in.File, fault = openFile(path, t.cfg.MaxFile)
		return in, fault
	}
	in.Text = line
	return in, ""
}
