package understand

import (
	"path/filepath"
	"strings"
	"testing"
)

// readers are all readers by name, each giving its echo, "none", or "ask:code". Test lines and fuzzing share it.
var readers = map[string]func(string, Context) result{
	"reading":    func(s string, c Context) result { ms, a := Readings(s, c); return echoes(ms, a) },
	"stored":     func(s string, c Context) result { ms, a := StoredValues(s, c); return echoes(ms, a) },
	"size":       func(s string, c Context) result { ms, a := Sizes(s); return echoes(ms, a) },
	"limits":     func(s string, c Context) result { m, ok, a := FindLimits(s); return echo(m, ok, a) },
	"readback":   func(s string, c Context) result { m, ok, a := ReadBack(s, c); return echo(m, ok, a) },
	"odometer":   func(s string, c Context) result { m, ok, a := Odometer(s, c); return echo(m, ok, a) },
	"stretch":    func(s string, c Context) result { m, ok, a := OdometerCheck(s, c); return echo(m, ok, a) },
	"volts":      func(s string, c Context) result { m, ok, a := Voltage(s); return echo(m, ok, a) },
	"supply":     func(s string, c Context) result { m, ok := WrongSupply(s); return echo(m, ok, nil) },
	"tread":      func(s string, c Context) result { m, ok, a := Treads(s); return echo(m, ok, a) },
	"pressure":   func(s string, c Context) result { m, ok, a := Pressures(s); return echo(m, ok, a) },
	"revs":       func(s string, c Context) result { m, ok, a := PublishedRevs(s); return echo(m, ok, a) },
	"rollout":    func(s string, c Context) result { m, ok, a := Rollouts(s); return echo(m, ok, a) },
	"gears":      func(s string, c Context) result { m, ok, a := FindGears(s); return echo(m, ok, a) },
	"speed_from": func(s string, c Context) result { m, ok, a := SpeedFrom(s); return echo(m, ok, a) },
	"load":       func(s string, c Context) result { m, ok, a := Load(s); return echo(m, ok, a) },
	"place":      func(s string, c Context) result { m, ok, a := Place(s); return echo(m, ok, a) },
	"units":      func(s string, c Context) result { m, ok, a := Units(s); return echo(m, ok, a) },
	"rule":       func(s string, c Context) result { m, ok, a := Rule(s); return echo(m, ok, a) },
	"aim":        func(s string, c Context) result { m, ok, a := Aim(s); return echo(m, ok, a) },
	"open":       func(s string, c Context) result { m, a := Open(s, c); return echo(m, true, a) },
	"yesno":      func(s string, c Context) result { m, ok := YesNo(s); return echo(m, ok, nil) },
	"choice":     func(s string, c Context) result { m, ok, a := Choice(s, 5); return echo(m, ok, a) },
	"checklist":  func(s string, c Context) result { m, ok, a := Checklist(s, 4); return echo(m, ok, a) },
	"codes":      func(s string, c Context) result { m, ok, a := Codes(s); return echo(m, ok, a) },
	"lamps":      func(s string, c Context) result { m, ok, a := Lamps(s); return echo(m, ok, a) },
	"tool": func(s string, c Context) result {
		m, a := ToolSays(s)
		r := echo(m, true, a)
		if m.Value.Reason != "" {
			r.echo += ": " + m.Value.Reason
		}
		return r
	},
	"vin":     func(s string, c Context) result { m, ok, a := VIN(s); return echo(m, ok, a) },
	"module":  func(s string, c Context) result { return echoes(Modules(s), nil) },
	"guest":   func(s string, c Context) result { m, ok := GuestCode(s); return echo(m, ok, nil) },
	"command": func(s string, c Context) result { m, ok := ReadCommand(s); return echo(m, ok, nil) },
	"clean":   func(s string, c Context) result { t, _ := Clean(s); return result{echo: t} },
}

// result is what a reader said, and the spans of its matches.
type result struct {
	echo  string
	spans [][2]int
}

func echo[T any](m Match[T], ok bool, ask *Ask) result {
	switch {
	case ask != nil:
		return result{echo: "ask:" + ask.Code}
	case !ok:
		return result{echo: "none"}
	}
	return result{m.Echo, [][2]int{{m.Start, m.End}}}
}

func echoes[T any](ms []Match[T], ask *Ask) result {
	var r result
	var out []string
	for _, m := range ms {
		out = append(out, m.Echo)
		r.spans = append(r.spans, [2]int{m.Start, m.End})
	}
	r.echo = strings.Join(out, "; ")
	switch {
	case ask != nil:
		r.echo = "ask:" + ask.Code
	case len(ms) == 0:
		r.echo = "none"
	}
	return r
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
				got := read(l.Text, Context{SpeedUnit: l.Unit, Labels: l.Labels}).echo
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
			reread(t, l.Reader, l.Text, Context{SpeedUnit: l.Unit, Labels: l.Labels})
		}
	}
}

// ownWords are readers whose echo is the name of a category, or holds the person's own words.
var ownWords = map[string]bool{"speed_from": true, "aim": true, "rule": true, "module": true, "open": true, "command": true, "lamps": true,
	"size": true, // its echo is the canonical text of package tyre, tested there
}

func reread(t *testing.T, reader, text string, ctx Context) {
	t.Helper()
	got := readers[reader](text, ctx)
	for _, s := range got.spans {
		if s[0] < 0 || s[0] > s[1] || s[1] > len(text) && reader != "open" {
			t.Errorf("%s %q: span %v outside %d bytes", reader, text, s, len(text))
		}
	}
	if got.echo == "none" || strings.HasPrefix(got.echo, "ask:") || ownWords[reader] {
		return
	}
	said := got.echo
	if reader == "tool" {
		said, _, _ = strings.Cut(said, ": ")
	}
	again := readers[reader](said, ctx).echo
	if again != got.echo && again != said {
		t.Errorf("%s %q: echo %q reads as %q", reader, text, got.echo, again)
	}
}
