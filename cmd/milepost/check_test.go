package main

import (
	"crypto/sha256"
	"fmt"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// snapshot is every file below a directory, with its mode and the hash of its
// content.
func snapshot(t *testing.T, dir string) map[string]string {
	t.Helper()
	files := map[string]string{}
	err := filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		fi, err := d.Info()
		if err != nil {
			return err
		}
		files[path] = fi.Mode().String()
		if fi.Mode().IsRegular() {
			b, err := os.ReadFile(path)
			if err != nil {
				return err
			}
			files[path] += fmt.Sprintf(" %x", sha256.Sum256(b))
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return files
}

// check leaves a store as it was, byte for byte, whatever it finds.
func TestCheckChangesNothing(t *testing.T) {
	v := startServe(t)
	v.hub.say(lineIn{Delivery: "1", From: "slack:T0AB/U0KIM", Thread: "T0AB/C0BAY/1", Text: "new job unit 4, in the bay, 48210 mi"})
	v.hub.acked("1")
	if err := v.stop(); err != nil {
		t.Fatal(err)
	}
	before := snapshot(t, v.dir)
	if len(before) < 8 {
		t.Fatalf("only %d files", len(before))
	}
	text, code := v.run("check", "--config", v.file)
	if code != exitDone || strings.Contains(text, "MEND") || !strings.Contains(text, "OK   slack: the hub answers") ||
		!strings.Contains(text, "OK   key of shop south: milepost/south+") {
		t.Errorf("check: %d\n%s", code, text)
	}
	if after := snapshot(t, v.dir); !maps.Equal(before, after) {
		t.Errorf("before %v\nafter %v", before, after)
	}

	v.hub.l.Close()
	south := filepath.Join(v.dir, "data", "log-south.key")
	if err := os.Chmod(south, 0o644); err != nil {
		t.Fatal(err)
	}
	if err := os.Truncate(filepath.Join(v.dir, "data", "milepost.db"), 40000); err != nil {
		t.Fatal(err)
	}
	before = snapshot(t, v.dir)
	text, code = v.run("check", "--config", v.file)
	for _, want := range []string{"MEND store: ", "MEND key of shop south: can't be read", "may be read by others", "MEND slack: no connection", "3 of 9 findings"} {
		if code != exitFailed || !strings.Contains(text, want) {
			t.Errorf("no %q: %d\n%s", want, code, text)
		}
	}
	if after := snapshot(t, v.dir); !maps.Equal(before, after) {
		t.Errorf("before %v\nafter %v", before, after)
	}
}

// The keys of a store are told by what lies there, in whatever order the shops
// are named.
func TestKeyFiles(t *testing.T) {
	dir := t.TempDir()
	names := func(shops ...string) string {
		var s []string
		for _, f := range keyFiles(dir, shops, nil) {
			s = append(s, f.shop+"="+filepath.Base(f.private))
		}
		return strings.Join(s, " ")
	}
	if got := names("a", "b"); got != "a=log.key b=log-b.key" {
		t.Errorf("in an empty directory: %s", got)
	}
	if got := keptShops(dir); len(got) != 0 {
		t.Errorf("shops of an empty directory: %s", got)
	}
	for _, f := range keyFiles(dir, []string{"b", "a", "c.d"}, nil) {
		if _, err := f.readOrMake(); err != nil {
			t.Fatal(err)
		}
	}
	if got := names("a", "b"); got != "a=log-a.key b=log.key" {
		t.Errorf("log.key is of b: %s", got)
	}
	if got := strings.Join(keptShops(dir), " "); got != "b a c.d" {
		t.Errorf("shops that lie there: %s", got)
	}
	// A key of another shop is none.
	if err := os.Rename(filepath.Join(dir, "log-a.key"), filepath.Join(dir, "log-e.key")); err != nil {
		t.Fatal(err)
	}
	for _, f := range keyFiles(dir, []string{"b", "e"}, nil) {
		if _, err := f.read(); (err != nil) != (f.shop == "e") {
			t.Errorf("key of %s: %v", f.shop, err)
		}
	}
}

// A key that is named elsewhere is made there at the first start only.
func TestNamedKey(t *testing.T) {
	dir, keys := t.TempDir(), t.TempDir()
	named := map[string]secret{"a": {at: "x:1: [[shop]] log_key_file", file: filepath.Join(keys, "key")}}
	f := keyFiles(dir, []string{"a"}, named)[0]
	k, err := f.readOrMake()
	if err != nil {
		t.Fatal(err)
	}
	if again, err := f.readOrMake(); err != nil || again.Public() != k.Public() {
		t.Errorf("read again: %v", err)
	}
	if err := os.WriteFile(f.public, []byte(k.Public()+"\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.Remove(named["a"].file); err != nil {
		t.Fatal(err)
	}
	if _, err := f.readOrMake(); err == nil || !strings.Contains(err.Error(), "log_key_file") {
		t.Errorf("a key that was there and is gone: %v", err)
	}
	t.Setenv("MILEPOST_TEST_KEY", k.Private())
	env := keyFiles(dir, []string{"a"}, map[string]secret{"a": {at: "x", env: "MILEPOST_TEST_KEY"}})[0]
	if again, err := env.readOrMake(); err != nil || again.Public() != k.Public() {
		t.Errorf("out of the environment: %v", err)
	}
}

// A shop without a room of alerts is warned of, which is nothing to be mended.
func TestCheckWarnsOfNoAlerts(t *testing.T) {
	for with, want := range map[string]string{"": "WARN alerts of shop main: no room is set\n     a call for help", "[alerts]\nsupervisor = [\"T0SHOP/C0SHOP\"]\n": ""} {
		file := filepath.Join(t.TempDir(), "serve.toml")
		text := "[store]\nsqlite = \"data\"\n[log]\nmetrics_addr = \"127.0.0.1:0\"\n[slack]\nsocket_mode = true\napp_token_env = \"WS_A\"\nbot_token_env = \"WS_B\"\n" + with
		if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		got, _ := called("check", "--config", file)
		if want == "" && strings.Contains(got, "WARN") || !strings.Contains(got, want) {
			t.Errorf("%q: %s", with, got)
		}
	}
}
