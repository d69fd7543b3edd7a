package slack

import (
	"strings"
	"testing"

	"milepost/adapters/slack/workspace"
	"milepost/bot"
)

// Check names what is wrong and what to do, and changes nothing.
func TestCheck(t *testing.T) {
	for _, c := range []struct {
		name  string
		with  func(*workspace.Workspace, *Config)
		bad   []string // words of the findings that are not well, in order
		mends []string
	}{
		{"all well", func(*workspace.Workspace, *Config) {}, nil, nil},
		{"scopes", func(w *workspace.Workspace, _ *Config) { w.DropScope("files:write"); w.DropScope("im:write") },
			[]string{"scope files:write is missing: needed for files.getUploadURLExternal, files.completeUploadExternal", "scope im:write is missing: needed for conversations.open"},
			[]string{"reinstall", "reinstall"}},
		{"channels", func(w *workspace.Workspace, c *Config) {
			w.User("kim").Archive("bay")
			c.Patterns = []string{w.Channel("shop"), w.Team() + "/" + w.Channel("yard"), w.Channel("office"), w.Channel("bay"), "#shop"}
		}, []string{"not in channel", "not there, or private", "is archived", "is no id"}, []string{"/invite", "/invite", "unarchive", "the channel's id"}},
		{"where something is said", func(w *workspace.Workspace, c *Config) {
			w.User("kim").Archive("bay")
			c.Patterns = []string{w.Channel("shop")}
			c.Posts = []string{w.Team() + "/" + w.Channel("shop"), w.Team() + "/" + w.Channel("yard"), w.Team() + "/" + w.Channel("bay"), "T0FAR/C0FAR", w.Channel("office")}
		}, []string{"not in channel C0YARD (yard), which is sent alerts or the digest", "C0BAY (bay), which is sent alerts or the digest, is archived",
			"T0FAR/C0FAR, which is sent alerts or the digest, is of another workspace", "C0OFFICE, which is sent alerts or the digest, is not there, or private"},
			[]string{"/invite", "unarchive", "workspace T0SHOP", "/invite"}},
		{"revoked", func(w *workspace.Workspace, _ *Config) { w.RevokeToken("token_revoked") },
			[]string{"bot token refused: token_revoked", "app token refused: token_revoked"}, []string{"install the app again", "app-level token"}},
		{"wrong app token", func(_ *workspace.Workspace, c *Config) { c.AppToken = "xapp-1-wrong" }, []string{"app token refused: invalid_auth"}, []string{"connections:write"}},
		{"bot token for app token", func(w *workspace.Workspace, c *Config) { c.AppToken = "xapp-" + w.BotToken() }, []string{"app token refused"}, []string{"app-level token"}},
		{"other workspace", func(_ *workspace.Workspace, c *Config) { c.Team = "T0FAR" }, []string{"the configured workspace is T0FAR"}, []string{"team = T0SHOP"}},
		{"over HTTP", func(w *workspace.Workspace, c *Config) {
			c.EventsAddr, c.SigningSecret, c.AppToken = "127.0.0.1:0", w.SigningSecret(), ""
		}, nil, nil},
		{"down", func(w *workspace.Workspace, _ *Config) { w.Down() }, []string{"auth.test with the bot token", "auth.test with the app token"}, []string{"reaches", "reaches"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			w := workspace.New(t, workspace.Options{})
			cfg := speakConfig(t, w)
			c.with(w, &cfg)
			s, err := New(cfg)
			if err != nil {
				t.Fatal(err)
			}
			var bad []bot.Finding
			all := s.Check(t.Context())
			for _, f := range all {
				if !f.OK {
					bad = append(bad, f)
				}
				if (f.Mend == "") != f.OK || f.Area != NetworkName || strings.ContainsAny(f.What, "\n") {
					t.Errorf("finding %+v", f)
				}
				for _, secret := range []string{w.BotToken(), w.AppToken(), w.SigningSecret()} {
					if strings.Contains(f.What+f.Mend, secret) {
						t.Error("a finding holds a secret")
					}
				}
			}
			if len(bad) != len(c.bad) || len(all) == 0 {
				t.Fatalf("found %+v, want %q to be wrong", all, c.bad)
			}
			for i, f := range bad {
				if !strings.Contains(f.What, c.bad[i]) || !strings.Contains(f.Mend, c.mends[i]) {
					t.Errorf("found %q, mend %q; want %q, %q", f.What, f.Mend, c.bad[i], c.mends[i])
				}
			}
			for _, call := range w.Calls("") {
				if call.Method != "auth.test" && call.Method != "conversations.info" {
					t.Errorf("check called %s", call.Method)
				}
			}
		})
	}
}
