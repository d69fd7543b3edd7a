package slack

import (
	"bytes"
	"net/url"
	"strings"
	"testing"

	"milepost/adapters/slack/workspace"
	"milepost/flow"
)

// A message of several posts and a file, below a card that is gone: all of it stands
// below the one new card.
func TestRestBelowNewRoot(t *testing.T) {
	for _, textIsOut := range []bool{false, true} {
		w, s, store := speakFiles(t, workspace.Options{StrictTombstones: true})
		th, root := s.opened(t)
		out := s.out("k7mw2pd/2", th, flow.Notice, manyWords)
		out.Reply.Files = []flow.FileRef{store.add("sheet.pdf", "application/pdf", bytes.Repeat([]byte("x"), 100))}
		want := len(split(s.post(&out))) + 1
		if want < 4 {
			t.Fatalf("only %d posts", want)
		}
		if textIsOut {
			w.Fault(workspace.Fault{Method: "files.getUploadURLExternal", Status: 500})
			if err := s.Send(t.Context(), out); err == nil {
				t.Fatal("nothing was disturbed")
			}
			want = 1
		}
		w.User("sam").DeleteAny("shop", root.TS)
		s.says(t, out)
		cards := s.ownRoots()
		if len(cards) != 1 || cards[0].Shown != "Unit 14" {
			t.Fatalf("in the channel: %+v", cards)
		}
		below := w.Messages("shop", cards[0].TS)[1:]
		if len(below) != want || len(below[len(below)-1].Files) != 1 {
			t.Errorf("%d posts below the new card, want %d", len(below), want)
		}
		if n := strings.Count(s.log.String(), "begins anew"); n != 1 {
			t.Errorf("it is logged %d times", n)
		}
		if ts, err := s.state.rootOf(t.Context(), string(th)); err != nil || ts != cards[0].TS {
			t.Errorf("the thread hangs on %q, %v", ts, err)
		}
	}
}

var manyWords = strings.TrimSpace(strings.Repeat("A sentence of the notice. ", 320))

// ownRoots are our messages in the channel that hang on nothing.
func (s *voice) ownRoots() (list []workspace.Message) {
	for _, m := range s.w.Messages("shop", "") {
		if m.App && m.Subtype == "" {
			list = append(list, m)
		}
	}
	return list
}

// A first message that is not the thread's any more takes nothing of the new one away.
func TestOldRootIsGone(t *testing.T) {
	s := speak(t, workspace.Options{NoRateLimit: true})
	th, root := s.opened(t)
	old := aim{channel: s.w.Channel("shop"), root: "1.000001", thread: string(th), job: "k7mw2pd"}
	if err := s.newRoot(t.Context(), &old); err != nil || old.root != root.TS {
		t.Errorf("it goes to %q, %v", old.root, err)
	}
	if _, err := s.state.db.Exec("DELETE FROM shown"); err != nil {
		t.Fatal(err)
	}
	if _, _, err := s.state.uproot(t.Context(), string(th), "1.000001"); err != nil {
		t.Fatal(err)
	}
	if ts, err := s.state.rootOf(t.Context(), string(th)); err != nil || ts != root.TS {
		t.Errorf("the thread hangs on %q, %v", ts, err)
	}
}

// Where the card is not known all of it hangs on the message that began the job, and
// where that is gone too on its own first post, and nothing stands there twice.
func TestRestWithoutCard(t *testing.T) {
	for _, began := range []bool{true, false} {
		for _, f := range []workspace.Fault{{}, {Cut: true, After: true}} {
			s := speak(t, workspace.Options{NoRateLimit: true})
			th, root := s.opened(t)
			_, _, first := splitThread(th)
			if _, err := s.state.db.Exec("DELETE FROM shown"); err != nil {
				t.Fatal(err)
			}
			s.w.User("sam").DeleteAny("shop", root.TS)
			if !began {
				s.w.User("sam").DeleteAny("shop", first)
			}
			if f.Cut {
				f.Method = "chat.postMessage"
				f.Only = func(args url.Values) bool {
					return args.Get("thread_ts") != root.TS && (began || args.Get("thread_ts") == "")
				}
				s.w.Fault(f)
			}
			out := s.out("k7mw2pd/2", th, flow.Notice, manyWords)
			n := len(split(s.post(&out)))
			s.says(t, out)
			if posts := s.w.Posts("shop"); len(posts) != n+1 {
				t.Errorf("%d posts, want the card and %d", len(posts), n)
			}
			if own := s.ownRoots(); began && len(own) != 0 || !began && len(own) == 0 {
				t.Errorf("began %v: %d in the channel", began, len(own))
			}
			if began && len(s.w.Messages("shop", first)) != n+1 {
				t.Errorf("%d below what began it", len(s.w.Messages("shop", first))-1)
			}
			if own := s.ownRoots(); !began && !f.Cut && len(s.w.Messages("shop", own[0].TS)) != n {
				t.Errorf("%d with the first post, want %d", len(s.w.Messages("shop", own[0].TS)), n)
			}
		}
	}
}
