package slack

import (
	"context"
	"fmt"
	"strings"
	"sync"
	"testing"
	"time"

	"milepost/adapters/slack/workspace"
	"milepost/bot"
	"milepost/flow"
)

// board is a shop's board for tests: kim sees all, others what is theirs.
type board struct {
	mu   sync.Mutex
	rows []bot.Row
	kim  bot.Identity
	own  map[bot.Identity][]bot.Row
}

func (b *board) Home(_ context.Context, id bot.Identity) (bot.Home, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if id == b.kim {
		return bot.Home{Rows: append([]bot.Row(nil), b.rows...), Whole: true}, nil
	}
	return bot.Home{Rows: b.own[id]}, nil
}

func boardRow(job, vehicle string, flags ...string) bot.Row {
	return bot.Row{Job: job, Vehicle: vehicle, Phase: flow.PhaseBackup, Name: "Kim", Since: time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC), Value: "2438 mm", Flags: flags}
}

// The board is published to who looked at it, and again when it has changed: at
// most once in five seconds, and only the latest.
func TestHomeView(t *testing.T) {
	w := workspace.New(t, workspace.Options{NoRateLimit: true})
	b := &board{rows: []bot.Row{boardRow("k7mw2pd", "unit 14", "new_codes"), boardRow("aaaaaaa", "<!channel> *unit* 15")}, kim: Identity(w.Team(), w.User("kim").ID())}
	b.own = map[bot.Identity][]bot.Row{Identity(w.Team(), w.User("sam").ID()): {boardRow("k7mw2pd", "unit 14")}}
	cfg := speakConfig(t, w)
	cfg.Every, cfg.Boards = -1, b
	s := speakWith(t, w, cfg)
	th, root := s.opened(t)
	if _, ok := w.Home("kim"); ok {
		t.Fatal("published to somebody who never looked")
	}
	s.homeOpened(w.User("kim").ID())
	s.homeOpened(w.User("sam").ID())
	s.homeOpened(w.User("gail").ID())
	shows := func(who string, words ...string) bool {
		v, _ := w.Home(who)
		for _, x := range words {
			if !strings.Contains(string(v.Content), x) {
				return false
			}
		}
		return true
	}
	link := "https://shop.example/archives/" + w.Channel("shop") + "/p" + strings.Replace(root.TS, ".", "", 1)
	if !w.Await(workspace.Patience, func() bool { return shows("kim", sayShop, "unit 14", "unit* 15", "⚑", link) }) {
		v, _ := w.Home("kim")
		t.Fatalf("kim's home: %s", v.Content)
	}
	if !w.Await(workspace.Patience, func() bool { return shows("sam", sayMine, "unit 14") && shows("gail", sayMine, sayNoJobs) }) || shows("sam", "unit* 15") {
		v, _ := w.Home("sam")
		t.Fatalf("sam's home: %s", v.Content)
	}
	v, _ := w.Home("kim")
	t.Logf("%s", v.Content)

	before := len(w.Calls("views.publish"))
	for i := range 30 {
		b.mu.Lock()
		b.rows[0].Value = fmt.Sprintf("%d mm", 2438+i)
		b.mu.Unlock()
		o := s.out(fmt.Sprintf("k7mw2pd/%d/card", 10+i), th, flow.Card, fmt.Sprintf("Unit 14\nstate %d", i))
		s.says(t, o)
	}
	if !w.Await(workspace.Patience, func() bool { return shows("kim", "2467 mm") }) {
		t.Error("the last state of the board is not shown")
	}
	calls := w.Calls("views.publish")[before:]
	t.Logf("30 changes, published %d times", len(calls))
	last := map[string]time.Time{}
	for _, c := range calls {
		u := c.Args.Get("user_id")
		if d := c.At.Sub(last[u]); d < homeEvery {
			t.Errorf("published to %s again after %v", u, d)
		}
		last[u] = c.At
	}
	if last[w.User("sam").ID()] != (time.Time{}) {
		t.Error("sam's view was published anew, and nothing in it has changed")
	}
	if n := len(w.Calls("chat.getPermalink")); n != 1 {
		t.Errorf("one thread's link was asked for %d times", n)
	}
}
