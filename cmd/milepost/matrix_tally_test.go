package main

import (
	"fmt"
	"slices"
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

// tally holds what each person reads in rooms against what the logs of all jobs
// there have as said: the messages of a job in its thread, in their order, a card
// for each job, a log head for each close. It waits until all is there.
func (c *crew) tally(logs map[string][]flow.Entry, rooms ...person.RoomID) tally {
	c.t.Helper()
	n := tally{messages: len(logs)}
	want, begun, heads := map[string][]string{}, map[string]string{}, 0 // of jobs
	for job, log := range logs {
		for i := range log {
			switch f := log[i].Fact.(type) {
			case *flow.SaidFact:
				want[job] = append(want[job], words(log[i].Item(flow.ItemText)))
				n.messages++
			case *flow.HeardFact:
				if begun[job] == "" {
					begun[job] = f.ID
				}
			case *flow.PhaseFact:
				if f.Phase == flow.PhaseClosed {
					heads++
				}
			}
		}
	}
	n.messages += heads
	end := time.Now().Add(person.Patience)
	for name, q := range c.people {
		n.people++
		var all []person.Event
		settled := func() bool {
			all = nil
			for _, room := range rooms {
				all = append(all, q.Timeline(room)...)
			}
			ours := slices.DeleteFunc(slices.Clone(all), func(e person.Event) bool { return e.Sender != assistant })
			return len(ours) >= n.messages && !slices.ContainsFunc(ours, unread)
		}
		for !settled() && time.Now().Before(end) {
			time.Sleep(20 * time.Millisecond)
		}
		before := n
		read := c.threads(&n, name, all)
		n.differ(len(read.heads), heads)
		n.differ(len(read.cards), len(logs))
		for job, texts := range want {
			got := read.said[read.cards[begun[job]]]
			n.differ(len(got), len(texts))
			for i := range min(len(got), len(texts)) {
				if !strings.Contains(words(got[i].Body), texts[i]) {
					n.misplaced++
				}
			}
			delete(read.said, read.cards[begun[job]])
		}
		for root, said := range read.said {
			c.t.Errorf("%s reads %d messages in thread %q, of no job: %q", name, len(said), root, said[0].Body)
		}
		if n != before {
			c.t.Logf("%s sees\n%s", name, tail(person.Dump(all), 400))
		}
	}
	return n
}

// differ counts what is there too often or too seldom.
func (n *tally) differ(got, want int) {
	n.doubled += max(0, got-want)
	n.lost += max(0, want-got)
}

// inThreads is what somebody reads of the assistant, each message once.
type inThreads struct {
	cards map[string]person.EventID         // by the message that began the job, as logs name it
	said  map[person.EventID][]person.Event // by card
	heads []person.Event
}

// threads sorts it, and counts what is there twice.
func (c *crew) threads(n *tally, name string, all []person.Event) inThreads {
	r := inThreads{cards: map[string]person.EventID{}, said: map[person.EventID][]person.Event{}}
	keys := map[string]bool{}
	for _, e := range all {
		signs := map[string]int{}
		for _, sign := range e.Reactions {
			if sign.Sender == assistant {
				signs[sign.Key]++
				n.doubled += min(1, signs[sign.Key]-1)
			}
		}
		if e.Sender != assistant {
			continue
		}
		key, _ := e.Content[keyMark].(string)
		if key == "" || unread(e) || c.encrypted != e.Encrypted {
			c.t.Errorf("%s reads, encrypted %v, a message without key, or can't read it: %+v", name, e.Encrypted, e)
		}
		if keys[key] {
			n.doubled++
			continue
		}
		keys[key] = true
		switch began := inLog(e.ReplyTo); {
		case isHead(e):
			r.heads = append(r.heads, e)
		case isCard(e) && r.cards[began] != "":
			n.doubled++
		case isCard(e):
			r.cards[began] = e.ID
		default:
			r.said[e.Root] = append(r.said[e.Root], e)
		}
	}
	return r
}

// golden holds a play against the script: its words, and the log that a bot in
// memory makes of it.
func (w *crewWay) golden(p *bottest.ScriptPlay) {
	w.t.Helper()
	goldenSaid(w.t, w.s, p, w.s.Play(w.t, bottest.NewBotWay(w.t, w.s)))
}

// goldenSaid holds a play over a network against its script and against the play
// of a bot in memory.
func goldenSaid(t testing.TB, s *bottest.Script, p, want *bottest.ScriptPlay) {
	t.Helper()
	for i, in := range s.Inputs {
		if len(p.Turns[i].Said) != len(in.Said) {
			t.Errorf("input %d: %d answers, want %d: %q", in.N, len(p.Turns[i].Said), len(in.Said), p.Turns[i].Said)
			continue
		}
		for n, said := range in.Said {
			text, _, _ := strings.Cut(said, " [") // choices are written otherwise, and those called before them
			if !strings.Contains(words(p.Turns[i].Said[n]), words(text)) {
				t.Errorf("input %d: says\n%s\nwant\n%s", in.N, p.Turns[i].Said[n], said)
			}
		}
		p.Turns[i].Said = want.Turns[i].Said
	}
	p.Same(t, want)
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
