package bot_test

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"milepost/bot"
	"milepost/bot/bottest"
	"milepost/flow"
)

// stub is a small flow of its own, so that these tests are about the way of a
// message and not about the job: it echoes, and does what a few words say.
func stub(s *flow.State, m flow.Message, env flow.Env) (flow.Outcome, error) {
	t := &stubTurn{s: s.Clone(), m: m, env: env}
	if m.Wake {
		if t.s.Reminders != nil && !env.Now.Before(t.s.HoldAt) {
			t.record(&flow.ReminderFact{What: "torque", Done: true})
			t.say("torque the wheels")
			t.s.Reminders = nil
		} else if t.s.Reminders != nil {
			t.out.Wake = t.s.HoldAt
		}
		return t.done()
	}
	if p := m.Join; p != nil {
		t.record(&flow.PersonFact{Who: p.Who, Role: p.Role, Stated: p.Stated, ByCode: p.ByCode},
			flow.Item{Label: flow.ItemIdentity, Content: p.Identity}, flow.Item{Label: flow.ItemName, Content: p.Name})
		t.s.People[p.Who] = *p
		if works := p.Role != flow.Helper && p.Role != flow.Supervisor; t.s.Owner == "" || works && t.s.Lent {
			t.s.Owner, t.s.Lent = p.Who, !works
		}
	}
	t.record(&flow.HeardFact{What: "text", ID: m.ID}, flow.Item{Label: flow.ItemText, Content: m.Text})
	if m.ID != "" {
		t.s.ByWho[m.ID] = m.Who
	}
	word, rest, _ := strings.Cut(m.Text, " ")
	switch {
	case m.Edit != "":
		t.say("edited: " + m.Text)
	case m.File != nil && m.File.Fault != "":
		t.say("fault " + m.File.Fault)
	case m.File != nil:
		t.record(&flow.BackupFact{Bytes: m.File.Bytes}, flow.Item{Label: flow.ItemFile, Content: m.File.Name},
			flow.Item{Label: flow.ItemSHA256, Content: m.File.SHA256})
		stretches := -1
		if m.File.Track != nil {
			stretches = len(m.File.Track.Stretches)
		}
		t.say(fmt.Sprintf("file %s %s %d web=%v elsewhere=%v stretches=%d", m.File.Name, m.File.Type, m.File.Bytes, m.File.Web, m.File.Elsewhere, stretches))
	case word == "panic":
		panic("stub: secret detail")
	case word == "fail":
		return flow.Outcome{}, errors.New("stub: secret detail")
	case word == "vehicle":
		known := "new"
		if env.Known != nil {
			known = fmt.Sprintf("known from %s at %g vin=%v", env.Known.Job, env.Known.Module.Now.Num, env.Known.VIN)
		}
		t.record(&flow.VehicleFact{Known: env.Known != nil}, flow.Item{Label: flow.ItemVehicle, Content: rest})
		t.s.Vehicle = rest
		t.say(known)
	case word == "stored":
		t.record(&flow.StoredFact{Value: flow.Number(2438), Unit: "mm", Quantity: "circumference", KindName: "circumference_mm", Which: "factory"})
		t.s.Modules = []flow.Module{{Kind: "circumference_mm", Quantity: "circumference", Unit: "mm", Original: flow.Number(2438), Now: flow.Number(2438)}}
		t.say("2438 noted")
	case word == "close":
		t.record(&flow.PhaseFact{Phase: flow.PhaseClosed, Event: flow.EvClose})
		t.s.Phase, t.s.Since = flow.PhaseClosed, env.Now
		t.say("closed")
	case word == "invite":
		t.record(&flow.InviteFact{Hash: bot.CodeHash(env.Code)})
		t.s.Invites = append(t.s.Invites, flow.InviteFact{Hash: bot.CodeHash(env.Code)})
		t.say("code " + env.Code)
	case word == "remind":
		t.record(&flow.ReminderFact{What: "torque", Day: env.Now.Add(time.Hour).Format(time.DateOnly)})
		t.s.Reminders = []flow.ReminderFact{{What: "torque"}}
		t.s.HoldAt = env.Now.Add(time.Hour) // where this stub keeps its time
		t.out.Wake = t.s.HoldAt
		t.say("in an hour")
	default:
		t.say("echo " + m.Text)
	}
	return t.done()
}

type stubTurn struct {
	s   *flow.State
	m   flow.Message
	env flow.Env
	out flow.Outcome
}

func (t *stubTurn) record(f flow.Fact, items ...flow.Item) {
	t.s.Seq++
	t.s.Last = t.env.Now
	e := flow.Entry{Seq: t.s.Seq, At: t.env.Now, Clock: t.env.Clock && len(t.out.Entries) == 0, Who: t.m.Who, Role: t.m.Role, Kind: f.Kind(), V: 1, Fact: f}
	t.s.ClockBack = t.s.ClockBack || e.Clock
	if t.s.Opened.IsZero() {
		t.s.Opened, t.s.Since = t.env.Now, t.env.Now
	}
	for _, it := range items {
		if it.Content != "" {
			e.Items = append(e.Items, it)
		}
	}
	t.out.Entries = append(t.out.Entries, e)
}

func (t *stubTurn) say(text string) {
	t.record(&flow.SaidFact{Key: "stub", What: flow.Notice}, flow.Item{Label: flow.ItemText, Content: text})
	role := flow.Technician
	if p, ok := t.s.People[t.s.Owner]; ok {
		role = p.Role
	}
	t.out.Replies = append(t.out.Replies, flow.Reply{Seq: t.s.Seq, Kind: flow.Notice, Role: role, Phase: t.s.Phase, Text: text})
}

func (t *stubTurn) done() (flow.Outcome, error) {
	t.out.State = t.s
	return t.out, nil
}

// clock is our time and the elapsed time, set by the test.
type clock struct {
	mu      sync.Mutex
	now     time.Time
	elapsed time.Duration
}

func (c *clock) Now() time.Time { c.mu.Lock(); defer c.mu.Unlock(); return c.now }

func (c *clock) Elapsed() time.Duration { c.mu.Lock(); defer c.mu.Unlock(); return c.elapsed }

// pass lets time go by; set only sets the clock.
func (c *clock) pass(d time.Duration) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.now, c.elapsed = c.now.Add(d), c.elapsed+d
}

func (c *clock) set(d time.Duration) { c.mu.Lock(); defer c.mu.Unlock(); c.now = c.now.Add(d) }

// bench is a bot at work, with what it stands on.
type rig struct {
	t     testing.TB
	bot   *bot.Bot
	store *mem
	blobs *memBlobs
	net   *bottest.Fake
	clock *clock
	step  bot.Step
	log   *logBuffer
	stop  func()
	n     int
}

type logBuffer struct {
	mu sync.Mutex
	b  strings.Builder
}

func (l *logBuffer) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.Write(p)
}

func (l *logBuffer) String() string { l.mu.Lock(); defer l.mu.Unlock(); return l.b.String() }

var people = map[bot.Identity]flow.Role{
	"fake:tech": flow.Technician, "fake:cust": flow.Customer, "fake:noor": flow.Helper, "fake:boss": flow.Supervisor, "fake:other": flow.Customer,
}

// start makes a bot on a store and runs it until the test ends or stop.
func start(t testing.TB, store *mem, change ...func(*bot.Config)) *rig {
	t.Helper()
	return startStep(t, store, stub, change...)
}

func startStep(t testing.TB, store *mem, step bot.Step, change ...func(*bot.Config)) *rig {
	t.Helper()
	r := &rig{t: t, step: step, store: store, blobs: &memBlobs{}, net: &bottest.Fake{}, log: &logBuffer{},
		clock: &clock{now: time.Date(2026, 3, 1, 8, 0, 0, 0, time.UTC)}}
	return r.again(change...)
}

// again starts a bot on what is there, as after a crash.
func (r *rig) again(change ...func(*bot.Config)) *rig {
	r.t.Helper()
	cfg := bot.Config{Store: r.store, Blobs: r.blobs, Networks: []bot.Network{r.net}, Program: "test",
		Now: r.clock.Now, Elapsed: r.clock.Elapsed, Log: slog.New(slog.NewTextHandler(r.log, nil)),
		Shops: []bot.Shop{{Name: "oakroad", People: people}}}
	for _, c := range change {
		c(&cfg)
	}
	b, err := bot.New(bot.WithStep(cfg, r.step))
	if err != nil {
		r.t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- b.Run(ctx) }()
	var once sync.Once
	r.bot = b
	r.stop = func() {
		once.Do(func() {
			cancel()
			if err := <-done; err != nil {
				r.t.Error(err)
			}
		})
	}
	r.t.Cleanup(r.stop)
	return r
}

func (r *rig) in(who, text string) bot.Inbound {
	r.n++
	return bot.Inbound{Network: "fake", Thread: bot.Thread("dm-" + who), From: bot.Identity("fake:" + who), Name: who,
		Delivery: fmt.Sprintf("d%d", r.n), Text: text}
}

// say hands over a text, waits for the outbox and gives what was said since.
func (r *rig) say(who, text string) []string {
	r.t.Helper()
	return r.give(r.in(who, text))
}

func (r *rig) give(in bot.Inbound) []string {
	r.t.Helper()
	before := len(r.sent())
	if err := r.bot.Handle(context.Background(), in); err != nil {
		r.t.Fatalf("handle %q: %v", in.Text, err)
	}
	r.flush()
	return r.texts()[before:]
}

// sent is what was sent, without the jobs' cards.
func (r *rig) sent() []bot.Outbound {
	return slices.DeleteFunc(r.net.Sent(), func(o bot.Outbound) bool { return o.Reply.Kind == flow.Card })
}

func (r *rig) texts() []string {
	var ts []string
	for _, o := range r.sent() {
		ts = append(ts, o.Reply.Text)
	}
	return ts
}

func (r *rig) flush() {
	r.t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
	defer cancel()
	if err := r.bot.Flush(ctx); err != nil {
		r.t.Fatalf("flush: %v", err)
	}
}

// job is the job of the last message sent in one.
func (r *rig) job() string {
	sent := r.sent()
	for i := len(sent) - 1; i >= 0; i-- {
		if sent[i].Job != "" {
			return sent[i].Job
		}
	}
	r.t.Fatal("no job yet")
	return ""
}

func (r *rig) entries(job string) []bot.Stored {
	es, err := r.store.Entries(context.Background(), "oakroad", job, 0)
	if err != nil {
		r.t.Fatal(err)
	}
	return es
}
