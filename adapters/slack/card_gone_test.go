package slack

import (
	"net/url"
	"strings"
	"testing"
	"time"

	"milepost/adapters/slack/workspace"
	"milepost/bot"
	"milepost/flow"
)

// cards are the posts below a root, itself included, that read as a card.
func (s *voice) cards(root string) (list []workspace.Message) {
	for _, m := range s.w.Messages("shop", root) {
		if m.App && m.Subtype == "" && strings.HasPrefix(m.Shown, "Unit 14") {
			list = append(list, m)
		}
	}
	return list
}

// card shows a state of the job's card.
func (s *voice) card(t *testing.T, n string, th bot.Thread) {
	t.Helper()
	s.says(t, s.out("k7mw2pd/"+n+"/card", th, flow.Card, "Unit 14\nstate "+n))
}

// reads awaits that one card stands below a root, and what it reads.
func (s *voice) reads(t *testing.T, root, words string) workspace.Message {
	t.Helper()
	if !s.w.Await(workspace.Patience, func() bool { c := s.cards(root); return len(c) > 0 && strings.Contains(c[len(c)-1].Shown, words) }) {
		t.Fatalf("cards: %+v\n%s", s.cards(root), s.log)
	}
	c := s.cards(root)
	if len(c) != 1 {
		t.Fatalf("%d cards", len(c))
	}
	return c[0]
}

// A card that was deleted stands in its thread anew, where the replies still are, and
// is changed there from then on.
func TestDeletedCard(t *testing.T) {
	s := speak(t, workspace.Options{NoRateLimit: true})
	th, root := s.opened(t)
	s.says(t, s.out("k7mw2pd/2", th, flow.Notice, "one"))
	s.w.User("sam").DeleteAny("shop", root.TS)
	s.card(t, "3", th)
	anew := s.reads(t, root.TS, "state 3")
	s.card(t, "4", th)
	if again := s.reads(t, root.TS, "state 4"); again.TS != anew.TS {
		t.Error("it is not changed in place")
	}
	s.says(t, s.out("k7mw2pd/5", th, flow.Notice, "two"))
	if list := s.w.Messages("shop", root.TS); list[len(list)-1].Shown != "two" {
		t.Errorf("in the thread: %+v", list)
	}
	s.w.User("sam").DeleteAny("shop", anew.TS)
	s.card(t, "6", th)
	if again := s.reads(t, root.TS, "state 6"); again.TS == anew.TS {
		t.Error("it is not posted anew")
	}
	if own := s.ownRoots(); len(own) != 0 {
		t.Errorf("in the channel: %+v", own)
	}
	if strings.Contains(s.log.String(), "can't be changed any more") {
		t.Error("a card is given up")
	}
	old := 0
	for _, c := range s.w.Calls("chat.update") {
		if c.Args.Get("ts") == root.TS {
			old++
		}
		if c.Args.Get("ts") == anew.TS && strings.Contains(c.Args.Get("metadata"), rowID(string(th))) {
			t.Error("a reply says that a thread hangs on it")
		}
	}
	if old != 1 {
		t.Errorf("the deleted card was to be changed %d times", old)
	}
}

// Where the thread takes nothing any more the card is a new first message.
func TestDeletedCardAlone(t *testing.T) {
	for _, replies := range []bool{false, true} {
		s := speak(t, workspace.Options{NoRateLimit: true, StrictTombstones: true})
		th, root := s.opened(t)
		if replies {
			s.says(t, s.out("k7mw2pd/2", th, flow.Notice, "one"))
		}
		s.w.User("sam").DeleteAny("shop", root.TS)
		s.card(t, "3", th)
		if !s.w.Await(workspace.Patience, func() bool { return len(s.ownRoots()) == 1 }) {
			t.Fatalf("no card\n%s", s.log)
		}
		anew := s.ownRoots()[0]
		s.reads(t, anew.TS, "state 3")
		s.card(t, "4", th)
		s.says(t, s.out("k7mw2pd/5", th, flow.Notice, "two"))
		s.reads(t, anew.TS, "state 4")
		if list := s.w.Messages("shop", anew.TS); len(list) != 2 || len(s.ownRoots()) != 1 {
			t.Errorf("in the new thread: %+v", list)
		}
	}
}

// It is posted once, though the answer is lost and the program ends before it could
// look what became of it.
func TestDeletedCardOnce(t *testing.T) {
	for _, f := range []workspace.Fault{{Cut: true, After: true}, {Status: 500, After: true}, {Cut: true}} {
		w := workspace.New(t, workspace.Options{NoRateLimit: true})
		cfg := speakConfig(t, w)
		cfg.Every = -1
		var th bot.Thread
		var root workspace.Message
		t.Run("ends", func(t *testing.T) {
			s := speakWith(t, w, cfg)
			th, root = s.opened(t)
			s.says(t, s.out("k7mw2pd/2", th, flow.Notice, "one"))
			w.User("sam").DeleteAny("shop", root.TS)
			f.Method = "chat.postMessage"
			f.Only = func(args url.Values) bool { return strings.Contains(args.Get("text"), "Unit 14") }
			w.Fault(f)
			w.Fault(workspace.Fault{Method: "conversations.replies", Times: -1, Status: 500})
			s.card(t, "3", th)
			if !w.Await(workspace.Patience, func() bool { return len(w.Calls("conversations.replies")) > 0 }) {
				t.Fatal("it is not looked for")
			}
		})
		w.Heal()
		t.Run("goes on", func(t *testing.T) {
			s := speakWith(t, w, cfg)
			s.card(t, "4", th)
			s.reads(t, root.TS, "state 4")
		})
	}
}

// What the card is to look like while it is being posted anew is not lost.
func TestDeletedCardOvertaken(t *testing.T) {
	for _, strict := range []bool{false, true} {
		s := speak(t, workspace.Options{NoRateLimit: true, StrictTombstones: strict})
		th, root := s.opened(t)
		s.says(t, s.out("k7mw2pd/2", th, flow.Notice, "one"))
		s.w.User("sam").DeleteAny("shop", root.TS)
		s.w.Fault(workspace.Fault{Method: "chat.postMessage", Delay: 500 * time.Millisecond,
			Only: func(args url.Values) bool { return !strict || args.Get("thread_ts") == "" }})
		done := make(chan struct{})
		go func() {
			defer close(done)
			if err := s.until(t, s.out("k7mw2pd/3/card", th, flow.Card, "Unit 14\nstate 3")); err != nil {
				t.Error(err)
			}
		}()
		time.Sleep(150 * time.Millisecond)
		s.card(t, "4", th)
		<-done
		at := root.TS
		if strict {
			if !s.w.Await(workspace.Patience, func() bool { return len(s.ownRoots()) == 1 }) {
				t.Fatalf("no card\n%s", s.log)
			}
			at = s.ownRoots()[0].TS
		}
		s.reads(t, at, "state 4")
	}
}
