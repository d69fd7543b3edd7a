package slack

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"strings"
	"sync"
	"testing"
	"time"

	"go.uber.org/goleak"

	"milepost/adapters/slack/workspace"
	"milepost/bot"
	"milepost/flow"
)

// TestMain lets more tests run at once than there are processors: they wait most
// of the time.
func TestMain(m *testing.M) {
	flag.Parse()
	if err := flag.Set("test.parallel", "8"); err != nil {
		panic(err)
	}
	goleak.VerifyTestMain(m, goleak.Cleanup(func(code int) {
		http.DefaultTransport.(*http.Transport).CloseIdleConnections()
	}))
}

// ear keeps what is handed over, once each by its delivery, as the core does.
type ear struct {
	mu     sync.Mutex
	list   []bot.Inbound
	known  map[string]bool
	repeat int
	err    func(in bot.Inbound) error // given back instead of hearing; nil: never
	files  bool                       // open what comes
	got    map[string]string          // what a file held, or the error, by delivery
}

func (e *ear) Handle(_ context.Context, in bot.Inbound) error {
	e.mu.Lock()
	fail := e.err
	e.mu.Unlock()
	if fail != nil {
		if err := fail(in); err != nil {
			return err
		}
	}
	var held string
	if in.File != nil && in.File.Open != nil && e.files {
		held = readAll(in.File)
	}
	e.mu.Lock()
	defer e.mu.Unlock()
	if e.known == nil {
		e.known, e.got = map[string]bool{}, map[string]string{}
	}
	if e.known[in.Delivery] {
		e.repeat++
		return nil
	}
	e.known[in.Delivery] = true
	e.got[in.Delivery] = held
	e.list = append(e.list, in)
	return nil
}

func (e *ear) failing(f func(bot.Inbound) error) {
	e.mu.Lock()
	defer e.mu.Unlock()
	e.err = f
}

func (e *ear) all() []bot.Inbound {
	e.mu.Lock()
	defer e.mu.Unlock()
	return append([]bot.Inbound(nil), e.list...)
}

func (e *ear) texts() string {
	var list []string
	for _, in := range e.all() {
		list = append(list, in.Text)
	}
	return strings.Join(list, "|")
}

// rig is a running adapter and the workspace it is in.
type rig struct {
	*Slack
	t    *testing.T
	w    *workspace.Workspace
	ear  *ear
	log  *logged
	cfg  Config
	http bool
	stop func() error

	hearer Hearer // who hears instead of ear; nil: ear
}

// transports runs a test over both.
func transports(t *testing.T, test func(t *testing.T, http bool)) {
	t.Run("socket", func(t *testing.T) { test(t, false) })
	t.Run("http", func(t *testing.T) { test(t, true) })
}

func listen(t *testing.T, http bool, o workspace.Options) *rig {
	t.Helper()
	r := newRig(t, http, o)
	r.begin()
	return r
}

// newRig is a workspace and an adapter that is not started yet.
func newRig(t *testing.T, http bool, o workspace.Options) *rig {
	t.Helper()
	o.NoRateLimit = true
	if o.AckTimeout == 0 {
		o.AckTimeout = 1500 * time.Millisecond
	}
	r := &rig{t: t, w: workspace.New(t, o), ear: &ear{}, log: &logged{}, http: http}
	r.cfg = Config{BotToken: r.w.BotToken(), AppToken: r.w.AppToken(), SigningSecret: r.w.SigningSecret(), APIURL: r.w.APIURL(), Dir: t.TempDir(),
		Every: -1, Log: slog.New(slog.NewTextHandler(r.log, &slog.HandlerOptions{Level: slog.LevelDebug}))}
	if http {
		r.cfg.EventsAddr = "127.0.0.1:0"
	}
	return r
}

// begin starts it, until the test ends.
func (r *rig) begin() {
	r.t.Helper()
	r.start()
	r.t.Cleanup(func() {
		if r.stop != nil {
			r.end()
		}
		r.discreet()
	})
}

// quick are pauses that suit the fake's.
func quick() times {
	q := usualTimes()
	q.gap, q.between, q.retry, q.most, q.alive, q.backoff = 200*time.Millisecond, 100*time.Millisecond, 20*time.Millisecond, 200*time.Millisecond, 50*time.Millisecond, 300*time.Millisecond
	q.overlap, q.grace, q.again, q.renewal, q.withheld = time.Minute, 0, 100*time.Millisecond, 10*time.Millisecond, 100*time.Millisecond
	return q
}

// start makes an adapter on the same state and runs it.
func (r *rig) start(with ...func(*Slack)) {
	r.t.Helper()
	s, err := New(r.cfg)
	if err != nil {
		r.t.Fatal(err)
	}
	s.times = quick()
	for _, f := range with {
		f(s)
	}
	r.Slack = s
	ctx, cancel := context.WithCancel(context.Background())
	over := make(chan error, 1)
	var hear Hearer = r.ear
	if r.hearer != nil {
		hear = r.hearer
	}
	go func() { over <- s.Run(ctx, hear) }()
	r.stop = func() error {
		cancel()
		select {
		case err := <-over:
			return err
		case <-time.After(10 * time.Second):
			return errors.New("Run does not end")
		}
	}
	if r.http {
		r.await("listening", func() bool { return r.addr() != "" })
		r.cfg.EventsAddr = r.addr() // the same after a restart
		r.await("challenge answered", func() bool {
			base := "http://" + r.addr()
			return r.w.UseHTTP(base+PathEvents, base+PathInteractions, base+PathCommands) == nil
		})
	}
	r.await("ready", func() bool { return s.Ready() == nil })
	if !r.http {
		r.await("socket", func() bool { return r.w.Sockets() > 0 })
	}
}

func (r *rig) addr() string {
	r.Slack.mu.Lock()
	defer r.Slack.mu.Unlock()
	return r.heardAt
}

// end stops the adapter.
func (r *rig) end() {
	r.t.Helper()
	if err := r.stop(); err != nil {
		r.t.Errorf("Run: %v", err)
	}
	r.stop = nil
}

// discreet checks what must not stand in the log.
func (r *rig) discreet() {
	for _, secret := range []string{r.w.BotToken(), r.w.AppToken(), r.w.SigningSecret(), "Harrow"} {
		if strings.Contains(r.log.String(), secret) {
			r.t.Errorf("the log holds %.6q…", secret)
		}
	}
}

func (r *rig) await(what string, f func() bool) {
	r.t.Helper()
	for end := time.Now().Add(workspace.Patience); !f(); time.Sleep(2 * time.Millisecond) {
		if time.Now().After(end) {
			r.t.Fatalf("in vain: %s\nheard %s\nlog:\n%s", what, r.heard(), r.log)
		}
	}
}

// hears waits for n messages and then a little for more than those.
func (r *rig) hears(n int) []bot.Inbound {
	r.t.Helper()
	r.await(fmt.Sprintf("%d messages", n), func() bool { return len(r.ear.all()) >= n })
	r.settled()
	list := r.ear.all()
	if len(list) != n {
		r.t.Fatalf("heard %d messages, want %d: %s", len(list), n, r.heard())
	}
	return list
}

// settled waits until nothing is under way any more.
func (r *rig) settled() {
	r.t.Helper()
	if !r.w.Settle(workspace.Patience) {
		r.t.Fatalf("deliveries are not acknowledged\nlog:\n%s", r.log)
	}
	r.await("inbox handled", func() bool { return r.pending() == 0 })
}

func (r *rig) pending() (n int) {
	ctx, leave, err := r.enter(context.Background())
	if err != nil {
		return -1
	}
	defer leave()
	if err := r.state.db.QueryRowContext(ctx, "SELECT count(*) FROM inbox WHERE state = 0").Scan(&n); err != nil {
		return -1
	}
	return n
}

func (r *rig) heard() string {
	var b strings.Builder
	for _, in := range r.ear.all() {
		fmt.Fprintf(&b, "\n  %s thread=%s loose=%v called=%v room=%s from=%s text=%q tap=%q edit=%s delete=%s file=%v", in.Delivery, in.Thread, in.Loose, in.Called,
			in.Room, in.From, in.Text, in.Tap, in.Edit, in.Delete, in.File != nil)
	}
	return b.String()
}

func readAll(a *bot.Attachment) string {
	f, err := a.Open()
	if err != nil {
		return "error: " + err.Error()
	}
	defer f.Close()
	b, err := io.ReadAll(f)
	if err != nil {
		return "error: " + err.Error()
	}
	return string(b)
}

// begins has a person begin a job and gives its thread and the message's ts.
func (r *rig) begins(who string) (thread bot.Thread, ts string) {
	r.t.Helper()
	ts = r.w.User(who).Say("shop", "@milepost Harrow Drifter")
	r.await("the job's beginning", func() bool { return strings.HasSuffix(r.ear.texts(), "Harrow Drifter") })
	return threadName(r.w.Team(), r.w.Channel("shop"), ts), ts
}

// card posts the job's card and gives its ts: the root of the thread.
func (r *rig) card(thread bot.Thread, job string) string {
	r.t.Helper()
	err := r.EditCard(r.t.Context(), bot.Outbound{Key: job + "/1", Shop: bot.DefaultShop, Network: NetworkName, Thread: thread, Job: job, Log: 1,
		Reply: flow.Reply{Kind: flow.Card, Text: "Card of " + job, Phase: flow.PhaseBackup}})
	if err != nil {
		r.t.Fatalf("card: %v", err)
	}
	ts, err := r.state.rootOf(r.t.Context(), string(thread))
	if err != nil || ts == "" {
		r.t.Fatalf("no root: %v", err)
	}
	return ts
}

// prompt asks something in a thread and gives the post's ts.
func (r *rig) prompt(thread bot.Thread, job string, n int, choices ...string) string {
	r.t.Helper()
	key := fmt.Sprintf("%s/%d", job, n)
	out := bot.Outbound{Key: key, Shop: bot.DefaultShop, Network: NetworkName, Thread: thread, Job: job, Log: int64(n),
		Reply: flow.Reply{Kind: flow.Prompt, Text: fmt.Sprintf("Question %d?", n), Phase: flow.PhaseBackup, Role: flow.Technician}}
	for _, c := range choices {
		out.Reply.Choices = append(out.Reply.Choices, flow.Choice{Label: "Choose " + c, Send: fmt.Sprintf("%s.%d.%s", job, n, c)})
	}
	if err := r.Send(r.t.Context(), out); err != nil {
		r.t.Fatalf("prompt: %v", err)
	}
	ts, _, _, err := r.state.sentAs(r.t.Context(), key)
	if err != nil || ts == "" {
		r.t.Fatalf("no prompt: %v", err)
	}
	return ts
}

func promptReply(text string, sends ...string) flow.Reply {
	r := flow.Reply{Kind: flow.Prompt, Text: text, Phase: flow.PhaseBackup, Role: flow.Technician}
	for _, s := range sends {
		r.Choices = append(r.Choices, flow.Choice{Label: "Choose " + s, Send: s})
	}
	return r
}

func keepInto(kept *[]arrival) func(context.Context, []arrival) error {
	return func(_ context.Context, list []arrival) error {
		*kept = append(*kept, list...)
		return nil
	}
}
