package slack

import (
	"fmt"
	"slices"
	"testing"
	"time"

	"milepost/adapters/slack/workspace"
	"milepost/bot"
)

// crowd is a workspace in which fourteen people look at a board.
func crowd(t *testing.T) (*voice, *board, []string) {
	w := workspace.New(t, workspace.Options{})
	b := &board{own: map[bot.Identity][]bot.Row{}}
	var people []string
	for i := range 14 {
		people = append(people, w.AddPerson(workspace.Person{Name: fmt.Sprintf("looker%d", i)}))
	}
	cfg := speakConfig(t, w)
	cfg.Boards = b
	s := speakWith(t, w, cfg)
	b.turn(w.Team(), people, 0)
	return s, b, people
}

// turn makes the board another one for all.
func (b *board) turn(team string, people []string, n int) {
	b.mu.Lock()
	defer b.mu.Unlock()
	for _, u := range people {
		b.own[Identity(team, u)] = []bot.Row{boardRow("k7mw2pd", fmt.Sprintf("unit %d", n))}
	}
}

// Fourteen people look and the board never rests: Slack is asked once a second, all
// have their turn, and who has just looked is next.
func TestHomePace(t *testing.T) {
	s, b, people := crowd(t)
	start := time.Now()
	for _, u := range people {
		s.homeOpened(u)
	}
	stop := make(chan struct{})
	defer close(stop)
	go func() {
		for n := 1; ; n++ {
			select {
			case <-stop:
				return
			case <-time.After(20 * time.Millisecond):
			}
			b.turn(s.w.Team(), people, n)
			s.mouth.homes.changed()
		}
	}()
	calls := func() []workspace.Call { return s.w.Calls("views.publish") }
	if !s.w.Await(workspace.Patience, func() bool { return len(calls()) > len(people) }) {
		t.Fatalf("published %d times", len(calls()))
	}
	late := s.w.AddPerson(workspace.Person{Name: "late"})
	before := len(calls())
	s.homeOpened(late)
	if !s.w.Await(workspace.Patience, func() bool { return len(calls()) >= len(people)+3 }) {
		t.Fatalf("published %d times", len(calls()))
	}
	all := calls()
	var users []string
	for i, c := range all {
		users = append(users, c.Args.Get("user_id"))
		if i >= homeBurst {
			if d, least := c.At.Sub(start), time.Duration(i-homeBurst+1)*homePace-10*time.Millisecond; d < least {
				t.Errorf("call %d came after %v", i, d)
			}
		}
	}
	if i := slices.Index(users, late); i < before || i > before+1 {
		t.Errorf("who has just looked is number %d, after %d", i, before)
	}
	for i, u := range users[:len(people)] {
		if slices.Contains(users[:i], u) {
			t.Errorf("%s is served again before all were", u)
		}
	}
}

// What can't be published is tried each time later, and so is all while Slack asks to
// be left alone.
func TestHomeFails(t *testing.T) {
	var h homes
	h.init(0)
	now := time.Now()
	h.opened("U1", now)
	last := time.Duration(0)
	for i := range 12 {
		u, _ := h.take(now)
		if u != "U1" {
			t.Fatalf("try %d: nobody's turn", i)
		}
		h.done(u, true, errNoAnswer)
		_, next := h.take(time.Now())
		if next < last-time.Second || next > homeMost {
			t.Errorf("pause %v after %v", next, last)
		}
		last, now = next, time.Now().Add(next+time.Second)
	}
	if last < homeMost-time.Minute {
		t.Errorf("at last the pause is %v", last)
	}
}

// The turn is whose view is the oldest, but first of who looks now.
func TestHomeTurns(t *testing.T) {
	var h homes
	h.init(0)
	now := time.Now()
	turns := func() (users string) {
		for {
			u, _ := h.take(now)
			if u == "" {
				return users
			}
			h.done(u, true, nil)
			users += u
			now = now.Add(time.Millisecond)
		}
	}
	for _, u := range []string{"c", "a", "b"} {
		h.opened(u, now)
		now = now.Add(time.Millisecond)
	}
	if got := turns(); got != "cab" {
		t.Errorf("as they looked: %s", got)
	}
	for _, x := range []struct{ looks, want string }{{"", "cab"}, {"b", "bca"}, {"", "bca"}} {
		now = now.Add(homeEvery)
		h.changed()
		if x.looks != "" {
			h.opened(x.looks, now)
		}
		if got := turns(); got != x.want {
			t.Errorf("%q looks: %s, want %s", x.looks, got, x.want)
		}
	}
}
