package terminal

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"

	"milepost/bot"
	"milepost/flow"
)

// inLine is a line of input. Unknown keys are ignored.
type inLine struct {
	Text   *string `json:"text"`
	Tap    *string `json:"tap"`
	File   *string `json:"file"`
	Delete *string `json:"delete"`
	Edit   string  `json:"edit"`
	From   string  `json:"from"`
	Role   string  `json:"role"`
	Job    string  `json:"job"`
	ID     string  `json:"id"`
}

// parse reads a line of input. A line that is no JSON object is a text, as it
// is: "60" too. fault says in a sentence why a line can't be used.
func (t *Terminal) parse(line string) (in bot.Inbound, fault string) {
	in = t.speaker()
	trimmed := strings.TrimSpace(line)
	if !strings.HasPrefix(trimmed, "{") || !json.Valid([]byte(trimmed)) {
		in.Text = line
		return in, ""
	}
	var l inLine
	if err := json.Unmarshal([]byte(trimmed), &l); err != nil {
		var wrong *json.UnmarshalTypeError
		if errors.As(err, &wrong) && wrong.Field != "" {
			return in, fmt.Sprintf("%q wants a string, not a JSON %s. The line was left out.", wrong.Field, wrong.Value)
		}
		return in, "That line of JSON can't be read and was left out."
	}
	if l.From != "" {
		name := personName(l.From)
		if name == "" {
			return in, `"from" is no name. The line was left out.`
		}
		in.From, in.Name = Identity(name), name
	}
	if l.Role != "" {
		if in.Stated = flow.Role(l.Role); !isRole(in.Stated) {
			return in, fmt.Sprintf("%q is no role: want %s. The line was left out.", clip(l.Role, 40), roleNames)
		}
	}
	in.Job, in.Delivery = strings.TrimSpace(l.Job), l.ID
	return t.content(in, &l)
}

// content takes what the line does: exactly one thing.
func (t *Terminal) content(in bot.Inbound, l *inLine) (bot.Inbound, string) {
	n := 0
	for _, p := range []*string{l.Text, l.Tap, l.File, l.Delete} {
		if p != nil {
			n++
		}
	}
	switch {
	case n != 1:
		return in, `A line has one of "text", "tap", "file" and "delete". It was left out.`
	case l.Edit != "" && l.Text == nil:
		return in, `"edit" goes with the new "text". The line was left out.`
	case l.Text != nil:
		in.Text, in.Edit = *l.Text, l.Edit
	case l.Tap != nil:
		in.Tap = *l.Tap
	case l.Delete != nil:
		in.Delete = *l.Delete
	default:
		file, fault := openFile(*l.File, t.cfg.MaxFile)
		if fault != "" {
			return in, fault
		}
		in.File = file
	}
	return in, ""
}

// speaker is a message of whoever sits here.
func (t *Terminal) speaker() bot.Inbound {
	return bot.Inbound{Network: NetworkName, From: Identity(t.cfg.Name), Name: t.cfg.Name, Stated: t.cfg.Role}
}

var roles = []flow.Role{flow.Technician, flow.Customer, flow.Helper, flow.Supervisor, flow.Stranger}

const roleNames = "technician, customer, helper, supervisor or stranger"

func isRole(r flow.Role) bool { return slices.Contains(roles, r) }

// maxName bounds a name, in bytes, as the core does.
const maxName = 100

// personName is a name in one form: cleaned, one space between words, short.
func personName(s string) string {
	return clip(strings.Join(strings.Fields(bot.Printable(s)), " "), maxName)
}

// clip cuts a text to a number of bytes.
func clip(s string, max int) string {
	if len(s) > max {
		s = s[:max]
	}
	return strings.TrimSpace(strings.ToValidUTF8(s, ""))
}

// outLine is a message as the contract has it.
type outLine struct {
	ID      string         `json:"id"`
	Job     string         `json:"job"`
	Phase   flow.Phase     `json:"phase"`
	Kind    flow.ReplyKind `json:"kind"`
	To      []string       `json:"to"`
	Text    string         `json:"text"`
	Choices []flow.Choice  `json:"choices"`
	Facts   map[string]any `json:"facts"`
	Files   []outFile      `json:"files"`
	Log     int64          `json:"log"`
}

type outFile struct {
	flow.FileRef
	Path string `json:"path"`
}

type idleLine struct {
	Idle bool  `json:"idle"`
	Log  int64 `json:"log"`
}

func (t *Terminal) jsonMessage(out *bot.Outbound) []byte {
	r := &out.Reply
	l := outLine{ID: out.Key, Job: out.Job, Phase: r.Phase, Kind: r.Kind, To: addressees(out), Text: bot.Printable(r.Text),
		Choices: []flow.Choice{}, Facts: sorted(r.Facts), Files: []outFile{}, Log: out.Log}
	if l.Phase == "" { // in no job
		l.Phase = flow.PhaseOpen
	}
	for _, c := range r.Choices {
		l.Choices = append(l.Choices, flow.Choice{Label: bot.Printable(c.Label), Send: c.Send})
	}
	for _, f := range r.Files {
		o := outFile{FileRef: f}
		if t.cfg.Path != nil {
			o.Path = t.cfg.Path(f.SHA256)
		}
		l.Files = append(l.Files, o)
	}
	return jsonLine(l)
}

// sorted gives facts in the one order of keys that they have after a restart
// too, when they come from the store: the same message is the same line. Facts
// that can't be encoded are left out, not the message with them.
func sorted(facts map[string]any) map[string]any {
	out := map[string]any{}
	b, err := json.Marshal(facts)
	if err != nil || len(facts) == 0 {
		return out
	}
	dec := json.NewDecoder(bytes.NewReader(b))
	dec.UseNumber()
	_ = dec.Decode(&out) // encoded just now
	return out
}

// jsonLine is a value in one line.
func jsonLine(v any) []byte {
	var b bytes.Buffer
	enc := json.NewEncoder(&b)
	enc.SetEscapeHTML(false)
	_ = enc.Encode(v) // texts, numbers and sorted facts: can be encoded
	return b.Bytes()
}

// addressees are the names of those a message is for, in its order.
func addressees(out *bot.Outbound) []string {
	to := []string{}
	add := func(name string) {
		if name = personName(name); name != "" && !slices.Contains(to, name) {
			to = append(to, name)
		}
	}
	for _, w := range out.Reply.To {
		add(out.Names[w])
	}
	for _, w := range slices.Sorted(maps.Keys(out.Names)) {
		add(out.Names[w])
	}
	return to
}
