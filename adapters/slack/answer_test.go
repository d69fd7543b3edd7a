package slack

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"milepost/adapters/slack/workspace"
	"milepost/bot"
	"milepost/flow"
)

// asking is a prompt with two choices, question number ask.
func (s *voice) asking(key string, th bot.Thread, ask int, log int64, text string) bot.Outbound {
	o := s.out(key, th, flow.Prompt, text, yesNo(ask)...)
	o.Log, o.Reply.Seq, o.Asked = log, log, bot.Asked{Ask: ask, Question: flow.QOnly}
	return o
}

// taps is what the inbound side does with a press before the core judges it.
func (s *voice) taps(t *testing.T, ts, who, name, send string) {
	t.Helper()
	if err := s.state.tapped(t.Context(), s.w.Channel("shop"), ts, s.w.User(who).ID(), name, send); err != nil {
		t.Fatal(err)
	}
}

func (s *voice) opened(t *testing.T) (bot.Thread, workspace.Message) {
	t.Helper()
	th := s.begins("kim", "unit 14")
	s.says(t, s.out("k7mw2pd/1/card", th, flow.Card, "Unit 14"))
	return th, s.w.Messages("shop", "")[1]
}

func (s *voice) awaits(t *testing.T, ts string, want func(workspace.Message) bool) workspace.Message {
	t.Helper()
	var m workspace.Message
	if !s.w.Await(5*time.Second, func() bool { m, _ = s.w.Message("shop", ts); return want(m) }) {
		t.Fatalf("shown at last: %q %q %s", m.Shown, m.Buttons(), m.Blocks)
	}
	return m
}

func TestButtonsGiveWay(t *testing.T) {
	s := speak(t, workspace.Options{NoRateLimit: true})
	th, root := s.opened(t)
	s.says(t, s.asking("k7mw2pd/2", th, 1, 2, "Only in this module?"))
	asked := s.w.Messages("shop", root.TS)[1]

	s.taps(t, asked.TS, "kim", "Kim <b>", "k7mw2pd.1.yes")
	s.says(t, s.asking("k7mw2pd/4", th, 2, 4, "And never changed before?"))
	m := s.awaits(t, asked.TS, func(m workspace.Message) bool { return len(m.Buttons()) == 0 })
	if want := "Only in this module?\n✔ yes · Kim <b>"; m.Shown != want {
		t.Errorf("it reads %q, want %q", m.Shown, want)
	}
	if !strings.Contains(string(m.Blocks), "✔ yes") {
		t.Errorf("the blocks do not say what was chosen: %s", m.Blocks)
	}
	if n := len(s.w.Messages("shop", root.TS)); n != 3 {
		t.Errorf("%d messages in the thread", n)
	}
}

// What did not answer changes nothing: a choice of somebody who may not, a
// question that is put again, a message of an earlier turn.
func TestButtonsStay(t *testing.T) {
	s := speak(t, workspace.Options{NoRateLimit: true})
	th, root := s.opened(t)
	s.says(t, s.asking("k7mw2pd/2", th, 1, 2, "Only in this module?"))
	asked := s.w.Messages("shop", root.TS)[1]

	s.taps(t, asked.TS, "sam", "Sam", "k7mw2pd.1.yes")
	refused := s.out("k7mw2pd/3", th, flow.Refusal, "That is for the technician.")
	refused.Log, refused.By, refused.Asked.Ask = 3, "x", 1
	refused.Reply.To = []flow.Who{"x"}
	refused.Users = map[flow.Who]bot.Identity{"x": Identity(s.w.Team(), s.w.User("sam").ID())}
	s.says(t, refused)
	late := s.out("k7mw2pd/1", th, flow.Notice, "of an earlier turn")
	late.Log = 1
	s.says(t, late)
	time.Sleep(50 * time.Millisecond)
	if m, _ := s.w.Message("shop", asked.TS); len(m.Buttons()) != 2 {
		t.Fatalf("the buttons are gone: %s", m.Blocks)
	}

	// Kim answers by words: the choice of Sam was none.
	s.says(t, s.asking("k7mw2pd/5", th, 2, 5, "And never changed before?"))
	m := s.awaits(t, asked.TS, func(m workspace.Message) bool { return len(m.Buttons()) == 0 })
	if m.Shown != "Only in this module?" {
		t.Errorf("it reads %q", m.Shown)
	}
}

// A typed number or label is a choice as well, and of a question put again the
// earlier post gives way without one.
func TestTypedChoice(t *testing.T) {
	s := speak(t, workspace.Options{NoRateLimit: true})
	th, root := s.opened(t)
	for i, typed := range []string{"2", "No", "something else", "2"} {
		ask := 2*i + 1
		s.says(t, s.asking(fmt.Sprintf("k7mw2pd/%d", 10+2*i), th, ask, int64(10+4*i), fmt.Sprintf("Question %d?", i)))
		all := s.w.Messages("shop", root.TS)
		asked := all[len(all)-1]
		if err := s.state.typed(t.Context(), string(th), s.w.User("kim").ID(), "Kim", typed); err != nil {
			t.Fatal(err)
		}
		next := s.asking(fmt.Sprintf("k7mw2pd/%d", 11+2*i), th, ask+1, int64(12+4*i), "And then?")
		if i == 3 {
			next.Reply.Text = "Question 3?" // stale: put again
		}
		s.says(t, next)
		m := s.awaits(t, asked.TS, func(m workspace.Message) bool { return len(m.Buttons()) == 0 })
		want := fmt.Sprintf("Question %d?", i)
		if i < 2 {
			want += "\n✔ no · Kim"
		}
		if m.Shown != want {
			t.Errorf("after %q it reads %q, want %q", typed, m.Shown, want)
		}
	}
}

// While somebody drives the same question stays open: "go" gives way, the form
// does not, until there is another question.
func TestFormOutlastsGo(t *testing.T) {
	s := speak(t, workspace.Options{NoRateLimit: true})
	th, root := s.opened(t)
	brief := s.out("k7mw2pd/2", th, flow.Prompt, "GPS 30, then 50.", flow.Choice{Label: "go", Send: "k7mw2pd.7.go"})
	brief.Log, brief.Asked = 2, bot.Asked{Ask: 7, Question: flow.QDrive}
	s.says(t, brief)
	asked := s.w.Messages("shop", root.TS)[1]
	if got := asked.Buttons(); len(got) != 2 || got[0] != "go" || got[1] != sayForm {
		t.Fatalf("buttons %q", got)
	}
	s.taps(t, asked.TS, "kim", "Kim", "k7mw2pd.7.go")
	safe := s.out("k7mw2pd/4", th, flow.Notice, "Safe drive.")
	safe.Log, safe.Asked = 4, brief.Asked
	s.says(t, safe)
	s.awaits(t, asked.TS, func(m workspace.Message) bool {
		b := m.Buttons()
		return len(b) == 1 && b[0] == sayForm && strings.Contains(m.Shown, "✔ go · Kim")
	})
	s.says(t, s.asking("k7mw2pd/6", th, 8, 6, "Codes and lamps?"))
	s.awaits(t, asked.TS, func(m workspace.Message) bool { return len(m.Buttons()) == 0 })
}

// Whoever must answer and has not just spoken is called, by user id; whoever is
// here is not, and notices call nobody.
func TestWhoIsCalled(t *testing.T) {
	s := speak(t, workspace.Options{NoRateLimit: true})
	th, _ := s.opened(t)
	here := s.asking("k7mw2pd/2", th, 1, 2, "Kim is here?")
	s.says(t, here)
	for i, by := range []flow.Who{"", "x"} {
		o := s.asking(fmt.Sprintf("k7mw2pd/%d", 4+i), th, 2+i, int64(4+i), "Kim must answer")
		o.By = by
		s.says(t, o)
	}
	note := s.out("k7mw2pd/8", th, flow.Notice, "Kim is told")
	note.By = "x"
	s.says(t, note)
	hostile := s.asking("k7mw2pd/9", th, 9, 9, "Who?")
	hostile.By, hostile.Users = "x", map[flow.Who]bot.Identity{"w": "slack:T0SHOP/!channel"}
	s.says(t, hostile)
	if got := s.w.Alerted("kim"); len(got) != 2 {
		t.Errorf("kim is called %d times, want twice: %q", len(got), got)
	}
}
