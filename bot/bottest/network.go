package bottest

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"sync"
	"testing"
	"time"

	"milepost/bot"
	"milepost/flow"
)

// Handler is what a network hands to: Bot.Handle, or the suite's own ear.
type Handler func(context.Context, bot.Inbound) error

// A Wire is a network made ready for the suite, with someone at the other end.
type Wire struct {
	Network bot.Network
	Thread  bot.Thread // a thread to send to, in which people also write

	// Shown gives what people see in the thread now, oldest first: each
	// message once, as it reads at present.
	Shown func() []Shown

	// Say lets a person write a text in the thread and returns once the network
	// has handed it over. Nil where the network can't be spoken to in a test.
	Say func(t testing.TB, who, text string)

	// Tap lets a person choose what a shown message offers. Nil: no taps.
	Tap func(t testing.TB, who string, choice flow.Choice)
}

// Shown is one message as people see it.
type Shown struct {
	Text    string   // all of it, choices included where they are text
	Choices []string // labels, wherever they are shown
}

// TestNetwork is the suite that every network runs: what the core relies on,
// and no more. open makes a fresh one, which hands what it hears to handle.
func TestNetwork(t *testing.T, open func(t *testing.T, handle Handler) Wire) {
	for _, c := range []struct {
		name string
		run  func(*testing.T, Wire, *ear)
	}{
		{"Name", networkName},
		{"Send", networkSend},
		{"SendTwice", networkSendTwice},
		{"Order", networkOrder},
		{"Choices", networkChoices},
		{"Words", networkWords},
		{"Cancelled", networkCancelled},
		{"Card", networkCard},
		{"Hear", networkHear},
		{"HearTap", networkHearTap},
		{"HearFault", networkHearFault},
	} {
		t.Run(c.name, func(t *testing.T) {
			e := &ear{heard: make(chan bot.Inbound, 100)}
			c.run(t, open(t, e.handle), e)
		})
	}
}

// ear keeps what a network hands over.
type ear struct {
	heard chan bot.Inbound

	mu  sync.Mutex
	err error // given back once
}

func (e *ear) handle(_ context.Context, in bot.Inbound) error {
	e.heard <- in
	e.mu.Lock()
	defer e.mu.Unlock()
	err := e.err
	e.err = nil
	return err
}

func (e *ear) fail(err error) {
	e.mu.Lock()
	defer e.mu.Unlock()
	e.err = err
}

func (e *ear) next(t *testing.T) bot.Inbound {
	t.Helper()
	select {
	case in := <-e.heard:
		return in
	case <-time.After(10 * time.Second):
		t.Fatal("nothing was handed over")
	}
	return bot.Inbound{}
}

// out makes an outgoing message for a wire.
func (w Wire) out(key, text string, choices ...flow.Choice) bot.Outbound {
	kind := flow.Notice
	if len(choices) > 0 {
		kind = flow.Prompt
	}
	return bot.Outbound{Key: key, Shop: bot.DefaultShop, Network: w.Network.Name(), Thread: w.Thread, Job: "k7mw2pd", Log: 9,
		Reply: flow.Reply{Seq: 9, Kind: kind, Role: flow.Technician, Phase: flow.PhaseBackup, Text: text, Choices: choices},
		Names: map[flow.Who]string{"w": "Kim"}}
}

func (w Wire) send(t *testing.T, out bot.Outbound) {
	t.Helper()
	if err := w.Network.Send(t.Context(), out); err != nil {
		t.Fatalf("send %s: %v", out.Key, err)
	}
}

// count is how many shown messages hold a text.
func (w Wire) count(text string) int {
	n := 0
	for _, s := range w.Shown() {
		if strings.Contains(s.Text, text) {
			n++
		}
	}
	return n
}

func networkName(t *testing.T, w Wire, _ *ear) {
	name := w.Network.Name()
	if name == "" || strings.ContainsAny(name, ": /\n") {
		t.Errorf("Name() = %q: it begins identities, so it is one word without a colon", name)
	}
	if again := w.Network.Name(); again != name {
		t.Errorf("Name() = %q, then %q", name, again)
	}
}

func networkSend(t *testing.T, w Wire, _ *ear) {
	w.send(t, w.out("k7mw2pd/1", "Kept: unit14.bin, 18,432 bytes."))
	if n := w.count("Kept: unit14.bin, 18,432 bytes."); n != 1 {
		t.Errorf("the message is shown %d times", n)
	}
}

// After a crash a message is sent again under its key: people see it once, or
// where the network can't help that, marked by the same identifier.
func networkSendTwice(t *testing.T, w Wire, _ *ear) {
	out := w.out("k7mw2pd/2", "Nothing is written before it.")
	w.send(t, out)
	w.send(t, out)
	if n := w.count("Nothing is written before it."); n != 1 {
		t.Errorf("sent twice under one key, shown %d times", n)
	}
	w.send(t, w.out("k7mw2pd/3", "Nothing is written before it."))
	if n := w.count("Nothing is written before it."); n != 2 {
		t.Errorf("the same words under another key are another message; shown %d times", n)
	}
}

func networkOrder(t *testing.T, w Wire, _ *ear) {
	const n = 12
	for i := range n {
		w.send(t, w.out(fmt.Sprintf("k7mw2pd/%d", 10+i), fmt.Sprintf("line %c of twelve", 'a'+i)))
	}
	next := 0
	for _, s := range w.Shown() {
		if next < n && strings.Contains(s.Text, fmt.Sprintf("line %c of twelve", 'a'+next)) {
			next++
		}
	}
	if next != n {
		t.Errorf("message %d is not in its place", next)
	}
}

func networkChoices(t *testing.T, w Wire, _ *ear) {
	w.send(t, w.out("k7mw2pd/30", "What does the tool say?",
		flow.Choice{Label: "took", Send: "k7mw2pd.4.took"}, flow.Choice{Label: "broke off", Send: "k7mw2pd.4.broke_off"}))
	for _, s := range w.Shown() {
		if !strings.Contains(s.Text, "What does the tool say?") {
			continue
		}
		all := s.Text + "\n" + strings.Join(s.Choices, "\n")
		for _, label := range []string{"took", "broke off"} {
			if !strings.Contains(all, label) {
				t.Errorf("the choice %q can't be seen", label)
			}
		}
		if strings.Contains(s.Text, "k7mw2pd.4") {
			t.Error("what a choice sends is no text for people")
		}
		return
	}
	t.Error("the question is not shown")
}

// What is said is said word for word, whatever the network makes of letters.
func networkWords(t *testing.T, w Wire, _ *ear) {
	for i, text := range []string{
		"2438 mm is 0.967 of pi x diameter.",
		"a < b & c > d: *not bold*, _not_ `code`",
		"line one\nline two",
		"Größe 285/75R17 · 0.0 ± 0.6 mph",
		strings.Repeat("long ", 400) + "end",
	} {
		w.send(t, w.out(fmt.Sprintf("k7mw2pd/%d", 40+i), text))
		for _, line := range strings.Split(text, "\n") {
			if w.count(line) == 0 {
				t.Errorf("not shown word for word: %.60q", line)
			}
		}
	}
}

func networkCancelled(t *testing.T, w Wire, _ *ear) {
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	err := w.Network.Send(ctx, w.out("k7mw2pd/50", "too late to say"))
	if n := w.count("too late to say"); err != nil && n != 0 {
		t.Errorf("an error, and shown all the same %d times", n)
	} else if err == nil && n != 1 {
		t.Errorf("no error, and shown %d times", n)
	}
}

func networkCard(t *testing.T, w Wire, _ *ear) {
	c, ok := w.Network.(bot.CardEditor)
	if !ok {
		t.Skip("this network can't change a card in place")
	}
	for i, text := range []string{"Unit 14 · open", "Unit 14 · backup"} {
		out := w.out(fmt.Sprintf("k7mw2pd/%d", 60+i), text)
		out.Reply.Kind = flow.Card
		if err := c.EditCard(t.Context(), out); err != nil {
			t.Fatalf("edit card: %v", err)
		}
	}
	if w.count("Unit 14 · open") != 0 || w.count("Unit 14 · backup") != 1 {
		t.Errorf("one card, as it is now, should be shown; shown: %v", w.Shown())
	}
}

func networkHear(t *testing.T, w Wire, e *ear) {
	if w.Say == nil {
		t.Skip("this network can't be spoken to in a test")
	}
	w.Say(t, "kim", "265/70R17, 2438 mm")
	a := e.next(t)
	w.Say(t, "kim", "265/70R17, 2438 mm")
	b := e.next(t)
	w.Say(t, "noor", "release")
	c := e.next(t)
	name := w.Network.Name()
	if a.Text != "265/70R17, 2438 mm" {
		t.Errorf("text %q", a.Text)
	}
	if a.Network != name || a.Thread != w.Thread {
		t.Errorf("of network %q, thread %q; want %q, %q", a.Network, a.Thread, name, w.Thread)
	}
	if !strings.HasPrefix(string(a.From), name+":") || a.From != b.From || a.From == c.From {
		t.Errorf("identities %q, %q and %q: full, exact, and one for each person", a.From, b.From, c.From)
	}
	if a.Delivery != "" && a.Delivery == b.Delivery {
		t.Error("the same words said twice are two messages")
	}
}

func networkHearTap(t *testing.T, w Wire, e *ear) {
	if w.Tap == nil {
		t.Skip("this network has no taps")
	}
	yes := flow.Choice{Label: "yes", Send: "k7mw2pd.5.yes"}
	w.send(t, w.out("k7mw2pd/70", "Only in this module?", yes, flow.Choice{Label: "no", Send: "k7mw2pd.5.no"}))
	w.Tap(t, "kim", yes)
	if in := e.next(t); in.Tap != yes.Send {
		t.Errorf("tap %q, want what the choice sends, %q", in.Tap, yes.Send)
	}
}

// A message that could not be dealt with must not end the network: the next one
// is heard, and nobody reads a cause. A network that keeps what it hears hands
// the message over again first.
func networkHearFault(t *testing.T, w Wire, e *ear) {
	if w.Say == nil {
		t.Skip("this network can't be spoken to in a test")
	}
	e.fail(&bot.Error{Kind: bot.Unavailable, Say: "The store is full.", Err: errors.New("sqlite: disk I/O error 778")})
	w.Say(t, "kim", "first")
	e.next(t)
	w.Say(t, "kim", "second")
	for in := e.next(t); in.Text != "second"; in = e.next(t) {
		if in.Text != "first" {
			t.Fatalf("heard %q", in.Text)
		}
	}
	for _, s := range w.Shown() {
		if strings.Contains(s.Text, "sqlite") {
			t.Errorf("a cause was shown: %q", s.Text)
		}
	}
}
