package understand

import (
	"path/filepath"
	"strings"
	"testing"
)

// readers are all readers by name, each giving its echo, "none", or "ask:code". Test lines and fuzzing share it.
var readers = map[string]func(string, Context) string{
	"reading":    func(s string, c Context) string { ms, a := Readings(s, c); return echoes(ms, a) },
	"stored":     func(s string, c Context) string { ms, a := StoredValues(s, c); return echoes(ms, a) },
	"size":       func(s string, c Context) string { ms, a := Sizes(s); return echoes(ms, a) },
	"limits":     func(s string, c Context) string { m, ok, a := FindLimits(s); return echo(m, ok, a) },
	"readback":   func(s string, c Context) string { m, ok, a := ReadBack(s, c); return echo(m, ok, a) },
	"odometer":   func(s string, c Context) string { m, ok, a := Odometer(s, c); return echo(m, ok, a) },
	"stretch":    func(s string, c Context) string { m, ok, a := OdometerCheck(s, c); return echo(m, ok, a) },
	"volts":      func(s string, c Context) string { m, ok, a := Voltage(s); return echo(m, ok, a) },
	"tread":      func(s string, c Context) string { m, ok, a := Treads(s); return echo(m, ok, a) },
	"pressure":   func(s string, c Context) string { m, ok, a := Pressures(s); return echo(m, ok, a) },
	"revs":       func(s string, c Context) string { m, ok, a := PublishedRevs(s); return echo(m, ok, a) },
	"rollout":    func(s string, c Context) string { m, ok, a := Rollouts(s); return echo(m, ok, a) },
	"gears":      func(s string, c Context) string { m, ok, a := FindGears(s); return echo(m, ok, a) },
	"speed_from": func(s string, c Context) string { m, ok, a := SpeedFrom(s); return echo(m, ok, a) },
	"load":       func(s string, c Context) string { m, ok, a := Load(s); return echo(m, ok, a) },
	"place":      func(s string, c Context) string { m, ok, a := Place(s); return echo(m, ok, a) },
	"units":      func(s string, c Context) string { m, ok, a := Units(s); return echo(m, ok, a) },
	"rule":       func(s string, c Context) string { m, ok, a := Rule(s); return echo(m, ok, a) },
	"aim":        func(s string, c Context) string { m, ok, a := Aim(s); return echo(m, ok, a) },
	"open":       func(s string, c Context) string { m, a := Open(s, c); return echo(m, true, a) },
	"yesno":      func(s string, c Context) string { m, ok := YesNo(s); return echo(m, ok, nil) },
	"choice":     func(s string, c Context) string { m, ok, a := Choice(s, 5); return echo(m, ok, a) },
	"checklist":  func(s string, c Context) string { m, ok, a := Checklist(s, 4); return echo(m, ok, a) },
	"codes":      func(s string, c Context) string { m, ok, a := Codes(s); return echo(m, ok, a) },
	"lamps":      func(s string, c Context) string { m, ok, a := Lamps(s); return echo(m, ok, a) },
	"tool": func(s string, c Context) string {
		m, a := ToolSays(s)
		e := echo(m, true, a)
		if m.Value.Reason != "" {
			e += ": " + m.Value.Reason
		}
		return e
	},
	"vin":     func(s string, c Context) string { m, ok, a := VIN(s); return echo(m, ok, a) },
	"module":  func(s string, c Context) string { return echoes(Modules(s), nil) },
	"guest":   func(s string, c Context) string { m, ok := GuestCode(s); return echo(m, ok, nil) },
	"command": func(s string, c Context) string { m, ok := ReadCommand(s); return echo(m, ok, nil) },
	"clean":   func(s string, c Context) string { t, _ := Clean(s); return t },
}

func echo[T any](m Match[T], ok bool, ask *Ask) string {
	switch {
	case ask != nil:
		return "ask:" + ask.Code
	case !ok:
		return "none"
	}
	return m.Echo
}

func echoes[T any](ms []Match[T], ask *Ask) string {
	if ask != nil {
		return "ask:" + ask.Code
	}
	if len(ms) == 0 {
		return "none"
	}
	var out []string
	for _, m := range ms {
		out = append(out, m.Echo)
	}
	return strings.Join(out, "; ")
}

type testLine struct {
	Reader string   `json:"r"`
	Text   string   `json:"t"`
	Want   string   `json:"w"` // the echo; "ask" for any ask, "ask:code" for that one; "none"
	Unit   string   `json:"u"`
	Labels []string `json:"labels"`
}

func lineFiles(t testing.TB) []string {
	t.Helper()
	files, err := filepath.Glob("testdata/*.jsonl")
	if err != nil || len(files) == 0 {
		t.Fatalf("no test lines: %v", err)
	}
	return files
}

func TestLines(t *testing.T) {
	total := 0
	for _, f := range lineFiles(t) {
		ls := lines[testLine](t, f)
		total += len(ls)
		t.Run(strings.TrimSuffix(filepath.Base(f), ".jsonl"), func(t *testing.T) {
			for _, l := range ls {
				read, ok := readers[l.Reader]
				if !ok {
					t.Fatalf("no reader %q", l.Reader)
				}
				got := read(l.Text, Context{SpeedUnit: l.Unit, Labels: l.Labels})
				if got != l.Want && !(l.Want == "ask" && strings.HasPrefix(got, "ask:")) {
					t.Errorf("%s %q:\n\tgot  %s\n\twant %s", l.Reader, l.Text, got, l.Want)
				}
			}
		})
	}
	if total < 300 {
		t.Errorf("%d lines, want 300 or more", total)
	}
}

// TestEchoRereads: what a reader says back, it reads to the same.
func TestEchoRereads(t *testing.T) {
	for _, f := range lineFiles(t) {
		for _, l := range lines[testLine](t, f) {
			switch l.Reader {
			case "clean", "speed_from", "aim", "rule", "module", "open":
				continue // their echoes are names of categories, or hold the person's own words
			}
			ctx := Context{SpeedUnit: l.Unit, Labels: l.Labels}
			got := readers[l.Reader](l.Text, ctx)
			if got == "none" || strings.HasPrefix(got, "ask:") {
				continue
			}
			said, _, _ := strings.Cut(got, ": ")
			if l.Reader != "tool" {
				said = got
			}
			again := readers[l.Reader](said, ctx)
			if again != got && !(l.Reader == "tool" && strings.HasPrefix(got, again)) {
				t.Errorf("%s %q: echo %q reads as %q", l.Reader, l.Text, got, again)
			}
		}
	}
}

