package terminal

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"io"
	"slices"
	"strings"
	"testing"

	"milepost/bot"
	"milepost/flow"
)

// echo is an ear that answers every message once, and again what it has said.
type echo struct {
	t     *Terminal
	heard []bot.Inbound
	err   error
}

func (e *echo) Handle(ctx context.Context, in bot.Inbound) error {
	e.heard = append(e.heard, in)
	if e.err != nil {
		return e.err
	}
	return e.t.Send(ctx, bot.Outbound{Key: "j/" + in.Text + in.Tap, Job: "j", Log: int64(len(e.heard)),
		Reply: flow.Reply{Kind: flow.Prompt, Phase: flow.PhaseOpen, Text: "heard " + in.Text, To: []flow.Who{"w"}},
		Names: map[flow.Who]string{"w": "Kim"}})
}

func (e *echo) Flush(context.Context) error { return nil }

func play(t *testing.T, c Config, input string) (*echo, string) {
	t.Helper()
	var out bytes.Buffer
	c.Out = &out
	tm, err := New(c)
	if err != nil {
		t.Fatal(err)
	}
	e := &echo{t: tm}
	if err := tm.Run(t.Context(), NewPlain(strings.NewReader(input)), e); err != nil {
		t.Fatal(err)
	}
	return e, out.String()
}

func TestInputLines(t *testing.T) {
	me := bot.Inbound{Network: "terminal", From: "terminal:tech", Name: "tech", Stated: flow.Technician}
	with := func(f func(*bot.Inbound)) bot.Inbound { in := me; f(&in); return in }
	for _, c := range []struct {
		line string
		want bot.Inbound
	}{
		{`hello`, with(func(in *bot.Inbound) { in.Text = "hello" })},
		{`60`, with(func(in *bot.Inbound) { in.Text = "60" })},
		{`"60"`, with(func(in *bot.Inbound) { in.Text = `"60"` })},
		{`[1]`, with(func(in *bot.Inbound) { in.Text = "[1]" })},
		{`null`, with(func(in *bot.Inbound) { in.Text = "null" })},
		{`{"text":`, with(func(in *bot.Inbound) { in.Text = `{"text":` })},
		{``, me},
		{`{"text":"a\u0000b"}`, with(func(in *bot.Inbound) { in.Text = "a\x00b" })},
		{`{"text":"x","later":{"a":[1]}}`, with(func(in *bot.Inbound) { in.Text = "x" })},
		{`{"tap":"j.1.yes"}`, with(func(in *bot.Inbound) { in.Tap = "j.1.yes" })},
		{`{"text":"x","from":" Noor  K ","role":"helper","job":"k7mw2pd","id":"7"}`, bot.Inbound{Network: "terminal",
			From: "terminal:Noor K", Name: "Noor K", Stated: flow.Helper, Job: "k7mw2pd", Delivery: "7", Text: "x"}},
		{`{"text":"y","edit":"7"}`, with(func(in *bot.Inbound) { in.Text, in.Edit = "y", "7" })},
		{`{"delete":"7"}`, with(func(in *bot.Inbound) { in.Delete = "7" })},
		{"\ufeff{\"text\":\"marked\"}", with(func(in *bot.Inbound) { in.Text = "marked" })},
	} {
		e, out := play(t, Config{JSON: true}, c.line+"\n")
		if len(e.heard) != 1 || e.heard[0] != c.want {
			t.Errorf("%s: heard %+v, want %+v", c.line, e.heard, c.want)
		}
		if !strings.HasSuffix(out, "{\"idle\":true,\"log\":1}\n") {
			t.Errorf("%s: does not end with the idle line: %s", c.line, out)
		}
	}
}

func TestLinesThatAreNoMessage(t *testing.T) {
	long := strings.Repeat("x", MaxLine+1)
	for _, c := range []struct{ line, says string }{
		{`{}`, "has one of"},
		{`{"text":"a","tap":"b"}`, "has one of"},
		{`{"later":1}`, "has one of"},
		{`{"tap":"b","edit":"7"}`, "goes with the new"},
		{`{"text":5}`, `"text" wants a string`},
		{`{"text":"a","role":"boss"}`, `"boss" is no role`},
		{`{"text":"a","from":"\u0007"}`, `"from" is no name`},
		{`{"file":"/no/such/file"}`, `"file" can't be taken: there is no such file`},
		{`{"file":"x\u0000y"}`, "can't be taken"},
		{long, "longer than"},
		{`{"text":"` + long + `"}`, "longer than"},
	} {
		e, out := play(t, Config{JSON: true}, c.line+"\nafter\n")
		if len(e.heard) != 1 || e.heard[0].Text != "after" {
			t.Errorf("%.60s: handed over %d messages", c.line, len(e.heard))
		}
		lines := strings.Split(strings.TrimSpace(out), "\n")
		var first outLine
		if err := json.Unmarshal([]byte(lines[0]), &first); err != nil {
			t.Fatalf("%.60s: %v", c.line, err)
		}
		if first.Kind != flow.Refusal || !strings.Contains(first.Text, c.says) {
			t.Errorf("%.60s: said %s %q, want %q", c.line, first.Kind, first.Text, c.says)
		}
		if len(lines) != 4 || !strings.HasPrefix(lines[1], `{"idle":true`) || !strings.HasPrefix(lines[3], `{"idle":true`) {
			t.Errorf("%.60s: want an answer and an idle line for each of two inputs, got %d lines", c.line, len(lines))
		}
	}
}

func TestOutputLine(t *testing.T) {
	var out bytes.Buffer
	tm, err := New(Config{Out: &out, JSON: true, Path: func(sum string) string { return "d/" + sum }})
	if err != nil {
		t.Fatal(err)
	}
	send := func(o bot.Outbound) string {
		out.Reset()
		if err := tm.Send(t.Context(), o); err != nil {
			t.Fatal(err)
		}
		return out.String()
	}
	got := send(bot.Outbound{Key: "k/3", Job: "k", Log: 4, Names: map[flow.Who]string{"a": "Kim", "b": "Noor"}, Reply: flow.Reply{
		Kind: flow.Prompt, Phase: flow.PhaseBackup, Text: "a <b>\x1b[31m\u202e & c", To: []flow.Who{"b", "a"},
		Choices: []flow.Choice{{Label: "yes\x07", Send: "k.1.yes"}}, Facts: map[string]any{"odometer": map[string]any{"value": 5}},
		Files: []flow.FileRef{{Name: "s.pdf", Type: "application/pdf", Bytes: 3, SHA256: "ab"}}}})
	want := `{"id":"k/3","job":"k","phase":"backup","kind":"prompt","to":["Noor","Kim"],"text":"a <b>[31m & c",` +
		`"choices":[{"label":"yes","send":"k.1.yes"}],"facts":{"odometer":{"value":5}},` +
		`"files":[{"name":"s.pdf","type":"application/pdf","bytes":3,"sha256":"ab","path":"d/ab"}],"log":4}` + "\n"
	if got != want {
		t.Errorf("got  %s\nwant %s", got, want)
	}
	got = send(bot.Outbound{Key: "k/4", Reply: flow.Reply{Kind: flow.Notice}})
	want = `{"id":"k/4","job":"","phase":"open","kind":"notice","to":[],"text":"","choices":[],"facts":{},"files":[],"log":0}` + "\n"
	if got != want {
		t.Errorf("got  %s\nwant %s", got, want)
	}
	if got = send(bot.Outbound{Key: "k/3"}); got != "" {
		t.Errorf("the same key wrote %s", got)
	}
	if got = send(bot.Outbound{Key: "k/5", Reply: flow.Reply{Text: "kept", Facts: map[string]any{"f": func() {}}}}); !strings.Contains(got, `"kept"`) {
		t.Errorf("facts that can't be encoded took the message with them: %q", got)
	}
}

// A message that was not dealt with is answered with a sentence, and the next is
// heard.
func TestFaultIsASentence(t *testing.T) {
	var out bytes.Buffer
	tm, err := New(Config{Out: &out, JSON: true})
	if err != nil {
		t.Fatal(err)
	}
	e := &echo{t: tm, err: &bot.Error{Kind: bot.Unavailable, Say: "The store is full.", Err: errors.New("disk 778")}}
	if err := tm.Run(t.Context(), NewPlain(strings.NewReader("a\nb")), e); err != nil {
		t.Fatal(err)
	}
	if len(e.heard) != 2 || strings.Count(out.String(), "The store is full.") != 2 || strings.Contains(out.String(), "778") {
		t.Errorf("heard %d, said %s", len(e.heard), out.String())
	}
}

type broken struct{ after int }

func (b *broken) Write(p []byte) (int, error) {
	if b.after--; b.after < 0 {
		return 0, io.ErrClosedPipe
	}
	return len(p), nil
}

func TestBrokenOutputEndsRun(t *testing.T) {
	tm, err := New(Config{Out: &broken{3}, JSON: true})
	if err != nil {
		t.Fatal(err)
	}
	e := &echo{t: tm}
	err = tm.Run(t.Context(), NewPlain(strings.NewReader(strings.Repeat("x\ny\n", 50))), e)
	if !errors.Is(err, io.ErrClosedPipe) || len(e.heard) > 4 {
		t.Errorf("Run = %v after %d messages", err, len(e.heard))
	}
}

func TestRunEndsWithContext(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	r, w := io.Pipe()
	defer w.Close()
	tm, err := New(Config{Out: io.Discard})
	if err != nil {
		t.Fatal(err)
	}
	done := make(chan error)
	go func() { done <- tm.Run(ctx, NewPlain(r), &echo{t: tm}) }()
	cancel()
	if err := <-done; err != nil {
		t.Errorf("Run = %v", err)
	}
}

func TestConfigFaults(t *testing.T) {
	for _, c := range []Config{{}, {Out: io.Discard, Name: "a\nb"}, {Out: io.Discard, Name: strings.Repeat("n", 101)}, {Out: io.Discard, Role: "boss"}} {
		if _, err := New(c); err == nil {
			t.Errorf("New(%+v): no error", c)
		}
	}
}

func TestPlainLines(t *testing.T) {
	big := strings.Repeat("y", MaxLine)
	p := NewPlain(strings.NewReader("a\r\nb\xff\x00\n" + big + "\n" + big + "z\r\nlast"))
	var got []string
	for {
		line, long, err := p.Next()
		if long {
			line = "long"
		}
		got = append(got, line)
		if err != nil {
			break
		}
	}
	if want := []string{"a", "b\xff\x00", big, "long", "last"}; !slices.Equal(got, want) {
		t.Errorf("%d lines; the first %.20q", len(got), got)
	}
}

func FuzzParse(f *testing.F) {
	for _, s := range []string{"", "60/58", `{"text":"a"}`, `{"tap":"j.1.yes","from":"Kim","role":"helper"}`, `{"file":"/dev/zero"}`,
		`{"edit":"1","text":"b"}`, `{"text":{}}`, "{\"text\":\"\\ud800\"}", strings.Repeat("[", 2000), "\x00\xff{"} {
		f.Add(s)
	}
	tm, err := New(Config{Out: io.Discard, JSON: true})
	if err != nil {
		f.Fatal(err)
	}
	f.Fuzz(func(t *testing.T, line string) {
		if strings.Contains(line, "file") || strings.Contains(line, "\\u") {
			return // opens nothing that the fuzzer names
		}
		in, fault := tm.parse(line)
		if fault == "" && (in.From == "" || !isRole(in.Stated)) {
			t.Errorf("%q: a message of nobody: %+v", line, in)
		}
	})
}
