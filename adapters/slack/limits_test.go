package slack

import (
	"context"
	"encoding/json"
	"flag"
	"fmt"
	"io"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	api "github.com/slack-go/slack"

	"milepost/adapters/slack/workspace"
	"milepost/bot"
	"milepost/bot/bottest"
	"milepost/flow"
)

// measure holds what the adapter makes of messages against Slack's limits
// (docs.slack.dev, Block Kit reference and Methods; as the workspace checks them).
type measure struct {
	t *testing.T
	s *Slack

	posts, views            int
	text, blocks, bytes, cs int // the most that was seen: characters of text, blocks, their bytes, choices
}

// maxViewBytes is what a view may have (docs.slack.dev, views.publish,
// view_too_large: 250 kB; from memory).
const maxViewBytes = 250_000

func newMeasure(t *testing.T) *measure {
	s, err := New(Config{BotToken: "xoxb-1", AppToken: "xapp-1", Dir: t.TempDir()})
	if err != nil {
		t.Fatal(err)
	}
	s.me = self{Team: "T0SHOP", User: "U0APP", Bot: "B0APP"}
	return &measure{t: t, s: s}
}

// out is a message of the core.
func (m *measure) out(what string, out *bot.Outbound) {
	m.t.Helper()
	m.post(what, m.s.post(out))
}

// post is a message with all the looks it may come to: open, answered in words,
// answered by a choice, over.
func (m *measure) post(what string, p *post) {
	m.t.Helper()
	for _, one := range split(p) {
		looks := []post{*one}
		if one.Kind != flow.Card && (len(one.Choices) > 0 || one.Form != "") {
			done := *one
			done.Done = true
			looks = append(looks, done)
			if len(one.Choices) > 0 {
				done.Picked, done.By = one.Choices[len(one.Choices)-1].Label, strings.Repeat("𝒦<", 50)
				looks = append(looks, done)
			}
			done.Over = true
			looks = append(looks, done)
		}
		for i := range looks {
			m.message(what, render(&looks[i]))
			m.cs = max(m.cs, len(looks[i].Choices))
		}
	}
}

func (m *measure) message(what string, msg message) {
	m.t.Helper()
	m.posts++
	raw := asSent(m.t, msg)
	if faults := workspace.ValidateMessage(raw); len(faults) > 0 {
		m.t.Errorf("%s: %s\n%.2000s", what, strings.Join(faults, "\n"), raw)
	}
	blocks, err := json.Marshal(msg.blocks)
	if err != nil {
		m.t.Fatal(err)
	}
	m.text, m.blocks, m.bytes = max(m.text, length(msg.text)), max(m.blocks, len(msg.blocks)), max(m.bytes, len(blocks))
}

func (m *measure) view(what string, v any) {
	m.t.Helper()
	m.views++
	b, err := json.Marshal(v)
	if err != nil {
		m.t.Fatal(err)
	}
	if faults := workspace.ValidateView(b); len(faults) > 0 {
		m.t.Errorf("%s: %s\n%.2000s", what, strings.Join(faults, "\n"), b)
	}
	if len(b) > maxViewBytes {
		m.t.Errorf("%s: %d bytes", what, len(b))
	}
	m.bytes = max(m.bytes, len(b))
}

func (m *measure) String() string {
	return fmt.Sprintf("%d messages and %d views within the limits: at most %d characters of text, %d blocks, %d bytes of them, %d choices",
		m.posts, m.views, m.text, m.blocks, m.bytes, m.cs)
}

// Everything that is said in the conversations of the terminal.
func TestLimitsOfConversations(t *testing.T) {
	m := newMeasure(t)
	scripts := bottest.ReadScripts(t, "../../testdata/conversations")
	for _, s := range scripts {
		for _, out := range outbounds(t, s) {
			m.out(s.Name+" "+out.Key, &out)
		}
	}
	t.Logf("%d conversations: %v", len(scripts), m)
	if m.posts < 1000 {
		t.Error("that is not all of them")
	}
}

// outbounds is what the core gives a network in a conversation. Where it is of the
// flow alone, or of what comes late, it is only what is said.
func outbounds(t *testing.T, s *bottest.Script) []bot.Outbound {
	if !s.Has(bottest.WayBot) {
		n := &noting{ScriptWay: bottest.NewFlowWay(t, s)}
		s.Play(t, n)
		return n.said
	}
	if slices.ContainsFunc(s.Inputs, func(in *bottest.ScriptInput) bool { return in.Ago > 0 || in.Unread }) {
		n := &noting{ScriptWay: bottest.NewBotWay(t, s)}
		s.Play(t, n)
		return n.said
	}
	p := &paper{t: t}
	p.way = bottest.NewNetWay(t, s, p, p)
	s.Play(t, p.way)
	return p.written()
}

// noting is a way of which it is noted what is said.
type noting struct {
	bottest.ScriptWay
	said []bot.Outbound
}

func (n *noting) Give(m bottest.ScriptMessage) ([]bottest.ScriptSaid, map[string]int64, error) {
	said, after, err := n.ScriptWay.Give(m)
	for _, x := range said {
		n.said = append(n.said, bot.Outbound{Key: fmt.Sprintf("%s/%d", x.Job, x.Seq), Job: x.Job, Reply: flow.Reply{Kind: x.Kind, Text: x.Text, Choices: x.Choices}})
	}
	return said, after, err
}

// paper is a network on which everything is written down, and the people on it.
type paper struct {
	t   *testing.T
	way *bottest.NetWay
	n   int

	fake bottest.Fake
}

func (p *paper) Name() string { return NetworkName }

func (p *paper) Send(ctx context.Context, out bot.Outbound) error { return p.fake.Send(ctx, out) }

// EditCard keeps each state of a card.
func (p *paper) EditCard(ctx context.Context, out bot.Outbound) error {
	return p.fake.Send(ctx, out)
}

func (p *paper) written() []bot.Outbound { return p.fake.Sent() }

func (p *paper) Identity(sp bottest.ScriptPerson) bot.Identity {
	return Identity("T0SHOP", "U0"+strings.ToUpper(sp.Name))
}

func (p *paper) hand(sp bottest.ScriptPerson, in bot.Inbound) string {
	p.n++
	in.Network, in.Thread, in.From, in.Name = NetworkName, "T0SHOP/C0BAY/1764000000.000100", p.Identity(sp), sp.Name
	in.Delivery = fmt.Sprintf("T0SHOP/C0BAY/%d", p.n)
	if err := p.way.Handle(p.t.Context(), in); err != nil {
		p.t.Error(err)
	}
	return in.Delivery
}

func (p *paper) Say(sp bottest.ScriptPerson, text string) string {
	return p.hand(sp, bot.Inbound{Text: text})
}

func (p *paper) File(sp bottest.ScriptPerson, name string, content []byte) string {
	return p.hand(sp, bot.Inbound{File: &bot.Attachment{Name: name, Open: func() (io.ReadCloser, error) {
		return io.NopCloser(strings.NewReader(string(content))), nil
	}}})
}

func (p *paper) Edit(sp bottest.ScriptPerson, handle, text string) string {
	return p.hand(sp, bot.Inbound{Edit: handle, Text: text})
}

func (p *paper) Delete(sp bottest.ScriptPerson, handle string) string {
	return p.hand(sp, bot.Inbound{Delete: handle})
}

func (p *paper) Tap(sp bottest.ScriptPerson, choice flow.Choice) string {
	return p.hand(sp, bot.Inbound{Tap: choice.Send})
}

// fillings are what may stand in a sentence: what a person can enter at most, and
// far more than that of what takes the most room.
func fillings() map[string]string {
	var readings []string
	for i := range 40 {
		readings = append(readings, fmt.Sprintf("%d.%d/%d.%d", 161+i, i%10, 165+i, (i+5)%10))
	}
	f := map[string]string{
		"nothing": "", "a name of 100 bytes": strings.Repeat("Ünïcödé wörds ", 5), "40 readings": strings.Join(readings, ", "),
		"a note": strings.Repeat("the left rear tyre rubs at full lock. ", 120), "lines": strings.Repeat("line\n", 500), "no blanks": strings.Repeat("x", 9000),
		"pictures": strings.Repeat("🛞", 3000), "quotes": strings.Repeat(`"\`, 2500), "signs": strings.Repeat("<&>", 1500), "controls": strings.Repeat("\x00\x01\u2028\xff", 900),
	}
	for _, h := range hostile {
		if len(h) < 100 {
			f["markup"] += h + " "
		} else {
			f["long "+h[:1]] = h
		}
	}
	return f
}

// Every sentence of the catalogue in both registers, with each of the fillings in
// all its places, in every kind of message: with as many choices as may be, with a
// form, and with people called.
func TestLimitsOfCatalogue(t *testing.T) {
	t.Parallel()
	m := newMeasure(t)
	kinds := []flow.ReplyKind{flow.Notice, flow.Caution, flow.Result, flow.Refusal, flow.Card}
	questions := []flow.QuestionID{flow.QDrive, flow.QFitted, flow.QPlacard, flow.QStored, flow.QOnly}
	keys, n := 0, 0
	for name, filling := range fillings() {
		said := bottest.Sentences(t, "../../flow/words/en", func(string) string { return filling })
		keys = len(said)
		var labels []string
		for key, text := range said {
			if strings.HasPrefix(key, "choice.") {
				labels = append(labels, text)
			}
		}
		slices.Sort(labels)
		for _, key := range slices.Sorted(maps.Keys(said)) {
			text := said[key]
			if n++; testing.Short() && n%7 != 0 {
				continue
			}
			out := bot.Outbound{Key: "k7mw2pd/9", Job: "k7mw2pd", Thread: "T0SHOP/C0BAY/1764000000.000100", Log: 9, By: "x",
				Asked: bot.Asked{Ask: 999, Question: questions[n%len(questions)]},
				Reply: flow.Reply{Kind: flow.Prompt, Text: text, To: []flow.Who{"a", "b", "c"}},
				Names: map[flow.Who]string{"a": filling, "b": "Kim", "c": filling}, Users: map[flow.Who]bot.Identity{"b": Identity("T0SHOP", "U0KIM")}}
			if n%2 == 0 {
				out.Users = nil // on no Slack: called by name
			}
			for i := range n % 13 {
				out.Reply.Choices = append(out.Reply.Choices, flow.Choice{Label: labels[(n+i)%len(labels)], Send: fmt.Sprintf("k7mw2pd.999.c%d", i)})
			}
			m.out(key+" with "+name, &out)
			out.Reply.Kind, out.Reply.Choices = kinds[n%len(kinds)], nil
			m.out(key+" with "+name, &out)
		}
	}
	t.Logf("%d sentences with %d fillings: %v", keys, len(fillings()), m)
	if keys < 400 || !testing.Short() && m.posts < 50_000 {
		t.Error("that is not all of them")
	}
}

// Home views of a hundred jobs, and all forms, with the longest that can stand in
// them.
func TestLimitsOfViews(t *testing.T) {
	m := newMeasure(t)
	var flags []string
	for key := range bottest.Sentences(t, "../../flow/words/en", func(string) string { return "" }) {
		if f, ok := strings.CutPrefix(key, "flag."); ok && !strings.Contains(f, "~") {
			flags = append(flags, f)
		}
	}
	slices.Sort(flags)
	for name, filling := range fillings() {
		for _, whole := range []bool{true, false} {
			home, links := bot.Home{Whole: whole}, map[string]string{}
			for i := range 100 {
				job := fmt.Sprintf("job%04d", i)
				home.Rows = append(home.Rows, bot.Row{Job: job, Vehicle: filling, Phase: flow.PhaseDrive, Name: filling, Value: filling, Flags: flags,
					Since: time.Date(2026, 3, 2, 8, i%60, 0, 0, time.UTC)})
				links[job] = "https://shop.example/archives/C0123456789/p1764000000000100?thread_ts=1764000000.000100&cid=C0123456789"
			}
			m.view("home with "+name, homeView(home, links))
		}
	}
	m.view("home without jobs", homeView(bot.Home{}, nil))
	for name := range forms("km/h") {
		v, err := formView(formMeta{Form: name, Thread: "T0123456789/C0123456789/1764000000.000100", Job: "k7mw2pd", Ask: 99999, Channel: "C0123456789", Post: "1764000000.000100"})
		if err != nil {
			t.Fatal(err)
		}
		m.view("form "+name, v)
	}
	// What is said without the core: to groups of people, who are not served.
	m.message("group", message{text: escape(sayGroup), blocks: []api.Block{richText(blockText, nil, sayGroup)}})
	t.Logf("%d flags: %v", len(flags), m)
	if len(flags) < 5 {
		t.Error("the flags are missing")
	}
}

var update = flag.Bool("update", false, "rewrite the blocks of typical messages to what was made")

// The blocks of typical messages, word for word, from the conversation of the bay.
func TestTypicalBlocks(t *testing.T) {
	var all []bot.Outbound
	for _, s := range bottest.ReadScripts(t, "../../testdata/conversations") {
		if s.Name == "bay" {
			all = outbounds(t, s)
		}
	}
	m := newMeasure(t)
	pick := func(what string, is func(*flow.Reply) bool) *post {
		t.Helper()
		for i := range all {
			if is(&all[i].Reply) {
				return m.s.post(&all[i])
			}
		}
		t.Fatalf("the conversation has no %s", what)
		return nil
	}
	offers := func(n int) func(*flow.Reply) bool {
		return func(r *flow.Reply) bool { return r.Kind == flow.Prompt && len(r.Choices) == n }
	}
	answered := *pick("question of two", offers(2))
	answered.Done, answered.Over, answered.Picked, answered.By = true, true, answered.Choices[0].Label, "Kim <Harrow> & Co"
	called := *pick("question of two", offers(2))
	called.Calls = []string{"U0KIM"}
	typical := map[string]*post{
		"card":         pick("card", func(r *flow.Reply) bool { return r.Kind == flow.Card && r.Phase == flow.PhaseDrive }),
		"prompt_two":   pick("question of two", offers(2)),
		"prompt_five":  pick("question of five", offers(5)),
		"prompt_form":  pick("drive", func(r *flow.Reply) bool { return r.Kind == flow.Prompt && r.Phase == flow.PhaseDrive }),
		"checklist":    pick("checklist", func(r *flow.Reply) bool { return strings.Contains(r.Text, "\n4 ") }),
		"caution":      pick("caution", func(r *flow.Reply) bool { return r.Kind == flow.Caution }),
		"result":       pick("result", func(r *flow.Reply) bool { return r.Kind == flow.Result }),
		"answered":     &answered,
		"prompt_calls": &called,
	}
	for name, p := range typical {
		m.post(name, p)
		msg := render(p)
		golden(t, all[0].Job, name, map[string]any{"text": msg.text, "blocks": msg.blocks})
	}
	form, err := formView(formMeta{Form: formReadings, Thread: "T0SHOP/C0BAY/1764000000.000100", Job: "k7mw2pd", Ask: 9, Channel: "C0BAY", Post: "1764000000.000200"})
	if err != nil {
		t.Fatal(err)
	}
	golden(t, "", "form_readings", form)
	since := time.Date(2026, 3, 2, 8, 15, 0, 0, time.UTC)
	golden(t, "", "home", homeView(bot.Home{Whole: true, Rows: []bot.Row{
		{Job: "k7mw2pd", Vehicle: "unit 14", Phase: flow.PhaseDrive, WaitingOn: flow.Technician, Name: "Kim", Since: since, Value: "2438 mm", Flags: []string{"new_codes"}},
		{Job: "m3xq9rt", Vehicle: "<b>unit & 15", Phase: flow.PhaseFactory, Since: since},
	}}, map[string]string{"k7mw2pd": "https://shop.example/archives/C0BAY/p1764000000000100"}))
}

// golden holds what was made against the file of testdata. The job's number is
// drawn by chance.
func golden(t *testing.T, job, name string, made any) {
	t.Helper()
	b, err := json.MarshalIndent(made, "", "\t")
	if err != nil {
		t.Fatal(err)
	}
	got, file := string(b)+"\n", filepath.Join("testdata", name+".json")
	if job != "" {
		got = strings.ReplaceAll(got, job, "k7mw2pd")
	}
	if *update {
		if err := os.WriteFile(file, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	want, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	if got != string(want) {
		t.Errorf("%s: made\n%s\nwant\n%s", name, got, want)
	}
}
