package bottest

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"math/rand/v2"
	"slices"
	"sync"
	"testing"
	"time"

	"milepost/bot"
	"milepost/bot/journal"
	"milepost/flow"
)

// BotWay takes a script through a bot on a store in memory.
type BotWay struct {
	t     testing.TB
	s     *Script
	store *Memory
	net   *Fake       // what was said
	nets  bot.Network // net, or what says it as well on a network
	who   func(ScriptPerson) bot.Identity
	hand  func(ScriptMessage) error
	key   journal.Key
	stop  func()

	mu      sync.Mutex // guards bot, now and elapsed
	bot     *bot.Bot
	now     time.Time
	elapsed time.Duration
}

// NewBotWay starts a bot; it ends with the test.
func NewBotWay(t testing.TB, s *Script) *BotWay {
	t.Helper()
	var seed [32]byte
	copy(seed[:], s.Name)
	key, err := journal.NewKey(bot.DefaultShop, rand.NewChaCha8(seed))
	if err != nil {
		t.Fatal(err)
	}
	w := &BotWay{t: t, s: s, store: NewMemory(), key: key, now: s.Start}
	w.net = &Fake{Named: "script", Fail: w.stored}
	w.nets, w.who, w.hand = w.net, identity, w.handIn
	w.start()
	t.Cleanup(func() { w.stop() })
	return w
}

// start runs a bot on what is there.
func (w *BotWay) start() {
	people := map[bot.Identity]flow.Role{}
	for _, p := range w.s.People {
		if p.Role != flow.Stranger && !w.s.guest(p) {
			people[w.who(p)] = p.Role
		}
	}
	b, err := bot.New(bot.Config{Store: w.store, Blobs: w.store, Networks: []bot.Network{w.nets}, Program: "script",
		Shops: []bot.Shop{{Name: bot.DefaultShop, Key: w.key, People: people, Policy: w.s.Policy}},
		Now:   func() time.Time { w.mu.Lock(); defer w.mu.Unlock(); return w.now },
		Elapsed: func() time.Duration {
			w.mu.Lock()
			defer w.mu.Unlock()
			return w.elapsed
		}})
	if err != nil {
		w.t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- b.Run(ctx) }()
	w.mu.Lock()
	w.bot = b
	w.mu.Unlock()
	w.stop = sync.OnceFunc(func() {
		cancel()
		if err := <-done; err != nil {
			w.t.Error(err)
		}
	})
}

// guest says whether somebody comes by a guest code: a customer, where a script
// gives one out.
func (s *Script) guest(p ScriptPerson) bool {
	return p.Role == flow.Customer && slices.ContainsFunc(s.Inputs, func(in *ScriptInput) bool { return guestWord.MatchString(in.Text) })
}

func identity(p ScriptPerson) bot.Identity { return bot.Identity("script:" + p.Name) }

// stored refuses a message whose entries are not in the store: every reply
// comes after its entries.
func (w *BotWay) stored(out bot.Outbound) error {
	if out.Job == "" || out.Reply.Seq == 0 {
		return nil
	}
	if n := w.seqOf(out.Job); n < out.Log || n < out.Reply.Seq {
		w.t.Errorf("%q is sent when entry %d of %d is stored", out.Reply.Text, n, out.Log)
	}
	return nil
}

func (w *BotWay) seqOf(job string) int64 {
	es, err := w.store.Entries(context.Background(), bot.DefaultShop, job, 0)
	if err != nil {
		w.t.Error(err)
	}
	return int64(len(es))
}

// at is the bot that runs now.
func (w *BotWay) at() *bot.Bot {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.bot
}

func (w *BotWay) pass(d time.Duration) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.now, w.elapsed = w.now.Add(d), w.elapsed+d
}

// Give hands in a message and waits for what is sent.
func (w *BotWay) Give(m ScriptMessage) ([]ScriptSaid, map[string]int64, error) {
	before := len(w.net.Sent())
	if m.Wait > 0 {
		w.pass(pace + m.Wait)
		if err := w.wake(); err != nil {
			return nil, nil, err
		}
	} else if err := w.hand(m); err != nil {
		return nil, nil, err
	}
	return w.dealt(before)
}

// handIn gives a message to the bot.
func (w *BotWay) handIn(m ScriptMessage) error {
	in := bot.Inbound{Network: "script", Thread: "bay", From: identity(m.Who), Name: m.Who.Name, Delivery: m.ID,
		Text: m.Text, Tap: m.Tap, Edit: m.Edit, Delete: m.Delete}
	if m.File != "" {
		in.File = &bot.Attachment{Name: m.File, Open: func() (io.ReadCloser, error) { return io.NopCloser(bytes.NewReader(m.Bytes)), nil }}
	}
	if _, ok, _ := w.store.Delivered(context.Background(), bot.DefaultShop, "script:"+m.ID); !ok {
		w.pass(pace)
	}
	if m.Ago > 0 {
		in.SentAt = w.now.Add(-m.Ago)
	}
	if m.Unread {
		in.Fault = bot.FaultUnreadable
	}
	return w.at().Handle(context.Background(), in)
}

// dealt waits until all is sent and gives what was said since.
func (w *BotWay) dealt(before int) ([]ScriptSaid, map[string]int64, error) {
	ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
	defer cancel()
	if err := w.at().Flush(ctx); err != nil {
		return nil, nil, err
	}
	var said []ScriptSaid
	for _, o := range w.net.Sent()[before:] {
		if o.Reply.Kind == flow.Card && len(o.Reply.To) == 0 {
			continue
		}
		x := ScriptSaid{Job: o.Job, Seq: o.Reply.Seq, Kind: o.Reply.Kind, Text: o.Reply.Text, Choices: o.Reply.Choices}
		for _, n := range o.Names {
			x.To = append(x.To, n)
		}
		slices.Sort(x.To)
		if w.seqOf(o.Job) < x.Seq || o.Job == journal.ShopJob || w.shopKey(o) {
			x.Job, x.Seq = "", 0
		}
		said = append(said, x)
	}
	after := map[string]int64{}
	jobs, err := w.store.Jobs(context.Background(), bot.DefaultShop)
	for _, j := range jobs {
		if j != journal.ShopJob {
			after[j] = w.seqOf(j)
		}
	}
	return said, after, err
}

// shopKey says whether a message is recorded in the shop's log, not in a job's.
func (w *BotWay) shopKey(o bot.Outbound) bool {
	return o.Job == "" || len(o.Key) < len(o.Job) || o.Key[:len(o.Job)] != o.Job
}

// wake starts the bot anew, which wakes what is due, and waits for it.
func (w *BotWay) wake() error {
	w.stop()
	w.start()
	for end := time.Now().Add(10 * time.Second); ; time.Sleep(time.Millisecond) {
		rows, err := w.store.Index(context.Background(), bot.DefaultShop, false)
		if err != nil {
			return err
		}
		if !slices.ContainsFunc(rows, func(r bot.IndexRow) bool { return !r.Wake.IsZero() && !w.now.Before(r.Wake) }) {
			return nil
		}
		if time.Now().After(end) {
			return fmt.Errorf("a job that is due was not woken")
		}
	}
}

// Log gives a job's entries, read from an export that has been verified.
func (w *BotWay) Log(job string) ([]flow.Entry, error) {
	var b bytes.Buffer
	if err := w.at().Export(context.Background(), bot.DefaultShop, job, &b, false); err != nil {
		return nil, err
	}
	sum, err := journal.Verify(bytes.NewReader(b.Bytes()), []string{w.key.Public()}, nil)
	if err != nil {
		return nil, fmt.Errorf("verify: %w", err)
	}
	entries, err := ExportedEntries(b.Bytes())
	if err == nil && !sum.Proven {
		err = fmt.Errorf("the export is not proven")
	}
	return entries, err
}

// ExportedEntries reads the entries of an export, which is not checked here.
func ExportedEntries(export []byte) ([]flow.Entry, error) {
	var entries []flow.Entry
	for _, line := range bytes.Split(export, []byte("\n")) {
		var l struct {
			Entry *struct {
				Leaf  string
				Items []struct{ Label, Text, Bytes string }
			}
		}
		if err := json.Unmarshal(line, &l); err != nil || l.Entry == nil {
			continue
		}
		leaf, err := journal.Parse([]byte(l.Entry.Leaf))
		if err != nil {
			return nil, err
		}
		e := flow.Entry{Seq: leaf.Seq, Clock: leaf.Clock, Who: flow.Who(leaf.Who), Role: flow.Role(leaf.Role), Kind: flow.Kind(leaf.Kind), V: leaf.V}
		if e.At, err = time.Parse(journal.TimeLayout, leaf.Time); err != nil {
			return nil, err
		}
		for _, it := range l.Entry.Items {
			e.Items = append(e.Items, flow.Item{Label: it.Label, Content: it.Text})
		}
		if err := flow.Decode(&e, leaf.Data); err != nil {
			return nil, err
		}
		entries = append(entries, e)
	}
	if len(entries) == 0 {
		return nil, fmt.Errorf("an export without entries")
	}
	return entries, nil
}
