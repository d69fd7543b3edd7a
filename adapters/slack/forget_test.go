package slack

import (
	"bytes"
	"os"
	"path/filepath"
	"testing"

	"milepost/adapters/slack/workspace"
	"milepost/bot"
	"milepost/flow"
)

// lies says whether words lie in any byte of a directory.
func lies(t *testing.T, dir, words string) bool {
	t.Helper()
	found := false
	err := filepath.WalkDir(dir, func(path string, d os.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		b, err := os.ReadFile(path)
		found = found || bytes.Contains(b, []byte(words))
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return found
}

// After an erasure the words are in no byte of what is kept, and what is of others
// is still there; while it runs, and when it does not.
func TestForget(t *testing.T) {
	for _, running := range []bool{true, false} {
		for _, what := range []string{"job", "person"} {
			t.Run(map[bool]string{true: "running ", false: "not running "}[running]+what, func(t *testing.T) {
				r := listen(t, false, workspace.Options{})
				ctx := t.Context()
				thread, _ := r.begins("kim")
				other := threadName(r.w.Team(), r.w.Channel("shop"), "c1764000000")
				for _, x := range []struct {
					job string
					th  bot.Thread
					say string
				}{{"k7mw2pd", thread, "Zephyrine"}, {"aaaaaaa", other, "Ottoline"}} {
					r.card(x.th, x.job)
					out := bot.Outbound{Key: x.job + "/9", Network: NetworkName, Thread: x.th, Job: x.job, Log: 9, Asked: bot.Asked{Ask: 3},
						Reply: flow.Reply{Kind: flow.Prompt, Text: "Is it " + x.say + "?", Choices: []flow.Choice{{Label: "yes", Send: x.job + ".3.yes"}}}}
					if err := r.Send(ctx, out); err != nil {
						t.Fatal(err)
					}
					ts, _, _, _ := r.state.sentAs(ctx, out.Key)
					who := map[string]string{"k7mw2pd": "kim", "aaaaaaa": "sam"}[x.job]
					if err := r.state.tapped(ctx, r.w.Channel("shop"), ts, pick{User: r.w.User(who).ID(), Name: x.say, Send: x.job + ".3.yes"}); err != nil {
						t.Fatal(err)
					}
				}
				// What can't be read may be anybody's.
				if _, err := r.state.db.Exec("INSERT INTO inbox (key, lane, at, user, raw, came, state) VALUES ('b:1', '', '', '', CAST('Zephyrine raw' AS BLOB), 1, 1)"); err != nil {
					t.Fatal(err)
				}
				if !lies(t, r.cfg.Dir, "Zephyrine") || !lies(t, r.cfg.Dir, "Ottoline") || !lies(t, r.cfg.Dir, "U0KIM") {
					t.Fatal("the words are not kept to begin with")
				}
				s := r.Slack
				if !running {
					r.end()
					var err error
					if s, err = New(r.cfg); err != nil {
						t.Fatal(err)
					}
				}
				f := bot.Forgotten{Job: "k7mw2pd", Threads: []bot.Thread{thread}}
				if what == "person" {
					f = bot.Forgotten{People: []bot.Identity{Identity(r.w.Team(), "U0KIM")}}
				}
				if err := s.Forget(ctx, f); err != nil {
					t.Fatal(err)
				}
				if lies(t, r.cfg.Dir, "Zephyrine") {
					t.Error("erased words are still there")
				}
				if what == "person" && lies(t, r.cfg.Dir, "U0KIM") {
					t.Error("who was erased is still named")
				}
				if what == "job" && lies(t, r.cfg.Dir, "k7mw2pd") {
					t.Error("the erased job is still named")
				}
				if !lies(t, r.cfg.Dir, "Ottoline") {
					t.Error("what is of another job is gone")
				}
			})
		}
	}
	t.Run("nothing kept", func(t *testing.T) {
		w := workspace.New(t, workspace.Options{})
		s, err := New(speakConfig(t, w))
		if err != nil {
			t.Fatal(err)
		}
		if err := s.Forget(t.Context(), bot.Forgotten{Job: "k7mw2pd"}); err != nil {
			t.Error(err)
		}
		if _, err := os.Stat(filepath.Join(s.cfg.Dir, "slack.db")); err == nil {
			t.Error("a state was made where there was none")
		}
	})
}
