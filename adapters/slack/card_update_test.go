package slack

import (
	"strings"
	"testing"

	"milepost/adapters/slack/workspace"
	"milepost/flow"
)

// A post that is changed keeps what it is found again by, and its words stay words.
func TestChangedPost(t *testing.T) {
	s := speak(t, workspace.Options{NoRateLimit: true})
	th, root := s.opened(t)
	s.says(t, s.asking("k7mw2pd/2", th, 1, 2, "Is it www.example.org/x or https://example.org/y?"))
	asked := s.w.Messages("shop", root.TS)[1]
	s.says(t, s.asking("k7mw2pd/4", th, 2, 4, "And then?"))
	s.says(t, s.out("k7mw2pd/5/card", th, flow.Card, "Unit 14\nbackup, see https://example.org/z"))
	s.awaits(t, asked.TS, func(m workspace.Message) bool { return len(m.Buttons()) == 0 })
	s.awaits(t, root.TS, func(m workspace.Message) bool { return strings.Contains(m.Shown, "backup") })
	rows := map[string]string{asked.TS: rowID("k7mw2pd/2"), root.TS: rowID("k7mw2pd/1/card")}
	if !s.w.Await(workspace.Patience, func() bool { return len(s.w.Calls("chat.update")) >= 2 }) {
		t.Fatal("nothing is changed")
	}
	for _, c := range s.w.Calls("chat.update") {
		meta, card := c.Args.Get("metadata"), c.Args.Get("ts") == root.TS
		if !strings.Contains(meta, rows[c.Args.Get("ts")]) || strings.Contains(meta, rowID(string(th))) != card {
			t.Errorf("metadata %s of the card %v", meta, card)
		}
	}
	// And that is what finds them, once the notes are lost.
	if _, err := s.state.db.Exec("DELETE FROM root"); err != nil {
		t.Fatal(err)
	}
	s.says(t, s.out("k7mw2pd/6", th, flow.Notice, "in the thread"))
	if list := s.w.Messages("shop", root.TS); list[len(list)-1].Shown != "in the thread" {
		t.Errorf("in the thread: %+v", list)
	}
}
