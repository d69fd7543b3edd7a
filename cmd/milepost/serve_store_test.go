package main

import (
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// A store of two shops goes through backup, erasure and restore with its
// configuration, and by its directory alone where that is enough.
func TestServeStore(t *testing.T) {
	v := startServe(t)
	for _, l := range []lineIn{
		{Delivery: "1", From: "slack:T0AB/U0KIM", Thread: "T0AB/C0BAY/1", Text: "new job heronry van, in the bay, 48210 mi"},
		{Delivery: "2", From: "slack:T0AB/U0LEE", Thread: "T0AB/C0YARD/2", Text: "new job wombat truck, in the bay, 120000 km"},
	} {
		v.hub.say(l)
		v.hub.acked(l.Delivery)
	}
	if err := v.stop(); err != nil {
		t.Fatal(err)
	}
	must := func(want string, args ...string) string {
		t.Helper()
		text, code := v.run(args...)
		if code != exitDone || !strings.Contains(text, want) {
			t.Fatalf("%v: %d %s; want %q", args, code, text, want)
		}
		return text
	}
	data, backup := filepath.Join(v.dir, "data"), filepath.Join(v.dir, "b.bak")
	board := must("heronry", "board", "--config", v.file)
	if byDir := must("wombat", "board", "--data", data); byDir != board {
		t.Errorf("the board by its directory\n%s\nis not that by its configuration\n%s", byDir, board)
	}
	job := regexp.MustCompile(`south: (?:job )?([a-z0-9]{7})`).FindStringSubmatch(board)[1]
	if rows := must(`"shop":"north"`, "board", "--config", v.file, "--json"); strings.Count(rows, "\n") != 2 {
		t.Errorf("board %s", rows)
	}
	must("the store is in", "backup", backup, "--data", data)

	// By its directory alone nobody knows what the networks keep.
	if text, code := v.run("erase", job, "--data", data); code != exitFailed || !strings.Contains(text, "erase with --config FILE") {
		t.Errorf("erase by the directory: %d %s", code, text)
	}
	must("erased: ", "erase", "slack:T0AB/U0LEE", "--config", v.file)
	if board := must("heronry", "board", "--config", v.file); strings.Contains(board, "wombat") {
		t.Errorf("after the erasure: %s", board)
	}
	if text, code := v.run("erase", "slack:T0AB/U0LEE", "--config", v.file); code != exitFailed || !strings.Contains(text, "nothing of") {
		t.Errorf("erased twice: %d %s", code, text)
	}

	// Into an empty directory, with the keys and the list of what was erased beside
	// them; and into one with nothing.
	if err := os.Rename(data, data+".old"); err != nil {
		t.Fatal(err)
	}
	if err := os.Mkdir(data, 0o700); err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{"log.key", "log-south.key", "log.pub", "log-south.pub", "erased"} {
		b, err := os.ReadFile(filepath.Join(data+".old", name))
		if err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(data, name), b, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	text := must("restored: shop south", "restore", backup, "--config", v.file)
	if strings.Contains(text, "no signing key") || !strings.Contains(text, "restored: shop north") {
		t.Errorf("restored with its keys: %s", text)
	}
	if board := must("heronry", "board", "--config", v.file); strings.Contains(board, "wombat") {
		t.Errorf("what was erased is back: %s", board)
	}
	bare := filepath.Join(v.dir, "bare")
	text = must("restored: shop north", "restore", backup, "--data", bare)
	if strings.Count(text, "there was no signing key") != 2 {
		t.Errorf("restored without keys: %s", text)
	}
	if got := strings.Join(keptShops(bare), " "); got != "north south" {
		t.Errorf("shops of what was restored: %q", got)
	}

	// It goes on where it was.
	v.out = safeBuffer{}
	v.start()
	v.hub.say(lineIn{Delivery: "3", From: "slack:T0AB/U0KIM", Thread: "T0AB/C0BAY/1", Text: "where are we"})
	v.hub.acked("3")
	if err := v.stop(); err != nil {
		t.Error(err)
	}
	export := filepath.Join(v.dir, "job.jsonl")
	must(job, "export", job, "-o", export, "--config", v.file)
	must("", "verify", export, "--config", v.file)
}
