package slack

import (
	"regexp"
	"strconv"
	"strings"

	api "github.com/slack-go/slack"

	"milepost/bot"
	"milepost/flow"
)

// message is what a post is made of: the text alone says everything, the blocks
// say the same for those who see them.
type message struct {
	text   string // escaped
	blocks []api.Block
}

// post is what is said, apart from how: kept while it may have to look
// different later.
type post struct {
	Kind    flow.ReplyKind
	Text    string
	Choices []flow.Choice `json:",omitempty"`
	Calls   []string      `json:",omitempty"` // user ids of those who must answer and were not here
	Name    string        `json:",omitempty"` // or their names, where they are on no Slack
	Form    string        `json:",omitempty"` // form that answers it, "" none
	Job     string        `json:",omitempty"` // whose question the form answers
	Speed   string        `json:",omitempty"` // unit of that job's dash, "" not known

	Ask    int       `json:",omitempty"` // number of the question, 0 if it is none
	To     flow.Role `json:",omitempty"` // whose turn it is
	Log    int64     `json:",omitempty"`
	Done   bool      `json:",omitempty"` // the choices have given way
	Over   bool      `json:",omitempty"` // another question is open: the form has as well
	Picked string    `json:",omitempty"` // what was chosen
	By     string    `json:",omitempty"` // by whom, a name
	Bare   bool      `json:",omitempty"` // a number typed is no choice's: a line of a checklist, say
	Picks  []pick    `json:",omitempty"` // chosen, but not yet known to be taken; the latest last
}

// pick is a choice that somebody made, by which message.
type pick struct {
	User, Name, Label, Send, Delivery string
}

// maxPicks bounds what is remembered while it waits for its answer.
const maxPicks = 8

// pick notes a choice until it is known whether it was taken.
func (p *post) pick(x pick) {
	p.Picks = append(p.Picks, x)
	p.Picks = p.Picks[max(0, len(p.Picks)-maxPicks):]
}

// At most so many buttons, the form's among them.
const maxButtons = 5

// ids of what can be pressed. The block says what it is, its number the rest.
const (
	blockText    = "text"
	blockChoices = "choices"
	blockPicked  = "picked"
	blockMore    = "more"
	actionChoose = "choose" // choose:1 …
	actionForm   = "form"
)

// maxPiece is the room for a message's own words; mentions, choices
// and marks have theirs beside it, and all together stay below maxText.
const maxPiece = 3000

// maxLine is the room for a name, or a choice spelt out.
const maxLine = 120

// room is what of maxPiece the choices leave.
func (p *post) room() int {
	n := 0
	for _, line := range p.spelt() {
		n += length(line) + 1
	}
	return max(maxPiece-max(0, n-500), 500)
}

// render gives a post as Slack takes it.
func render(p *post) message {
	if p.Kind == flow.Card {
		return renderCard(p)
	}
	var m message
	text := tidy(p.Text)
	said := []string{calls(p) + mark(p.Kind) + escape(orDash(text))}
	m.blocks = append(m.blocks, richText(blockText, lead(p), text))
	switch {
	case p.Done:
		if p.Picked != "" {
			line := picked(p)
			said = append(said, escape(line))
			m.blocks = append(m.blocks, richText(blockPicked, nil, line))
		}
	default:
		said = append(said, p.spelt()...)
		if rest := inWords(p); len(rest) > 0 {
			m.blocks = append(m.blocks, richText(blockMore, nil, strings.Join(rest, "\n")))
		}
	}
	if b := buttons(p); len(b) > 0 {
		m.blocks = append(m.blocks, api.NewActionBlock(blockChoices, b...))
	}
	m.text = whole(said)
	return m
}

// whole joins lines as long as there is room for them.
func whole(lines []string) string {
	text := lines[0]
	for _, l := range lines[1:] {
		if length(text)+1+length(l) > maxText {
			break // dozens of choices: their numbers still count, and the blocks show them
		}
		text += "\n" + l
	}
	return text
}

// renderCard shows a job: its first line large, the rest below.
func renderCard(p *post) message {
	text := tidy(p.Text)
	first, rest, _ := strings.Cut(text, "\n")
	m := message{text: escape(short(orDash(text), maxPiece))}
	m.blocks = append(m.blocks, api.NewHeaderBlock(plain(first, maxHeader), api.HeaderBlockOptionBlockID("job")))
	if length(first) > maxHeader {
		rest = first + "\n" + rest
	}
	if strings.TrimSpace(rest) != "" {
		m.blocks = append(m.blocks, richText(blockText, nil, short(rest, maxPiece)))
	}
	return m
}

// richText is a block in which words are words, whatever signs they hold.
func richText(id string, lead []api.RichTextSectionElement, text string) api.Block {
	return api.NewRichTextBlock(id, api.NewRichTextSection(append(lead, asIs(orDash(text), nil))...))
}

// mark stands before what must not be overlooked.
func mark(k flow.ReplyKind) string {
	switch k {
	case flow.Caution:
		return "⚠ "
	case flow.Refusal:
		return "⛔ "
	}
	return ""
}

// lead is what stands before a message's words: who is called, and the mark.
func lead(p *post) []api.RichTextSectionElement {
	var list []api.RichTextSectionElement
	for _, u := range p.Calls {
		list = append(list, api.NewRichTextSectionUserElement(u, nil), asIs(" ", nil))
	}
	if s := mark(p.Kind); s != "" {
		list = append(list, asIs(s, nil))
	}
	if p.Name != "" {
		list = append(list, asIs(short(oneLine(p.Name), maxLine)+": ", nil))
	}
	return list
}

// calls is the same in text.
func calls(p *post) string {
	var b strings.Builder
	for _, u := range p.Calls {
		b.WriteString("<@" + u + "> ")
	}
	if p.Name != "" {
		b.WriteString(escape(short(oneLine(p.Name), maxLine)) + ": ")
	}
	return b.String()
}

// listed finds a text with numbered lines of its own.
var listed = regexp.MustCompile(`(?m)^ *1[.)]? +\S`)

// ownNumbers says whether a number typed to a question is an answer of its own,
// and no choice's.
func ownNumbers(p *post, out *bot.Outbound) bool {
	return listed.MatchString(p.Text) || p.Ask == out.Asked.Ask && out.Asked.Question != "" && !flow.NumberChooses(out.Asked.Question)
}

// spelt are the choices as lines, with the number that can be typed for each. A
// question to which a number is an answer of its own gives its choices none.
func (p *post) spelt() []string {
	list := make([]string, len(p.Choices))
	for i, c := range p.Choices {
		list[i] = p.number(i, " ", escape(short(oneLine(c.Label), maxLine)))
	}
	return list
}

func (p *post) number(i int, gap, label string) string {
	if p.Bare {
		return "[" + label + "]"
	}
	return strconv.Itoa(i+1) + gap + label
}

// inWords are the choices that no button shows in full, as lines for a block.
func inWords(p *post) []string {
	n := shownButtons(p)
	for _, c := range p.Choices[:n] {
		if length(c.Label) > seenLabel {
			n = 0 // one is cut off on a phone: all of them are spelt out
			break
		}
	}
	var list []string
	for i, c := range p.Choices {
		if i >= n {
			list = append(list, p.number(i, "  ", short(oneLine(c.Label), maxLine)))
		}
	}
	return list
}

func shownButtons(p *post) int {
	if p.Form != "" {
		return min(len(p.Choices), maxButtons-1)
	}
	return min(len(p.Choices), maxButtons)
}

// buttons are the first choices, the likeliest in colour, and the form's.
func buttons(p *post) []api.BlockElement {
	var list []api.BlockElement
	n := shownButtons(p)
	if p.Done {
		n = 0
	}
	for i, c := range p.Choices[:n] {
		b := api.NewButtonBlockElement(actionChoose+":"+strconv.Itoa(i+1), c.Send, plain(oneLine(c.Label), maxLabel))
		if i == 0 {
			b.Style = api.StylePrimary
		}
		list = append(list, b)
	}
	if p.Form != "" && !p.Over {
		list = append(list, api.NewButtonBlockElement(actionForm, p.formTap(), plain(sayForm, maxLabel)))
	}
	return list
}

// formTap is what the form's button sends: of the form of a choice that there
// never is, so that the core takes it as stale once the question is over.
func (p *post) formTap() string { return p.Job + "." + strconv.Itoa(p.Ask) + "." + actionForm }

// picked says what was chosen and by whom.
func picked(p *post) string {
	s := "✔ " + short(oneLine(p.Picked), maxLine)
	if p.By != "" {
		s += " · " + short(oneLine(p.By), maxLine)
	}
	return s
}

func oneLine(s string) string { return orDash(strings.Join(strings.Fields(tidy(s)), " ")) }
