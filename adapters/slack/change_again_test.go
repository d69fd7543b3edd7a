package slack

import (
	"net/url"
	"strings"
	"testing"
	"time"

	api "github.com/slack-go/slack"

	"milepost/adapters/slack/workspace"
	"milepost/flow"
)

// changes are the calls that were to change a post.
func (s *voice) changes(ts string) (list []workspace.Call) {
	for _, c := range s.w.Calls("chat.update") {
		if c.Args.Get("ts") == ts {
			list = append(list, c)
		}
	}
	return list
}

func (s *voice) stale(t *testing.T) bool {
	t.Helper()
	list, err := s.state.stale(t.Context(), 10)
	if err != nil {
		t.Fatal(err)
	}
	return len(list) > 0
}

func only(ts string) func(url.Values) bool {
	return func(args url.Values) bool { return args.Get("ts") == ts }
}

// A change that fails is tried again each time later, whatever new states come, and
// keeps nothing else waiting. A refusal that means nothing to us ends it; when the post
// is to look different again it is tried again.
func TestChangeFails(t *testing.T) {
	for _, failure := range []string{"internal_error", "update_failed", "never_heard_of"} {
		t.Run(failure, func(t *testing.T) {
			s := speak(t, workspace.Options{NoRateLimit: true})
			th, root := s.opened(t)
			other := s.begins("sam", "unit 15")
			s.says(t, s.out("aaaaaaa/1/card", other, flow.Card, "Unit 15"))
			roots := s.ownRoots()
			s.w.Fault(workspace.Fault{Method: "chat.update", Times: -1, Error: failure, Only: only(root.TS)})
			tries := func(n int) func() bool {
				return func() bool { s.card(t, "3", th); return len(s.changes(root.TS)) >= n }
			}
			if !s.w.Await(workspace.Patience, tries(againTries)) {
				t.Fatalf("tried %d times", len(s.changes(root.TS)))
			}
			list := s.changes(root.TS)
			for i := 1; i < againTries; i++ {
				if d, least := list[i].At.Sub(list[i-1].At), s.times.again<<(i-1)-20*time.Millisecond; d < least {
					t.Errorf("try %d came after %v", i+1, d)
				}
			}
			s.mouth.updates.mu.Lock()
			if !s.mouth.updates.hold.IsZero() {
				t.Error("all changes were kept waiting")
			}
			s.mouth.updates.mu.Unlock()
			s.says(t, s.out("aaaaaaa/4/card", other, flow.Card, "Unit 15\nready"))
			s.awaits(t, roots[1].TS, func(m workspace.Message) bool { return strings.Contains(m.Shown, "ready") })
			given := failure != "internal_error"
			if given && !s.w.Await(workspace.Patience, func() bool { return !s.stale(t) }) {
				t.Error("it is not given up")
			}
			log := s.log.String()
			if n := strings.Count(log, "will be tried again"); n != 1 {
				t.Errorf("that it failed is logged %d times", n)
			}
			if n := strings.Count(log, "stays as it is"); given != (n == 1) {
				t.Errorf("that it is given up is logged %d times", n)
			}
			if !given && !s.stale(t) {
				t.Error("it is given up")
			}
			s.w.Heal()
			s.card(t, "5", th)
			if !s.w.Await(workspace.Patience, func() bool { m, _ := s.w.Message("shop", root.TS); return strings.Contains(m.Shown, "state 5") }) {
				t.Error("it is never changed")
			}
			if s.mouth.failing.count() != 0 && !s.w.Await(workspace.Patience, func() bool { return s.mouth.failing.count() == 0 }) {
				t.Error("the failure is still counted")
			}
		})
	}
}

// What is refused because of the token waits until that is mended.
func TestChangeWaitsForToken(t *testing.T) {
	s := speak(t, workspace.Options{NoRateLimit: true})
	th, root := s.opened(t)
	s.w.Fault(workspace.Fault{Method: "chat.update", Times: -1, Error: "token_revoked"})
	s.card(t, "3", th)
	r, ok, err := s.state.staleAt(t.Context(), s.w.Channel("shop"), root.TS)
	if err != nil || !ok {
		t.Fatal("nothing is to be changed", err)
	}
	for range 2 * againTries {
		s.notChanged(t.Context(), r.channel, r.ts, r.rev, api.SlackErrorResponse{Err: "token_revoked"})
	}
	if !s.stale(t) {
		t.Error("it is given up")
	}
	if d := s.mouth.failing.pause(r.channel, r.ts); d < s.times.again<<againTries || d > againMost {
		t.Errorf("the pause is %v", d)
	}
}
