package slack

import (
	"encoding/json"
	"go/ast"
	"go/parser"
	"go/token"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// called are the library's functions by the method that each calls (slack-go
// v0.35.0). Those that call none are "".
var called = map[string]string{
	"AuthTestContext": "auth.test", "PostMessageContext": "chat.postMessage", "UpdateMessageContext": "chat.update",
	"PostEphemeralContext": "chat.postEphemeral",
	"GetPermalinkContext":  "chat.getPermalink", "GetConversationHistoryContext": "conversations.history",
	"GetConversationRepliesContext": "conversations.replies", "GetConversationInfoContext": "conversations.info", "GetUsersInConversationContext": "conversations.members",
	"OpenConversationContext": "conversations.open", "GetUserInfoContext": "users.info", "GetFileInfoContext": "files.info",
	"GetUploadURLExternalContext": "files.getUploadURLExternal", "CompleteUploadExternalContext": "files.completeUploadExternal",
	"UploadToURL": "", "OpenViewContext": "views.open", "PublishViewContext": "views.publish",
}

var methodName = regexp.MustCompile(`^(admin|apps|auth|bots|chat|conversations|dnd|emoji|files|pins|reactions|search|team|users|usergroups|views)\.[a-zA-Z.]+$`)

// sources calls f for every node of this package's program.
func sources(t *testing.T, f func(ast.Node)) {
	t.Helper()
	paths, err := filepath.Glob("*.go")
	if err != nil || len(paths) < 10 {
		t.Fatalf("%d sources, %v", len(paths), err)
	}
	for _, p := range paths {
		if strings.HasSuffix(p, "_test.go") {
			continue
		}
		file, err := parser.ParseFile(token.NewFileSet(), p, nil, 0)
		if err != nil {
			t.Fatal(err)
		}
		ast.Inspect(file, func(n ast.Node) bool {
			if n != nil {
				f(n)
			}
			return true
		})
	}
}

// Every method that the program calls is in the table, and no other; so is every
// event it looks at.
func TestTablesAreWhatIsUsed(t *testing.T) {
	used := map[string]bool{}
	table := map[string]bool{}
	for _, n := range methods {
		table[n.name] = true
	}
	sources(t, func(n ast.Node) {
		switch x := n.(type) {
		case *ast.SelectorExpr:
			in, ok := x.X.(*ast.SelectorExpr)
			client, plain := x.X.(*ast.Ident)
			if ok && in.Sel.Name == "api" || plain && client.Name == "c" && strings.HasSuffix(x.Sel.Name, "Context") {
				m, known := called[x.Sel.Name]
				if !known {
					t.Errorf("%s is called, and no method is known for it", x.Sel.Name)
				}
				if m != "" {
					used[m] = true
				}
			}
		case *ast.CallExpr:
			for _, a := range x.Args {
				if l, ok := a.(*ast.BasicLit); ok && l.Kind == token.STRING {
					if s, err := strconv.Unquote(l.Value); err == nil && methodName.MatchString(s) {
						used[s] = true
					}
				}
			}
		}
	})
	for m := range used {
		if !table[m] {
			t.Errorf("%s is called and not in the table", m)
		}
	}
	for m := range table {
		if !used[m] {
			t.Errorf("%s is in the table and never called", m)
		}
	}
	for _, e := range events {
		name, _, _ := strings.Cut(e.name, ".")
		count := 0
		sources(t, func(n ast.Node) {
			if l, ok := n.(*ast.BasicLit); ok && l.Kind == token.STRING && l.Value == strconv.Quote(name) {
				count++
			}
		})
		least := 2 // the table's own, and a use
		if name != e.name {
			least = 1
		}
		if count < least {
			t.Errorf("event %s is subscribed to and never looked at", e.name)
		}
	}
}

type manifest struct {
	Features struct {
		AppHome struct {
			Home     bool `json:"home_tab_enabled"`
			Messages bool `json:"messages_tab_enabled"`
			ReadOnly bool `json:"messages_tab_read_only_enabled"`
		} `json:"app_home"`
		Bot *struct {
			Name string `json:"display_name"`
		} `json:"bot_user"`
		Shortcuts []struct{ Name, Type, Description string }
		Commands  []struct {
			Command, URL string
			Escape       bool `json:"should_escape"`
		} `json:"slash_commands"`
	}
	OAuth struct {
		Scopes struct{ Bot, User []string }
	} `json:"oauth_config"`
	Settings struct {
		Events struct {
			Bot []string `json:"bot_events"`
			URL string   `json:"request_url"`
		} `json:"event_subscriptions"`
		Interactivity struct {
			On  bool   `json:"is_enabled"`
			URL string `json:"request_url"`
		}
		Socket bool `json:"socket_mode_enabled"`
	}
}

// The manifests ask for exactly what is used.
func TestManifests(t *testing.T) {
	var wanted []string
	for _, e := range events {
		wanted = append(wanted, e.name)
	}
	slices.Sort(wanted)
	for _, http := range []bool{false, true} {
		var m manifest
		if err := json.Unmarshal(Manifest(http), &m); err != nil {
			t.Fatal(err)
		}
		if !slices.Equal(m.OAuth.Scopes.Bot, scopesNeeded()) || len(m.OAuth.Scopes.User) > 0 {
			t.Errorf("scopes %q and user scopes %q, want %q and none", m.OAuth.Scopes.Bot, m.OAuth.Scopes.User, scopesNeeded())
		}
		if !slices.Equal(m.Settings.Events.Bot, wanted) {
			t.Errorf("events %q, want %q", m.Settings.Events.Bot, wanted)
		}
		h := m.Features.AppHome
		if !h.Home || !h.Messages || h.ReadOnly || m.Features.Bot == nil || !m.Settings.Interactivity.On {
			t.Error("home tab, messages that can be written, a bot user and interactivity are needed")
		}
		c := m.Features.Commands
		if len(c) != 1 || !c[0].Escape || c[0].Command != strings.ToLower(c[0].Command) || len(c[0].Command) > 32 {
			t.Errorf("slash commands %+v", c)
		}
		urls := []string{m.Settings.Events.URL, m.Settings.Interactivity.URL, c[0].URL}
		for i, path := range []string{PathEvents, PathInteractions, PathCommands} {
			if http != strings.HasSuffix(urls[i], path) || m.Settings.Socket == http {
				t.Errorf("over HTTP %v: address %q, Socket Mode %v", http, urls[i], m.Settings.Socket)
			}
		}
		for _, s := range m.Features.Shortcuts {
			if len(s.Name) > 24 || len(s.Description) > 150 {
				t.Errorf("shortcut %+v is too long", s)
			}
		}
	}
}
