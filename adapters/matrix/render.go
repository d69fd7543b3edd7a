package matrix

import (
	"regexp"
	"slices"
	"strconv"
	"strings"

	"maunium.net/go/mautrix/event"
	"maunium.net/go/mautrix/id"

	"milepost/bot"
	"milepost/flow"
)

// rendered is a message as it is written: body is complete in itself, html says
// the same, "" where it would add nothing.
type rendered struct {
	kind  event.MessageType
	body  string
	html  string
	calls []id.UserID // who is told of it on their devices; nobody else is
}

func (r *rendered) content(kind event.MessageType) *event.MessageEventContent {
	c := &event.MessageEventContent{MsgType: kind, Body: r.body, Mentions: &event.Mentions{UserIDs: r.calls}}
	if r.html != "" {
		c.Format, c.FormattedBody = event.FormatHTML, r.html
	}
	return c
}

// size is what a message takes, roughly, before encryption.
func (r *rendered) size() int { return len(r.body) + len(r.html) }

// maxWords bounds body and HTML together: a server takes 64 KiB for all of an
// event, encryption and its letters take a third. (Limit: Client-Server API,
// size limits; from memory.)
const maxWords = 20_000

// maxPeople bounds how many are called by one message.
const maxPeople = 20

// render writes a message out. It adds no words but the names of those it calls
// and the numbers of the choices.
func render(out *bot.Outbound) *rendered {
	r := &out.Reply
	text := emptyStart.ReplaceAllString(bot.Printable(r.Text), "") // no line of its own for whom it calls
	called := callees(out)
	d := &rendered{kind: event.MsgText}
	if r.Kind == flow.Notice && len(called) == 0 {
		d.kind = event.MsgNotice
	}
	for _, c := range called {
		if c.user != "" {
			d.calls = append(d.calls, c.user)
		}
	}
	labels := labels(r)
	d.body = plainBody(called, text, labels, isList(r.Text))
	d.html = richBody(r.Kind, called, text, labels, isList(r.Text))
	return d
}

// emptyStart is the empty lines a text begins with.
var emptyStart = regexp.MustCompile(`^(?:[^\S\n]*\n)+`)

// callee is someone of whom an answer is due: user is "" on another network.
type callee struct {
	name string
	user id.UserID
}

// callees gives those who are called by a message: those to whom a question is
// put, and helpers and supervisors who are called to a job, which no question
// does. Nobody is called by what answers his own words.
func callees(out *bot.Outbound) []callee {
	r := &out.Reply
	switch {
	case r.Kind == flow.Prompt:
	case r.Kind == flow.Notice && (r.Role == flow.Helper || r.Role == flow.Supervisor) && !slices.Contains(r.To, out.By):
	default:
		return nil
	}
	var cs []callee
	for _, w := range r.To[:min(len(r.To), maxPeople)] {
		c := callee{name: cleanLine(out.Names[w])}
		if user, ok := strings.CutPrefix(string(out.Users[w]), NetworkName+":"); ok && isUser(user) {
			c.user = id.UserID(user)
			if c.name == "" {
				c.name = user
			}
		}
		if c.name != "" {
			cs = append(cs, c)
		}
	}
	return cs
}

// isUser says whether a name is one of Matrix; older servers let more signs in.
func isUser(user string) bool {
	name, server, ok := strings.Cut(user, ":")
	return ok && strings.HasPrefix(name, "@") && server != "" && len(user) <= 255 && bot.Printable(user) == user && !strings.ContainsAny(user, " \n\"<>")
}

// numbered finds a checklist: its own numbers are what is typed, so its choices
// get none.
var numbered = regexp.MustCompile(`(?m)^ *1[.)]? +\S`)

func isList(text string) bool { return numbered.MatchString(text) }

// labels gives what the choices are called.
func labels(r *flow.Reply) []string {
	ls := make([]string, len(r.Choices))
	for i, c := range r.Choices {
		ls[i] = cleanLine(c.Label)
	}
	return ls
}

func plainBody(called []callee, text string, labels []string, list bool) string {
	var b strings.Builder
	for i, c := range called {
		if i > 0 {
			b.WriteString(", ")
		}
		b.WriteString(c.name)
	}
	if len(called) > 0 {
		b.WriteString(": ")
		if blocks := blocksOf(text); len(blocks) > 0 && blocks[0].tag != "p" {
			b.WriteString("\n") // a list begins on a line of its own
		}
	}
	b.WriteString(text)
	for i, l := range labels {
		if list {
			b.WriteString("\n[" + l + "]")
		} else {
			b.WriteString("\n" + strconv.Itoa(i+1) + ". " + l)
		}
	}
	return b.String()
}

// maxName bounds a name or a label, in bytes.
const maxName = 200

// cleanLine is a text as it can be shown, on one line, not too long.
func cleanLine(s string) string { return shorten(oneLine(s), maxName) }

func oneLine(s string) string { return strings.Join(strings.Fields(bot.Printable(s)), " ") }
