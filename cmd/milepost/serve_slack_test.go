package main

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"milepost/adapters/slack/workspace"
)

// The whole program against the tests' own workspace: a channel that gives a
// role, a job in it, and an erasure that leaves no byte.
func TestServeSlack(t *testing.T) {
	w := workspace.New(t, workspace.Options{})
	t.Setenv("WS_APP", w.AppToken())
	t.Setenv("WS_BOT", w.BotToken())
	v := &served{t: t, dir: t.TempDir(), done: make(chan error, 1)}
	v.file = filepath.Join(v.dir, "serve.toml")
	text := fmt.Sprintf("[store]\nsqlite = \"data\"\n[log]\nmetrics_addr = \"127.0.0.1:0\"\n[slack]\nsocket_mode = true\napp_token_env = \"WS_APP\"\nbot_token_env = \"WS_BOT\"\n"+
		"api_url = %q\nteam = %q\nchannels = { %s = \"technician\" }\n", w.APIURL(), w.Team(), w.Channel("shop"))
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
	v.eventually("ready", func() bool { return strings.Contains(v.out.String(), "ready: slack; shops main; ") })

	w.User("kim").Say("shop", "@milepost new job zebrafinch van, in the bay, 48210 mi")
	if !w.Await(20*time.Second, func() bool { return strings.Contains(fmt.Sprint(w.Posts("shop")), "48,210 mi") }) {
		t.Fatalf("no answer: %+v\n%s", w.Posts("shop"), v.err.String())
	}
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
