package slack

import (
	"fmt"
	"strings"
	"sync"
	"testing"

	"milepost/adapters/slack/workspace"
	"milepost/bot"
	"milepost/flow"
)

// Many states of a card in a short time are few changes, and the last one is
// what is seen.
func TestCardStatesOvertake(t *testing.T) {
	s := speak(t, workspace.Options{})
	th, root := s.opened(t)
	const n = 60
	for i := range n {
		o := s.out(fmt.Sprintf("k7mw2pd/%d/card", 10+i), th, flow.Card, fmt.Sprintf("Unit 14\nstate %d", i))
		o.Log = int64(10 + i)
		if i%10 == 0 {
			s.w.Fault(workspace.Fault{Method: "chat.update", Status: 500})
		}
		s.says(t, o)
	}
	if !s.w.Await(workspace.Patience, func() bool {
		m, _ := s.w.Message("shop", root.TS)
		return strings.Contains(m.Shown, fmt.Sprintf("state %d", n-1))
	}) {
		t.Error("the last state is not seen")
	}
	calls := s.w.Calls("chat.update")
	t.Logf("%d states, %d changes", n, len(calls))
	if len(calls) >= n {
		t.Errorf("%d changes for %d states", len(calls), n)
	}
	if m := s.w.Messages("shop", ""); len(m) != 2 {
		t.Errorf("%d messages in the channel", len(m))
	}
}

// Two jobs share a channel's second, and a prompt goes before a card that waits.
func TestFairness(t *testing.T) {
	s := speak(t, workspace.Options{})
	a := s.begins("kim", "unit 14")
	b := s.begins("sam", "unit 15")
	var wg sync.WaitGroup
	for _, j := range []struct {
		job    string
		thread bot.Thread
		n      int
	}{{"aaaaaaa", a, 6}, {"bbbbbbb", b, 2}} {
		wg.Go(func() {
			for i := range j.n {
				o := s.out(fmt.Sprintf("%s/%d", j.job, i+1), j.thread, flow.Notice, fmt.Sprintf("%s %d", j.job, i+1))
				if err := s.until(t, o); err != nil {
					t.Error(err)
				}
			}
		})
	}
	wg.Wait()
	last := map[string]int{}
	for i, p := range s.w.Posts("shop") {
		job, _, _ := strings.Cut(p.Text, " ")
		last[job] = i
	}
	if last["bbbbbbb"] > 4 {
		t.Errorf("two messages of one job waited behind six of the other: %v", last)
	}
	for _, c := range s.w.Calls("chat.postMessage") {
		if c.Error != "" {
			t.Errorf("a post was refused: %s", c.Error)
		}
	}
}

// The thread's first message is deleted, the channel archived, the app thrown out:
// the first begins a new thread, the others end in an error that says so.
func TestLostPlaces(t *testing.T) {
	s := speak(t, workspace.Options{NoRateLimit: true, StrictTombstones: true})
	th, root := s.opened(t)
	s.says(t, s.out("k7mw2pd/2", th, flow.Notice, "one"))
	s.w.User("sam").DeleteAny("shop", root.TS)
	s.says(t, s.out("k7mw2pd/3", th, flow.Notice, "two"))
	s.says(t, s.out("k7mw2pd/4", th, flow.Notice, "three"))
	var card workspace.Message
	for _, m := range s.w.Messages("shop", "") { // the latest
		if m.App && strings.Contains(m.Shown, "Unit 14") && m.Subtype == "" {
			card = m
		}
	}
	var got []string
	for _, m := range s.w.Messages("shop", card.TS) {
		got = append(got, m.Shown)
	}
	if strings.Join(got, "|") != "Unit 14|two|three" {
		t.Errorf("the new thread holds %q", got)
	}

	s.w.User("sam").Archive("shop")
	four := s.out("k7mw2pd/5", th, flow.Notice, "four")
	four.Users = nil // on no Slack: there is no other way to them
	if err := s.until(t, four); err == nil || !strings.Contains(err.Error(), "is_archived") {
		t.Errorf("into an archived channel: %v", err)
	}
	s.w.User("sam").Unarchive("shop")
	s.w.User("sam").RemoveApp("shop")
	four.Key = "k7mw2pd/6"
	if err := s.until(t, four); err == nil || !strings.Contains(err.Error(), "not_in_channel") {
		t.Errorf("into a channel we are not in: %v", err)
	}
	// Whoever it is for gets it directly, with what can be chosen.
	for range 2 {
		s.says(t, s.asking("k7mw2pd/8", th, 3, 8, "Still there?"))
	}
	direct := s.w.Messages(s.w.Direct("kim"), "")
	if len(direct) != 1 || !strings.Contains(direct[0].Shown, "Still there?") || len(direct[0].Buttons()) != 2 {
		t.Errorf("in direct messages: %+v", direct)
	}
	s.w.User("kim").AddApp("shop")
	s.says(t, s.out("k7mw2pd/7", th, flow.Notice, "six"))
}
