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

// taps is what the inbound side does with a press before the core judges it: the
// delivery is named by who presses what.
func (s *voice) taps(t *testing.T, ts, who, name, send string) {
	t.Helper()
	by := pick{User: s.w.User(who).ID(), Name: name, Send: send, Delivery: who + "/" + send}
	if err := s.state.tapped(t.Context(), s.w.Channel("shop"), ts, by); err != nil {
		t.Fatal(err)
	}
}

// types is the same for what is typed; the delivery is named by it.
func (s *voice) types(t *testing.T, th bot.Thread, who, name, text string) {
	t.Helper()
	by := pick{User: s.w.User(who).ID(), Name: name, Delivery: who + "/" + text}
	if err := s.state.typed(t.Context(), string(th), text, by); err != nil {
		t.Fatal(err)
	}
}

// after makes a message one that follows from a delivery, which the open question
// was answered by if it names a choice.
func after(o bot.Outbound, delivery, took string) bot.Outbound {
	o.After, o.Took = delivery, took
	return o
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
	if !s.w.Await(workspace.Patience, func() bool { m, _ = s.w.Message("shop", ts); return want(m) }) {
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
	s.says(t, after(s.asking("k7mw2pd/4", th, 2, 4, "And never changed before?"), "kim/k7mw2pd.1.yes", "yes"))
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
	refused.Log, refused.By, refused.Asked.Ask, refused.After = 3, "x", 1, "sam/k7mw2pd.1.yes"
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

	// Kim answers by the same words: the choice of Sam was none.
	s.says(t, after(s.asking("k7mw2pd/5", th, 2, 5, "And never changed before?"), "kim/YES", "yes"))
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
		s.types(t, th, "kim", "Kim", typed)
		next := after(s.asking(fmt.Sprintf("k7mw2pd/%d", 11+2*i), th, ask+1, int64(12+4*i), "And then?"), "kim/"+typed, "no")
		if i == 3 {
			next.Reply.Text, next.Took = "Question 3?", "" // stale: put again
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

// A number typed to a checklist opens that line, and is no choice's; so is a sign
// with a number. The choice has its words and the tick.
func TestChecklistNumbers(t *testing.T) {
	s := speak(t, workspace.Options{NoRateLimit: true})
	th, root := s.opened(t)
	list := s.out("k7mw2pd/2", th, flow.Prompt, "All of these.\n1 no lamp\n2 no codes", flow.Choice{Label: "all yes", Send: "k7mw2pd.1.all_yes"})
	list.Log, list.Asked = 2, bot.Asked{Ask: 1, Question: flow.QBefore}
	s.says(t, list)
	// Another whose text has no numbers, and to which one is an answer all the same.
	th2 := s.begins("sam", "unit 15")
	s.says(t, s.out("aaaaaaa/1/card", th2, flow.Card, "Unit 15"))
	depth := s.out("aaaaaaa/2", th2, flow.Prompt, "Tread new and now?", flow.Choice{Label: "as new", Send: "aaaaaaa.1.as_new"})
	depth.Log, depth.Asked = 2, bot.Asked{Ask: 1, Question: flow.QTread}
	s.says(t, depth)
	for _, x := range []struct {
		th         bot.Thread
		send, then string
	}{{th, "k7mw2pd.1.all_yes", "k7mw2pd/4"}, {th2, "aaaaaaa.1.as_new", "aaaaaaa/4"}} {
		asked, _, _, err := s.state.sentAs(t.Context(), x.then[:8]+"2")
		if err != nil {
			t.Fatal(err)
		}
		r, ok, err := s.state.shownAt(t.Context(), s.w.Channel("shop"), asked)
		if err != nil || !ok {
			t.Fatalf("%v %v", ok, err)
		}
		m, _ := s.w.Message("shop", asked)
		if strings.Contains(m.Text, "\n1 a") || !strings.Contains(m.Text, "\n["+r.post.Choices[0].Label+"]") {
			t.Errorf("it reads %q", m.Text)
		}
		for sign, want := range map[string]bool{"one": false, "white_check_mark": true} {
			if _, ok := chosen(r.post.Choices, r.post.Bare, sign); ok != want {
				t.Errorf("%s chooses: %v", sign, ok)
			}
		}
		s.types(t, x.th, "kim", "Kim", "1")
		next := s.asking(x.then, x.th, 2, 4, "1: all lamps off?")
		next.After, next.Took = "kim/1", flow.TapChoice(x.send) // even so
		s.says(t, next)
		if m := s.awaits(t, asked, func(m workspace.Message) bool { return len(m.Buttons()) == 0 }); strings.Contains(m.Shown, "✔") {
			t.Errorf("it reads %q", m.Shown)
		}
	}
	_ = root
}

// Somebody answers by a button, and types before the next question is out: what
// is typed is no second answer to the first, and does not stand under it.
func TestTypedTooSoon(t *testing.T) {
	s := speak(t, workspace.Options{NoRateLimit: true})
	th, root := s.opened(t)
	s.says(t, s.asking("k7mw2pd/2", th, 1, 2, "In the bay?"))
	asked := s.w.Messages("shop", root.TS)[1]
	s.taps(t, asked.TS, "kim", "Kim", "k7mw2pd.1.no")
	s.types(t, th, "kim", "Kim", "1")
	s.says(t, after(s.asking("k7mw2pd/4", th, 2, 4, "Never changed?"), "kim/k7mw2pd.1.no", "no"))
	m := s.awaits(t, asked.TS, func(m workspace.Message) bool { return len(m.Buttons()) == 0 })
	if want := "In the bay?\n✔ no · Kim"; m.Shown != want {
		t.Errorf("it reads %q, want %q", m.Shown, want)
	}
	// And what is too late for the question leaves no tick either.
	second := s.w.Messages("shop", root.TS)[2]
	s.types(t, th, "kim", "Kim", "2")
	late := after(s.out("k7mw2pd/6", th, flow.Notice, "That was written before I asked."), "kim/2", "")
	late.Log, late.Asked.Ask = 6, 3
	s.says(t, late)
	if m := s.awaits(t, second.TS, func(m workspace.Message) bool { return len(m.Buttons()) == 0 }); m.Shown != "Never changed?" {
		t.Errorf("it reads %q", m.Shown)
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
	safe := after(s.out("k7mw2pd/4", th, flow.Notice, "Safe drive."), "kim/k7mw2pd.7.go", "go")
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
