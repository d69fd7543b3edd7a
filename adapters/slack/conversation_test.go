package slack

import (
	"encoding/json"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"milepost/adapters/slack/workspace"
	"milepost/bot"
	"milepost/bot/bottest"
	"milepost/flow"
)

// The conversations of the terminal go the same through a workspace, over both
// transports: the same words, and the same entries but for identities and times.
func TestConversations(t *testing.T) {
	transports(t, func(t *testing.T, http bool) {
		for i, s := range bottest.ReadScripts(t, "../../testdata/conversations") {
			if !s.Has(bottest.WayBot) {
				continue
			}
			if testing.Short() && i%6 != 0 {
				continue
			}
			t.Run(s.Name, func(t *testing.T) {
				t.Parallel() // they wait most of the time
				s, garbled := readableOnly(s)
				want := s.Play(t, bottest.NewBotWay(t, s))
				p := newParty(t, s, http)
				p.garble = garbled
				got := s.Play(t, p.way)
				if p.kept() != garbled {
					t.Errorf("%d deliveries are kept aside, want %d", p.kept(), garbled)
				}
				got.Same(t, want)
				p.allSeen()
				p.gaveWay()
			})
		}
	})
}

// readableOnly is a script without what comes and can't be read. On Slack nothing of
// such a delivery tells whose it is, so there is nobody to be told: it is kept for
// the operator, and the conversation goes on as if it had not come.
func readableOnly(s *bottest.Script) (*bottest.Script, int) {
	only := *s
	only.Inputs = slices.DeleteFunc(slices.Clone(s.Inputs), func(in *bottest.ScriptInput) bool { return in.Unread })
	return &only, len(s.Inputs) - len(only.Inputs)
}

// party is the people of a script in one channel with the assistant.
type party struct {
	t    *testing.T
	w    *workspace.Workspace
	way  *bottest.NetWay
	seen map[string]bool // card of earlier jobs
	root string          // of the job last begun, "" before
	rig  *rig

	garble int // deliveries that can't be read, to be sent before what is said next

	taps  []bool            // of the script's taps in order: it is taken back later
	signs map[string]string // reaction by what it was put to
}

func newParty(t *testing.T, s *bottest.Script, http bool) *party {
	o := workspace.Options{NoRateLimit: true, NoPreviews: true}
	var names []string
	for _, sp := range s.People {
		o.People = append(o.People, workspace.Person{Name: sp.Name})
		names = append(names, sp.Name)
	}
	o.Channels = []workspace.Channel{{Name: "bay", Members: names, App: true}}
	p := &party{t: t, w: workspace.New(t, o), seen: map[string]bool{}, signs: map[string]string{}}
	for _, in := range s.Inputs {
		if in.Tap != "" {
			p.taps = append(p.taps, slices.ContainsFunc(s.Inputs, func(later *bottest.ScriptInput) bool { return later.Delete == in.N }))
		}
	}
	r := &rig{t: t, w: p.w, http: http, log: &logged{}, cfg: speakConfig(t, p.w)}
	r.cfg.SigningSecret, r.cfg.Every = p.w.SigningSecret(), -1
	if http {
		r.cfg.EventsAddr = "127.0.0.1:0"
	}
	net := &late{}
	p.way = bottest.NewNetWay(t, s, net, p)
	r.cfg.Blobs, r.hearer = p.way.Store(), p.way
	r.start()
	p.rig, net.Slack = r, r.Slack
	t.Cleanup(r.end)
	return p
}

// late is the network, which is made after the bot that it hands to.
type late struct{ *Slack }

func (late) Name() string { return NetworkName }

func (p *party) user(sp bottest.ScriptPerson) *workspace.User {
	return p.w.User(sp.Name)
}

func (p *party) Identity(sp bottest.ScriptPerson) bot.Identity {
	return Identity(p.w.Team(), p.user(sp).ID())
}

// Say writes in the job's thread; what begins a job, and what is written before
// there is one, in the channel.
func (p *party) Say(sp bottest.ScriptPerson, text string) string {
	for ; p.garble > 0 && p.hasRoot(); p.garble-- {
		p.w.Garble("bay")
	}
	if strings.HasPrefix(strings.ToLower(text), "new job") || !p.hasRoot() {
		if p.root != "" {
			p.seen[p.root], p.root = true, ""
		}
		return p.user(sp).Say("bay", "@milepost "+text)
	}
	return p.user(sp).SayInThread("bay", p.root, text)
}

// SayLate is of bottest.Late.
func (p *party) SayLate(sp bottest.ScriptPerson, text string, ago time.Duration) string {
	p.hasRoot()
	return p.user(sp).SayLate("bay", p.root, text, ago)
}

// kept is how many deliveries that can't be read are kept aside.
func (p *party) kept() (n int) {
	if err := p.rig.state.db.QueryRowContext(p.t.Context(), "SELECT count(*) FROM inbox WHERE state = ?", stateBad).Scan(&n); err != nil {
		p.t.Error(err)
	}
	return n
}

// hasRoot finds the card of the job last begun.
func (p *party) hasRoot() bool {
	for _, m := range p.w.Messages("bay", "") {
		if m.App && p.root == "" && !p.seen[m.TS] && strings.Contains(string(m.Metadata), `"thread"`) {
			p.root = m.TS
		}
	}
	return p.root != ""
}

func (p *party) File(sp bottest.ScriptPerson, name string, content []byte) string {
	p.hasRoot()
	ts, _ := p.user(sp).Upload("bay", p.root, "", workspace.Upload{Name: name, Content: content})
	return ts
}

func (p *party) Edit(sp bottest.ScriptPerson, handle, text string) string {
	p.user(sp).Edit("bay", handle, text)
	return handle
}

func (p *party) Delete(sp bottest.ScriptPerson, handle string) string {
	if sign := p.signs[handle]; sign != "" {
		p.user(sp).Unreact("bay", handle, sign)
		return handle
	}
	p.user(sp).Delete("bay", handle)
	return handle
}

// Tap presses the button of a choice, or puts a sign to the question where that is
// to be taken back: a press can't be.
func (p *party) Tap(sp bottest.ScriptPerson, choice flow.Choice) string {
	said := p.way.Said()
	back := p.taps[0]
	p.taps = p.taps[1:]
	p.hasRoot()
	for i := len(said) - 1; i >= 0; i-- {
		n := slices.IndexFunc(said[i].Reply.Choices, func(c flow.Choice) bool { return c.Send == choice.Send })
		if n < 0 {
			continue
		}
		label := said[i].Reply.Choices[n].Label
		for _, m := range p.w.Messages("bay", p.root) {
			if strings.Contains(string(m.Metadata), rowID(said[i].Key)) && back {
				p.signs[m.TS] = []string{"one", "two", "three", "four", "five"}[n]
				p.user(sp).React("bay", m.TS, p.signs[m.TS])
				return m.TS
			}
			if strings.Contains(string(m.Metadata), rowID(said[i].Key)) {
				press := workspace.Press{Channel: "bay", TS: m.TS, Choice: label, Stale: !slices.Contains(m.Buttons(), label)}
				p.user(sp).PressWith(press) // on an old screen, where the button has given way
				return m.TS
			}
		}
	}
	p.t.Fatalf("nothing offers %q", choice.Send)
	return ""
}

// allSeen checks that every message is shown once, in the order in which it was
// said.
func (p *party) allSeen() {
	p.t.Helper()
	rows := func() (got []string) {
		for _, root := range append([]string{""}, p.roots()...) {
			for _, m := range p.w.Messages("bay", root) {
				var meta struct {
					Payload map[string]string `json:"event_payload"`
				}
				if !m.App || m.Thread == "" && root != "" || json.Unmarshal(m.Metadata, &meta) != nil || meta.Payload["thread"] != "" {
					continue
				}
				got = append(got, m.TS+" "+meta.Payload["row"])
			}
		}
		slices.Sort(got)
		for i := range got {
			_, got[i], _ = strings.Cut(got[i], " ")
		}
		return got
	}
	var want []string
	for _, o := range p.way.Said() {
		want = append(want, rowID(o.Key))
	}
	p.w.Await(workspace.Patience, func() bool { return len(rows()) >= len(want) })
	if got := rows(); !slices.Equal(got, want) {
		p.t.Errorf("shown\n%s\nsaid\n%s", strings.Join(got, " "), strings.Join(want, " "))
	}
}

// gaveWay checks that the buttons of earlier questions are gone in time: also where
// no message follows in the thread, but the card.
func (p *party) gaveWay() {
	p.t.Helper()
	open := map[string]int{} // the question that each job has open
	for _, o := range p.way.Said() {
		if open[o.Job] = o.Asked.Ask; o.Asked.Ask == 0 {
			open[o.Job] = math.MaxInt
		}
	}
	left := func() (list []string) {
		for _, root := range append([]string{""}, p.roots()...) {
			for _, m := range p.w.Messages("bay", root) {
				for _, o := range p.way.Said() {
					if len(m.Buttons()) > 0 && strings.Contains(string(m.Metadata), rowID(o.Key)) && len(o.Reply.Choices) > 0 && tapAsk(o.Reply.Choices[0].Send) < open[o.Job] {
						list = append(list, m.Shown)
					}
				}
			}
		}
		return list
	}
	if !p.w.Await(workspace.Patience, func() bool { return len(left()) == 0 }) {
		p.t.Errorf("buttons stay: %q", left())
	}
}

// roots are the cards of all jobs, and what hangs on people's own messages.
func (p *party) roots() (ts []string) {
	for _, m := range p.w.Messages("bay", "") {
		ts = append(ts, m.TS)
	}
	return ts
}

// What stands under an answered question is what was taken: of a choice that was
// pressed or typed, and of no number that is a line of a checklist.
func TestTicks(t *testing.T) {
	s, err := bottest.ParseScript([]byte(`people: tech technician

> tech: new job unit 14
< unit 14, mph. In the bay or at home? [bay] [home]
> tech: (tap) bay
< Bay. Odometer reading, in mi? "not known" is an answer. [not known]
> tech: 84210 mi
< 84,210 mi. Does it work with a tachograph, a taximeter or a speed limiter the law asks for? [no] [yes]
> tech: 1
< Before anything, all of these. "all yes" with the voltage, or a line's number.
<  1 no brake, stability, steering or airbag lamp
<  2 trouble codes read: none (or type them)
<  3 stabilised supply on, no jump pack, no plain charger; volts?
<  4 each axle a pair, cold pressure set, nothing rubs, right fasteners [all yes]
> tech: 1
< 1: brake, stability, steering and airbag lamps all off with the engine running? If one is on, name it: then no road drive until someone qualified has looked. [yes] [no]
`))
	if err != nil {
		t.Fatal(err)
	}
	s.Name = "ticks"
	transports(t, func(t *testing.T, http bool) {
		p := newParty(t, s, http)
		s.Play(t, p.way)
		for words, tick := range map[string]string{"In the bay or at home?": "✔ bay · tech", "Odometer reading": "", "Does it work with": "✔ no · tech", "Before anything": ""} {
			var m workspace.Message
			if !p.w.Await(workspace.Patience, func() bool {
				m, _ = p.w.AwaitShown(time.Second, "bay", p.root, words)
				return len(m.Buttons()) == 0
			}) {
				t.Errorf("buttons of %q are still there", words)
			}
			_, got, _ := strings.Cut(m.Shown, "✔")
			if want := strings.TrimPrefix(tick, "✔"); got != want {
				t.Errorf("under %q stands %q, want %q", words, got, want)
			}
		}
	})
}
