package main

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"milepost/adapters/matrix/person"
	"milepost/bot/bottest"
	"milepost/flow"
)

// tally counts what people see of what was said.
type tally struct {
	people, messages         int // each of the people is to see each message
	doubled, lost, misplaced int
}

func (n tally) String() string {
	return fmt.Sprintf("%d messages to %d people: %d doubled, %d lost, %d out of order", n.messages, n.people, n.doubled, n.lost, n.misplaced)
}

// holds fails the test unless all was seen once and in order.
func (n tally) holds(t testing.TB) {
	t.Helper()
	if n.messages == 0 || n.people == 0 || n.doubled+n.lost+n.misplaced > 0 {
		t.Errorf("%v", n)
	}
}

// tally holds what each person reads in the room against what the logs have as
// said: the messages of a job in their order, a card for each job, a log head for
// each close.
func (w *crewWay) tally(p *bottest.ScriptPlay) tally {
	w.t.Helper()
	var n tally
	var want []string
	for _, log := range p.Logs { // of one job: its thread
		for i := range log {
			if _, ok := log[i].Fact.(*flow.SaidFact); ok {
				want = append(want, words(log[i].Item(flow.ItemText)))
			}
		}
	}
	n.messages = len(want) + len(p.Logs) + p.Closings()
	for name, q := range w.people {
		n.people++
		var cards, heads, said []person.Event
		var all []person.Event
		settled := func() bool {
			all = q.Timeline(w.room)
			said, cards, heads = w.said(all), nil, nil
			for _, e := range all {
				if e.Sender == assistant && e.Content[rootMark] != nil {
					cards = append(cards, e)
				}
				if e.Sender == assistant && isHead(e) {
					heads = append(heads, e)
				}
				if e.Sender == assistant && unread(e) {
					return false
				}
			}
			return len(said) >= len(want) && len(cards) >= len(p.Logs) && len(heads) >= p.Closings()
		}
		for end := time.Now().Add(w.within); !settled() && time.Now().Before(end); {
			time.Sleep(20 * time.Millisecond)
		}
		once, keys := []person.Event{}, map[string]bool{}
		for _, e := range said {
			key, _ := e.Content[keyMark].(string)
			if key == "" {
				w.t.Errorf("%s reads a message without its key, or can't read it: %+v", name, e)
			}
			if keys[key] {
				n.doubled++
				continue
			}
			keys[key] = true
			once = append(once, e)
		}
		n.doubled += max(0, len(cards)-len(p.Logs)) + max(0, len(heads)-p.Closings()) + max(0, len(once)-len(want))
		n.lost += max(0, len(p.Logs)-len(cards)) + max(0, p.Closings()-len(heads)) + max(0, len(want)-len(once))
		for i := range min(len(once), len(want)) {
			if !strings.Contains(words(once[i].Body), want[i]) {
				n.misplaced++
			}
			if w.encrypted != once[i].Encrypted {
				w.t.Errorf("%s: encrypted %v: %q", name, once[i].Encrypted, once[i].Body)
			}
		}
		for _, e := range all {
			signs := map[string]int{}
			for _, r := range e.Reactions {
				if signs[r.Key]++; r.Sender == assistant && signs[r.Key] > 1 {
					n.doubled++
				}
			}
		}
		if n.doubled+n.lost+n.misplaced > 0 {
			w.t.Logf("%s sees\n%s", name, person.Dump(all))
		}
	}
	return n
}

// repeats says how often the program sent the same event again.
func (c *crew) repeats() string {
	all, once := 0, map[string]bool{}
	for _, r := range c.proxy.Requests("PUT", "/send/") {
		all++
		once[r.Path] = true // it ends in the transaction
	}
	return fmt.Sprintf("%d events sent %d times", len(once), all)
}

func words(s string) string { return strings.Join(strings.Fields(s), " ") }

// golden holds a play against the script: its words, and the log that a bot in
// memory makes of it.
func (w *crewWay) golden(p *bottest.ScriptPlay) {
	w.t.Helper()
	want := w.s.Play(w.t, bottest.NewBotWay(w.t, w.s))
	for i, in := range w.s.Inputs {
		if len(p.Turns[i].Said) != len(in.Said) {
			w.t.Errorf("input %d: %d answers, want %d: %q", in.N, len(p.Turns[i].Said), len(in.Said), p.Turns[i].Said)
			continue
		}
		for n, said := range in.Said {
			text, _, _ := strings.Cut(said, " [") // choices are written otherwise, and those called before them
			if !strings.Contains(words(p.Turns[i].Said[n]), words(text)) {
				w.t.Errorf("input %d: says\n%s\nwant\n%s", in.N, p.Turns[i].Said[n], said)
			}
		}
		p.Turns[i].Said = want.Turns[i].Said
	}
	p.Same(w.t, want)
}
