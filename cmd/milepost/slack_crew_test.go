package main

import (
	"database/sql"
	"encoding/json"
	"fmt"
	"net"
	"net/url"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"milepost/adapters/slack"
	"milepost/adapters/slack/workspace"
	"milepost/bot/bottest"
	"milepost/flow"
)

// slackCrew is people in a channel of a workspace with the program, which runs as
// a process of its own.
type slackCrew struct {
	*process
	w    *workspace.Workspace
	http string // address of the program's request URLs; "": Socket Mode
}

// bothTransports runs a test over each, side by side: they wait most of the time.
func bothTransports(t *testing.T, test func(t *testing.T, http bool)) {
	for name, http := range map[string]bool{"socket": false, "http": true} {
		t.Run(name, func(t *testing.T) { t.Parallel(); test(t, http) })
	}
}

// newSlackCrew opens a workspace with people in the given channels and writes the
// program's configuration. It is not started.
func newSlackCrew(t testing.TB, http bool, o workspace.Options, policy flow.Policy, people []bottest.ScriptPerson, channels ...string) *slackCrew {
	t.Helper()
	var names []string
	for _, p := range people {
		name := strings.ToLower(p.Name)
		o.People, names = append(o.People, workspace.Person{Name: name, Real: p.Name}), append(names, name)
	}
	for _, name := range channels {
		o.Channels = append(o.Channels, workspace.Channel{Name: name, Members: names, App: true})
	}
	c := &slackCrew{w: workspace.New(t, o)}
	c.process = newProcess(t, slack.NetworkName)
	how := "socket_mode = true\n"
	if http {
		c.http = freeAddress(t)
		how = fmt.Sprintf("events_addr = %q\n", c.http)
	}
	var roles strings.Builder
	for i, p := range people {
		fmt.Fprintf(&roles, "%q = %q\n", slack.Identity(c.w.Team(), c.w.User(names[i]).ID()), p.Role)
	}
	for name, token := range map[string]string{"app": c.w.AppToken(), "bot": c.w.BotToken(), "signing": c.w.SigningSecret()} {
		c.write(name, token+"\n")
	}
	c.write("serve.toml", fmt.Sprintf("[store]\nsqlite = %q\n[log]\nmetrics_addr = \"127.0.0.1:0\"\n[slack]\napp_token_file = \"app\"\nbot_token_file = \"bot\"\n"+
		"signing_secret_file = \"signing\"\napi_url = %q\nteam = %q\n%s[policy]\n%s[people]\n%s", c.data, c.w.APIURL(), c.w.Team(), how, policyTable(policy), roles.String()))
	return c
}

// connect waits until the program hears, after its first start.
func (c *slackCrew) connect() {
	c.t.Helper()
	c.ready()
	if c.http == "" {
		return
	}
	at := "http://" + c.http
	if err := c.w.UseHTTP(at+slack.PathEvents, at+slack.PathInteractions, at+slack.PathCommands); err != nil {
		c.t.Fatal(err)
	}
}

// freeAddress is an address that nobody listens at.
func freeAddress(t testing.TB) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	return l.Addr().String()
}

// waiting is how many deliveries the program has stored and not yet dealt with.
func (c *slackCrew) waiting() (n int) {
	c.t.Helper()
	path := filepath.Join(c.data, slack.NetworkName, "slack.db")
	db, err := sql.Open("sqlite", "file:"+(&url.URL{Path: path}).EscapedPath()+"?mode=ro&_pragma=busy_timeout(5000)")
	if err != nil {
		c.t.Fatal(err)
	}
	defer db.Close()
	if err := db.QueryRowContext(c.t.Context(), "SELECT count(*) FROM inbox WHERE state = 0").Scan(&n); err != nil {
		c.t.Fatal(err)
	}
	return n
}

// slackWay takes a script into the program over Slack: people press the button
// that says what the script has them say, and write where there is none.
type slackWay struct {
	*slackCrew
	s       *bottest.Script
	disturb func(n int, write func()) // lets input n be written, and whatever else happens then
	given   map[string]bool
	root    string // the job's card, "" before
	begun   string // message that began the job
	shown   int    // messages read so far
	after   map[string]int64

	typed, pressed, again int // again: pressed once more, after the client showed an error
}

// newSlackWay opens a workspace with the people of a script and starts the program.
func newSlackWay(t testing.TB, s *bottest.Script, http bool, o workspace.Options) *slackWay {
	t.Helper()
	w := &slackWay{slackCrew: newSlackCrew(t, http, o, s.Policy, s.People, "bay"), s: s, given: map[string]bool{},
		disturb: func(_ int, write func()) { write() }}
	w.start()
	w.connect()
	return w
}

// Give lets somebody write or press and waits for all that is to be answered. The
// same again is nothing: it is the network that delivers again, when it is killed.
func (w *slackWay) Give(m bottest.ScriptMessage) ([]bottest.ScriptSaid, map[string]int64, error) {
	if w.given[m.ID] {
		return nil, w.after, nil
	}
	w.given[m.ID] = true
	var n int
	if _, err := fmt.Sscanf(m.ID, "m%d", &n); err != nil {
		return nil, nil, err
	}
	var press func()
	refused := make(chan string, 1) // what the client showed, "" if all went well
	w.disturb(n, func() {
		if press = w.button(m, refused); press != nil {
			w.pressed++
			press()
			return
		}
		w.typed++
		w.says(m)
	})
	want := w.shown + len(w.s.Inputs[n-1].Said)
	var seen []workspace.Message
	for end, failed := time.Now().Add(workspace.Patience), false; ; time.Sleep(5 * time.Millisecond) {
		if seen = w.said(); len(seen) >= want {
			break
		}
		if time.Now().After(end) {
			return nil, nil, fmt.Errorf("%d answers, want %d", len(seen)-w.shown, want-w.shown)
		}
		select {
		case err := <-refused:
			failed = err != ""
		default:
		}
		// The client shows an error, though the press may have been taken in: who
		// sees that nothing came of it presses again.
		if failed && w.isReady() && w.waiting() == 0 && w.heard() < n {
			failed = false
			w.again++
			press()
		}
	}
	if press != nil && !w.w.Settle(workspace.Patience) { // the client has its answer, or is told that there is none
		return nil, nil, fmt.Errorf("a press has no end")
	}
	heard, ends, err := heardOnce(w.data)
	if w.after = ends; err != nil {
		return nil, nil, err
	}
	for id, k := range heard {
		if k != 1 || len(heard) != n {
			return nil, nil, fmt.Errorf("%d messages are in the store after %d; %s %d times", len(heard), n, id, k)
		}
	}
	var said []bottest.ScriptSaid
	for _, m := range seen[w.shown:] {
		text := m.Shown
		for job := range w.after {
			text = strings.ReplaceAll(text, job, "JOB")
		}
		said = append(said, bottest.ScriptSaid{Text: text})
	}
	w.shown = len(seen)
	return said, w.after, nil
}

// heard is how many messages are in the store.
func (w *slackWay) heard() int {
	heard, _, err := heardOnce(w.data)
	if err != nil {
		w.t.Fatal(err)
	}
	return len(heard)
}

// says lets somebody write: what begins a job in the channel, the rest in the
// job's thread.
func (w *slackWay) says(m bottest.ScriptMessage) {
	u := w.w.User(strings.ToLower(m.Who.Name))
	switch {
	case w.begun == "":
		w.begun = u.Say("bay", "@milepost "+m.Text)
	case m.File != "":
		u.Upload("bay", w.card(), "", workspace.Upload{Name: m.File, Content: m.Bytes})
	default:
		u.SayInThread("bay", w.card(), m.Text)
	}
}

// button gives how to press the button of the latest question that says what is to
// be said; nil if there is none. The press goes on beside what follows.
func (w *slackWay) button(m bottest.ScriptMessage, refused chan<- string) func() {
	said := w.said()
	for i := len(said) - 1; i >= 0; i-- {
		labels := said[i].Buttons()
		if len(labels) == 0 {
			continue
		}
		if m.File != "" || !slices.Contains(labels, m.Text) {
			return nil
		}
		u, press := w.w.User(strings.ToLower(m.Who.Name)), workspace.Press{Channel: "bay", TS: said[i].TS, Choice: m.Text}
		return func() { go func() { refused <- u.PressWith(press).Err }() }
	}
	return nil
}

// card waits for the card on which the thread hangs.
func (w *slackWay) card() string {
	w.t.Helper()
	if !w.w.Await(workspace.Patience, func() bool {
		for _, m := range w.w.Messages("bay", "") {
			if m.App && marksOf(m).Thread != "" {
				w.root = m.TS
			}
		}
		return w.root != ""
	}) {
		w.t.Fatal("there is no card")
	}
	return w.root
}

// all is what everybody reads: the channel and the threads in it, oldest first.
func (c *slackCrew) all(channel string) []workspace.Message {
	list := c.w.Messages(channel, "")
	for _, m := range slices.Clone(list) {
		list = append(list, slices.DeleteFunc(c.w.Messages(channel, m.TS), func(r workspace.Message) bool { return r.Thread == "" })...)
	}
	slices.SortFunc(list, func(a, b workspace.Message) int { return strings.Compare(a.TS, b.TS) })
	return list
}

// said picks what the assistant said, but for the card and for log heads, which
// come when they come.
func (w *slackWay) said() []workspace.Message {
	return slices.DeleteFunc(w.all("bay"), func(m workspace.Message) bool { return !m.App || marksOf(m).Thread != "" || isSlackHead(m) })
}

func isSlackHead(m workspace.Message) bool { return strings.HasPrefix(m.Shown, "Log head ") }

// slackMarks is what the assistant marks its posts with.
type slackMarks struct {
	Row    string // which message it is
	Thread string // card: the thread that hangs on it
}

func marksOf(m workspace.Message) slackMarks {
	var meta struct {
		Payload slackMarks `json:"event_payload"`
	}
	_ = json.Unmarshal(m.Metadata, &meta) // no marks: it is none of the assistant's
	return meta.Payload
}

// tally holds what is to be read in the channel against what the log of the one
// job there has as said. It waits until all is there.
func (w *slackWay) tally(logs map[string][]flow.Entry) tally {
	w.t.Helper()
	var want []string
	heads := 0
	for _, log := range logs {
		for i := range log {
			switch f := log[i].Fact.(type) {
			case *flow.SaidFact:
				want = append(want, words(log[i].Item(flow.ItemText)))
			case *flow.PhaseFact:
				if f.Phase == flow.PhaseClosed {
					heads++
				}
			}
		}
	}
	n := tally{people: len(w.s.People), messages: len(want) + len(logs) + heads}
	ours := func() []workspace.Message {
		return slices.DeleteFunc(w.all("bay"), func(m workspace.Message) bool { return !m.App })
	}
	w.w.Await(workspace.Patience, func() bool { return len(ours()) >= n.messages })
	time.Sleep(100 * time.Millisecond) // for what is too much
	var got []workspace.Message
	cards, closed, rows := 0, 0, map[string]bool{}
	for _, m := range ours() {
		marks := marksOf(m)
		switch {
		case marks.Row == "":
			w.t.Errorf("a message without a mark: %+v", m)
		case rows[marks.Row]:
			n.doubled++
		case marks.Thread != "":
			cards++
		case isSlackHead(m):
			closed++
		default:
			got = append(got, m)
		}
		rows[marks.Row] = true
	}
	n.differ(cards, len(logs))
	n.differ(closed, heads)
	n.differ(len(got), len(want))
	for i := range min(len(got), len(want)) {
		if !strings.Contains(words(got[i].Shown), want[i]) || got[i].Thread != w.root {
			n.misplaced++
		}
	}
	if n.doubled+n.lost+n.misplaced > 0 {
		for _, m := range w.all("bay") {
			w.t.Logf("%s %s %v %q %q", m.TS, m.Thread, m.App, m.Shown, m.Buttons())
		}
	}
	return n
}
