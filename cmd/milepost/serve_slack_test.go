package main

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"milepost/adapters/slack/workspace"
	"milepost/flow"
)

// The whole program against the tests' own workspace: a channel that gives a
// role, a job in it, and an erasure that leaves no byte.
func TestServeSlack(t *testing.T) {
	w := workspace.New(t, workspace.Options{})
	v := servedOnSlack(t, w, fmt.Sprintf("channels = { %s = \"technician\" }\n", w.Channel("shop")))

	w.User("kim").Say("shop", "@milepost new job zebrafinch van, in the bay, 48210 mi")
	if !w.Await(workspace.Patience, func() bool { return strings.Contains(fmt.Sprint(w.Posts("shop")), "48,210 mi") }) {
		t.Fatalf("no answer: %+v\n%s", w.Posts("shop"), v.err.String())
	}
	v.hears("slack")
	job := checkedBoard(t, v.file, "slack", "zebrafinch")
	if err := v.stop(); err != nil {
		t.Errorf("it stopped with %v\n%s", err, v.err.String())
	}
	for _, word := range []string{"zebrafinch", w.AppToken(), w.BotToken()} {
		if strings.Contains(v.out.String()+v.err.String(), word) {
			t.Errorf("%q is in the log:\n%s", word, v.err.String())
		}
	}
	if text, code := called("erase", job, "--config", v.file); code != exitDone {
		t.Errorf("erase: %d %s", code, text)
	}
	nowhere(t, filepath.Join(v.dir, "data"), "zebrafinch")
}

// servedOnSlack runs the whole program in a workspace with a configuration that
// ends so.
func servedOnSlack(t *testing.T, w *workspace.Workspace, more string) *served {
	t.Helper()
	t.Setenv("WS_APP", w.AppToken())
	t.Setenv("WS_BOT", w.BotToken())
	v := &served{t: t, dir: t.TempDir(), done: make(chan error, 1)}
	v.file = filepath.Join(v.dir, "serve.toml")
	text := fmt.Sprintf("[store]\nsqlite = \"data\"\n[log]\nmetrics_addr = \"127.0.0.1:0\"\n[slack]\nsocket_mode = true\napp_token_env = \"WS_APP\"\nbot_token_env = \"WS_BOT\"\n"+
		"api_url = %q\nteam = %q\n%s", w.APIURL(), w.Team(), more)
	if err := os.WriteFile(v.file, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	c, err := readConfig(v.file)
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	v.cancel = cancel
	t.Cleanup(cancel)
	go func() { v.done <- serve(ctx, &streams{out: &v.out, err: &v.err}, c) }()
	v.eventually("ready", func() bool { return strings.Contains(v.out.String(), "ready: slack; shops ") })
	return v
}

// A role of a channel holds wherever its members speak to the assistant; who has
// none is told so at each command, and nobody else sees it.
func TestServeSlackMembers(t *testing.T) {
	w := workspace.New(t, workspace.Options{})
	v := servedOnSlack(t, w, fmt.Sprintf("channels = { %s = \"technician\" }\n[policy]\nspeed = \"mph\"\n", w.Channel("bay")))
	kim, alex := w.User("kim"), w.User("alex")
	begun := func(what, channel string, do func()) {
		t.Helper()
		before := len(w.Posts(channel))
		do()
		if !w.Await(workspace.Patience, func() bool { return len(w.Posts(channel)) >= before+2 }) {
			t.Fatalf("%s begins no job: %+v\n%s", what, w.Posts(channel), v.err.String())
		}
	}
	begun("a command elsewhere", "shop", func() { kim.Command("shop", "/milepost", "zebrafinch van, in the bay") })
	w.User("sam").Say("@sam", "new job wren van, in the bay, 48210 mi")
	if !w.Await(workspace.Patience, func() bool { return strings.Contains(fmt.Sprint(w.Posts("@sam")), "48,210 mi") }) {
		t.Fatalf("no job in direct messages: %+v\n%s", w.Posts("@sam"), v.err.String())
	}
	begun("a shortcut", "@kim", func() { kim.GlobalShortcut("begin") })
	posts := len(w.Posts("shop"))
	for i := range 3 {
		if a := alex.Command("shop", "/milepost", "wren"); a.Err != "" {
			t.Fatal(a.Err)
		}
		if !w.Await(workspace.Patience, func() bool { return len(w.Ephemerals("alex")) == i+1 }) {
			t.Fatalf("command %d is not answered\n%s", i+1, v.err.String())
		}
	}
	if m := w.Ephemerals("alex")[2]; !strings.Contains(m.Shown, "Sorry") || len(w.Posts("shop")) != posts {
		t.Errorf("it reads %q, and %d posts are in the channel", m.Shown, len(w.Posts("shop"))-posts)
	}
	if err := v.stop(); err != nil {
		t.Errorf("it stopped with %v\n%s", err, v.err.String())
	}
}

// Of the channels that a person is in the technicians' counts first, and those of
// an earlier shop.
func TestSlackChannels(t *testing.T) {
	c := &config{shops: []shopConfig{
		{rooms: map[string]flow.Role{"T1/C9": flow.Technician, "T1/C2": flow.Customer, "T1/C5": flow.Technician, "!bay:example.org": flow.Technician}},
		{rooms: map[string]flow.Role{"T1/C1": flow.Technician}},
	}}
	if got := c.slackChannels(); !slices.Equal(got, []string{"T1/C5", "T1/C9", "T1/C2", "T1/C1"}) {
		t.Errorf("%q", got)
	}
}

// Check looks at the channels that alerts and digests go to. Where there is
// [[shop]] they are the shop's, digests always.
func TestCheckSlackPosts(t *testing.T) {
	w := workspace.New(t, workspace.Options{})
	t.Setenv("WS_APP", w.AppToken())
	t.Setenv("WS_BOT", w.BotToken())
	w.User("kim").Archive("bay")
	file := filepath.Join(t.TempDir(), "serve.toml")
	head := fmt.Sprintf("%%s[store]\nsqlite = \"data\"\n[log]\nmetrics_addr = \"127.0.0.1:0\"\n[slack]\nsocket_mode = true\napp_token_env = \"WS_APP\"\n"+
		"bot_token_env = \"WS_BOT\"\napi_url = %q\nteam = %q\n%%s", w.APIURL(), w.Team())
	for text, want := range map[string][]string{
		fmt.Sprintf(head, "", "[[shop]]\nname = \"north\"\ndigest = [\"C0BAY\"]\n[shop.alerts]\nhelper = [\"T0SHOP/C0YARD\"]\nsupervisor = [\"C0SHOP\"]\n"): {
			"MEND slack: channel C0BAY (bay), which is sent alerts or the digest, is archived\n     unarchive it",
			"MEND slack: the app is not in channel C0YARD (yard), which is sent alerts or the digest\n     invite the app",
			"OK   slack: the app is in channel C0SHOP (shop), which is sent alerts or the digest"},
		fmt.Sprintf(head, "", "[alerts]\nhelper = [\"C0YARD\"]\n"): {
			"MEND slack: the app is not in channel C0YARD (yard), which is sent alerts or the digest\n     invite the app"},
		fmt.Sprintf(head, "", "[alerts]\nhelper = [\"C0YARD\"]\n[[shop]]\nname = \"north\"\n"): {"alerts: with [[shop]] each has its own"},
		fmt.Sprintf(head, "digest = [\"C0YARD\"]\n", ""):                                       {"digest: there is no such key"},
		fmt.Sprintf(head, "", "[slack.alerts]\nhelper = [\"C0YARD\"]"):                         {"alerts: there is no such key"},
	} {
		if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		got, code := called("check", "--config", file)
		for _, words := range want {
			if code == exitDone || !strings.Contains(got, words) {
				t.Errorf("%d\n%s\nlacks %q", code, got, words)
			}
		}
	}
}
