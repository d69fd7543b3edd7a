package main

import (
	"flag"
	"log/slog"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"milepost/bot"
	"milepost/flow"
)

var update = flag.Bool("update", false, "rewrite what is said of wrong configurations to what was seen")

// The annotated example is read whole, and means what its comments say.
func TestConfigExample(t *testing.T) {
	c, err := readConfig(filepath.Join("testdata", "serve.toml"))
	if err != nil {
		t.Fatal(err)
	}
	if c.store != filepath.Join("testdata", "data") || c.log.level != slog.LevelInfo || !c.log.json || c.log.metrics != metricsDefault {
		t.Errorf("store %q, log %+v", c.store, c.log)
	}
	if m := c.matrix; m.homeserver != "https://matrix.example.org" || m.user != "@milepost:example.org" || m.tokenAt.file != "testdata/secrets/matrix-token" ||
		!slices.Equal(m.servers, []string{"example.org"}) || m.encryption != hasEncryption {
		t.Errorf("matrix %+v", m)
	}
	if s := c.slack; !s.socketMode || s.appTokenAt.env != "MILEPOST_APP_TOKEN" || s.team != "T0MILEPOST" || s.api != "" {
		t.Errorf("slack %+v", s)
	}
	north, south := c.shops[0], c.shops[1]
	want := flow.Policy{Speed: "mph", Length: "mm", Rule: "none", Calib: "true", WorkSpeed: 70, Threshold: 1,
		Holds: []flow.HoldPoint{{What: "write", Place: "bay"}, {What: "restore"}}, SignOff: true,
		HoldCall: 10 * time.Minute, Idle: 24 * time.Hour, Retention: 90, MaxFile: 64 << 20}
	if got := north.policy; !samePolicy(got, want) {
		t.Errorf("policy of north %+v\nwant %+v", got, want)
	}
	want.Speed = "km/h"
	if got := south.policy; !samePolicy(got, want) {
		t.Errorf("policy of south %+v\nwant %+v", got, want)
	}
	if north.zone.String() != "Europe/Vienna" || north.people["matrix:@ada:example.org"] != flow.Supervisor || len(north.people) != 3 ||
		north.rooms["@*:customers.example.org"] != flow.Customer || len(north.rooms) != 2 {
		t.Errorf("north %+v", north)
	}
	if want := []bot.JobThread{{Network: "slack", Thread: "T0MILEPOST/C0HELP", For: flow.Helper},
		{Network: "matrix", Thread: "!office:example.org", For: flow.Supervisor}}; !slices.Equal(north.alerts, want) {
		t.Errorf("alerts of north %+v", north.alerts)
	}
	if m, s := c.posts("matrix"), c.posts("slack"); !slices.Equal(m, []string{"!office:example.org"}) || !slices.Equal(s, []string{"T0MILEPOST/C0HELP"}) {
		t.Errorf("rooms that alerts and digests go to: %q, %q", m, s)
	}
	if south.key.file != "testdata/secrets/south-key" || south.zone != nil || south.rooms["T0MILEPOST/C0BAY"] != flow.Technician {
		t.Errorf("south %+v", south)
	}
}

func samePolicy(a, b flow.Policy) bool {
	same := slices.Equal(a.Holds, b.Holds)
	a.Holds, b.Holds = nil, nil
	return same && a.Speed == b.Speed && a.Length == b.Length && a.Rule == b.Rule && a.Calib == b.Calib && a.WorkSpeed == b.WorkSpeed &&
		a.Threshold == b.Threshold && a.SignOff == b.SignOff && a.Self == b.Self && a.Quiet == b.Quiet && a.HoldCall == b.HoldCall &&
		a.Idle == b.Idle && a.Retention == b.Retention && a.Verified == b.Verified && a.MaxFile == b.MaxFile && a.Approved == b.Approved
}

// least is a configuration with nothing but what is needed.
const least = `[store]
sqlite = "data"
[slack]
socket_mode = true
app_token_env = "APP"
bot_token_env = "BOT"
`

func TestConfigLeast(t *testing.T) {
	c, err := parseConfig("/etc/milepost/serve.toml", least+`channels = { "T0AB/C0BAY" = "technician" }
[people]
"slack:T0AB/U0KIM" = "supervisor"
"terminal:kim" = "technician"
`)
	if err != nil {
		t.Fatal(err)
	}
	s := c.shops[0]
	if len(c.shops) != 1 || s.name != bot.DefaultShop || s.rooms["T0AB/C0BAY"] != flow.Technician || len(s.people) != 2 || c.matrix != nil {
		t.Errorf("%+v", c)
	}
	if c.store != "/etc/milepost/data" || c.log.metrics != metricsDefault || c.log.level != slog.LevelInfo || c.log.json {
		t.Errorf("store %s, log %+v", c.store, c.log)
	}
}

// Every fault is told, with its line, what was understood and what is allowed:
// testdata/config/NAME.toml is refused with exactly NAME.txt.
func TestConfigFaults(t *testing.T) {
	files, err := filepath.Glob(filepath.Join("testdata", "config", "*.toml"))
	if err != nil || len(files) < 8 {
		t.Fatalf("%d files, %v", len(files), err)
	}
	for _, file := range files {
		t.Run(filepath.Base(file), func(t *testing.T) {
			text, err := os.ReadFile(file)
			if err != nil {
				t.Fatal(err)
			}
			_, err = parseConfig(filepath.Base(file), string(text))
			if err == nil {
				t.Fatal("it was taken")
			}
			got, golden := err.Error()+"\n", strings.TrimSuffix(file, ".toml")+".txt"
			if *update {
				if err := os.WriteFile(golden, []byte(got), 0o644); err != nil {
					t.Fatal(err)
				}
			}
			want, err := os.ReadFile(golden)
			if err != nil {
				t.Fatal(err)
			}
			if got != string(want) {
				t.Errorf("got\n%s\nwant\n%s", got, want)
			}
			if strings.Contains(got, "hunter") {
				t.Errorf("a secret is repeated:\n%s", got)
			}
		})
	}
}

// A key stands where it is said to stand, in whatever form it is written.
func TestPlaces(t *testing.T) {
	text := "# one\na = \"\"\"\nx\n[no]\n\"\"\"\n[[s]]\nb = [ 1,\n  2, # two\n  '''\n] ''' ]\n[s.t]\n\"k.\\u0041\" = { c = 1, d = [\n{ e = 2 } ] }\n[[s]]\nb.c = 2024-01-01 10:00:00\n[s.t]\nz = 'a\\'\n"
	p := findPlaces(text)
	for path, want := range map[string]int{
		at("a"): 2, at("s"): 6, at("s", "0"): 6, at("s", "0", "b"): 7, at("s", "0", "b", "0"): 7, at("s", "0", "b", "1"): 8, at("s", "0", "b", "2"): 9,
		at("s", "0", "t"): 11, at("s", "0", "t", "k.A"): 12, at("s", "0", "t", "k.A", "c"): 12, at("s", "0", "t", "k.A", "d", "0", "e"): 13,
		at("s", "1"): 14, at("s", "1", "b", "c"): 15, at("s", "1", "t"): 16, at("s", "1", "t", "z"): 17,
	} {
		if p[path] != want {
			t.Errorf("%q stands on line %d, want %d", strings.ReplaceAll(path, "\x00", "."), p[path], want)
		}
	}
}

func TestNearest(t *testing.T) {
	allowed := []string{"homeserver", "user", "access_token_file", "rooms"}
	for word, want := range map[string]string{"homserver": "homeserver", "access_token_fiel": "access_token_file", "room": "rooms", "colour": "", "x": ""} {
		if got := nearest(word, allowed); got != want {
			t.Errorf("nearest to %s is %q, want %q", word, got, want)
		}
	}
}

// Encrypted rooms are served where the build has them, and then only with
// something to encrypt the keys at rest.
func TestConfigEncryption(t *testing.T) {
	text := func(more string) string {
		return "[store]\nsqlite = \"data\"\n[matrix]\nhomeserver = \"https://matrix.example.org/\"\nuser = \"@milepost:example.org\"\npassword_env = \"P\"\n" + more
	}
	for _, c := range []struct {
		more          string
		with, without string // faults with encryption in the build, and without
	}{
		{"", "pickle_key_file", ""},
		{"encryption = true", "pickle_key_file", "not in this build"},
		{"encryption = true\npickle_key_env = \"K\"", "", "not in this build"},
		{"encryption = false", "", ""},
		{"pickle_key_env = \"K\"", "", ""},
	} {
		want := c.without
		if hasEncryption {
			want = c.with
		}
		_, err := parseConfig("x.toml", text(c.more))
		if (err == nil) != (want == "") || err != nil && !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v, want %q", c.more, err, want)
		}
	}
}

// The configurations that the README shows are taken as they stand there.
func TestReadmeConfig(t *testing.T) {
	text, err := os.ReadFile(filepath.Join("..", "..", "README.md"))
	if err != nil {
		t.Fatal(err)
	}
	blocks := strings.Split(strings.ReplaceAll(string(text), "\r\n", "\n"), "```toml\n")[1:]
	for _, b := range blocks {
		b, _, _ = strings.Cut(b, "```")
		if _, err := parseConfig("README.md", b); err != nil {
			t.Error(err)
		}
	}
	if len(blocks) == 0 {
		t.Error("none is shown")
	}
}
