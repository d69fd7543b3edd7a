package slack

import (
	"fmt"
	"net/url"
	"strings"
	"testing"

	"milepost/adapters/slack/workspace"
	"milepost/flow"
)

// The card that stands for a deleted one is posted once, whatever becomes of the
// answer, and though the program ended before it had it.
func TestNewRootOnce(t *testing.T) {
	for _, f := range []workspace.Fault{
		{Cut: true, After: true}, {Status: 500, After: true}, {Error: "internal_error", After: true}, {Cut: true}, {Status: 500},
	} {
		for _, ended := range []bool{false, true} {
			t.Run(fmt.Sprintf("%+v ended %v", f, ended), func(t *testing.T) {
				w := workspace.New(t, workspace.Options{NoRateLimit: true, StrictTombstones: true})
				cfg := speakConfig(t, w)
				cfg.Every = -1
				s := speakWith(t, w, cfg)
				th, root := s.opened(t)
				s.says(t, s.out("k7mw2pd/2", th, flow.Notice, "one"))
				w.User("sam").DeleteAny("shop", root.TS)
				f.Method = "chat.postMessage"
				f.Only = func(args url.Values) bool { return strings.Contains(args.Get("metadata"), `"thread"`) }
				w.Fault(f)
				out := s.out("k7mw2pd/3", th, flow.Notice, "two")
				if err := s.Send(t.Context(), out); err == nil {
					t.Fatal("nothing was disturbed")
				}
				if ended {
					s = speakWith(t, w, cfg)
				}
				s.says(t, out)
				s.says(t, s.out("k7mw2pd/4", th, flow.Notice, "three"))
				var cards []workspace.Message
				for _, m := range w.Messages("shop", "") {
					if m.App && m.Subtype == "" {
						cards = append(cards, m)
					}
				}
				if len(cards) != 1 {
					t.Fatalf("%d cards", len(cards))
				}
				var got []string
				for _, m := range w.Messages("shop", cards[0].TS) {
					got = append(got, m.Shown)
				}
				if strings.Join(got, "|") != "Unit 14|two|three" {
					t.Errorf("the new thread holds %q", got)
				}
			})
		}
	}
}
