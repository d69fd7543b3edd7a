package bot_test

import (
	"fmt"
	"maps"
	"sync"
	"testing"
	"time"

	"milepost/bot"
	"milepost/flow"
)

// figures counts what is measured.
type figures struct {
	mu sync.Mutex
	of map[string]int
}

func (f *figures) add(what string) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.of[what]++
}

func (f *figures) Turn(network, outcome string, _ time.Duration) { f.add(network + " " + outcome) }
func (f *figures) Sent(string, string, time.Duration)            {}
func (f *figures) Refused(network string, first bool) {
	f.add(fmt.Sprintf("%s refused, first %t", network, first))
}

// take gives what was counted since.
func (f *figures) take() map[string]int {
	f.mu.Lock()
	defer f.mu.Unlock()
	of := f.of
	f.of = map[string]int{}
	return of
}

// What is refused to people is counted, each message once and each who is turned
// away once a day; what the program failed at is no success, though it was said.
func TestMeasuresRefusals(t *testing.T) {
	f := &figures{of: map[string]int{}}
	refuses := func(s *flow.State, m flow.Message, env flow.Env) (flow.Outcome, error) {
		out, err := stub(s, m, env)
		if m.Text == "not yours" {
			out.Replies[len(out.Replies)-1].Kind = flow.Refusal
		}
		return out, err
	}
	r := startStep(t, newMem(), refuses, func(c *bot.Config) { c.Measure, c.Limits.Strangers = f, 2 })
	const done, first, more = "fake done", "fake refused, first true", "fake refused, first false"
	repeat := r.in("eve", "hello?")
	for _, c := range []struct {
		what string
		in   bot.Inbound
		want map[string]int
	}{
		{"someone known", r.in("tech", "new job unit 14"), map[string]int{done: 1}},
		{"a stranger", r.in("eve", "hello"), map[string]int{done: 1, first: 1}},
		{"the same stranger", repeat, map[string]int{done: 1, more: 1}},
		{"the same message", repeat, map[string]int{"fake repeat": 1}},
		{"another, with a code that is none", r.in("mallory", "7QKM-4TXN-R2HD-9WPC"), map[string]int{done: 1, first: 1}},
		{"again", r.in("mallory", "7QKM-4TXN-R2HD-9WPD"), map[string]int{done: 1, more: 1}},
		{"beyond the cap", r.in("bob", "hello"), map[string]int{done: 1, more: 1}},
		{"the board for a customer", r.in("cust", "board"), map[string]int{done: 1, more: 1}},
		{"a refusal in a job", r.in("tech", "not yours"), map[string]int{done: 1, more: 1}},
		{"an answer in a job", r.in("tech", "2438"), map[string]int{done: 1}},
		{"a fault of the program", r.in("tech", "panic"), map[string]int{"fake failed": 1}},
	} {
		if err := r.bot.Handle(t.Context(), c.in); err != nil {
			t.Fatalf("%s: %v", c.what, err)
		}
		if got := f.take(); !maps.Equal(got, c.want) {
			t.Errorf("%s: counted %v, want %v", c.what, got, c.want)
		}
	}
	r.clock.pass(24 * time.Hour)
	r.say("eve", "good morning")
	if got := f.take(); !maps.Equal(got, map[string]int{done: 1, first: 1}) {
		t.Errorf("the next day: counted %v", got)
	}
}
