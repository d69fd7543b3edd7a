package terminal_test

import (
	"bytes"
	"context"
	"encoding/json"
	"io"
	"strings"
	"sync"
	"testing"
	"time"

	"milepost/adapters/terminal"
	"milepost/bot"
	"milepost/bot/bottest"
	"milepost/flow"
)

func TestJSONIsANetwork(t *testing.T) {
	bottest.TestNetwork(t, func(t *testing.T, handle bottest.Handler) bottest.Wire {
		p := newPlayer(t, handle, true)
		return bottest.Wire{Network: p.t, Thread: "", Shown: p.shownJSON,
			Say: func(t testing.TB, who, text string) { p.line(t, map[string]string{"from": who, "text": text}) },
			Tap: func(t testing.TB, who string, c flow.Choice) {
				p.line(t, map[string]string{"from": who, "tap": c.Send})
			},
		}
	})
}

func TestHumanIsANetwork(t *testing.T) {
	bottest.TestNetwork(t, func(t *testing.T, handle bottest.Handler) bottest.Wire {
		p := newPlayer(t, handle, false)
		return bottest.Wire{Network: p.t, Thread: "", Shown: p.shownHuman}
	})
}

// ear hands to the suite and has nothing to send itself.
type ctx = context.Context

type ear struct {
	bottest.Handler
}

func (e ear) Handle(ctx ctx, in bot.Inbound) error { return e.Handler(ctx, in) }
func (e ear) Flush(ctx) error                      { return nil }

// player is a terminal with a person at it.
type player struct {
	t    *terminal.Terminal
	in   *io.PipeWriter
	mu   sync.Mutex
	said [][]byte // one element a write
}

func newPlayer(t *testing.T, handle bottest.Handler, asJSON bool) *player {
	p := &player{}
	var err error
	p.t, err = terminal.New(terminal.Config{Out: p, JSON: asJSON})
	if err != nil {
		t.Fatal(err)
	}
	r, w := io.Pipe()
	p.in = w
	done := make(chan error, 1)
	go func() { done <- p.t.Run(t.Context(), terminal.NewPlain(r), ear{handle}) }()
	t.Cleanup(func() {
		w.Close()
		select {
		case err := <-done:
			if err != nil {
				t.Errorf("Run: %v", err)
			}
		case <-time.After(time.Minute):
			t.Error("Run does not end with its input")
		}
	})
	return p
}

func (p *player) Write(b []byte) (int, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.said = append(p.said, bytes.Clone(b))
	return len(b), nil
}

func (p *player) written() [][]byte {
	p.mu.Lock()
	defer p.mu.Unlock()
	return append([][]byte(nil), p.said...)
}

// line writes an input line and waits for the word that it is answered.
func (p *player) line(t testing.TB, v any) {
	t.Helper()
	b, err := json.Marshal(v)
	if err != nil {
		t.Fatal(err)
	}
	before := p.idles()
	if _, err := p.in.Write(append(b, '\n')); err != nil {
		t.Fatal(err)
	}
	for end := time.Now().Add(time.Minute); p.idles() == before; time.Sleep(time.Millisecond) {
		if time.Now().After(end) {
			t.Fatal("no idle line")
		}
	}
}

func (p *player) idles() (n int) {
	for _, b := range p.written() {
		if bytes.HasPrefix(b, []byte(`{"idle":true,`)) {
			n++
		}
	}
	return n
}

func (p *player) shownJSON() (out []bottest.Shown) {
	for _, b := range p.written() {
		var m struct {
			Idle    bool
			Text    string
			Choices []flow.Choice
		}
		if json.Unmarshal(b, &m) != nil || m.Idle {
			continue
		}
		s := bottest.Shown{Text: m.Text}
		for _, c := range m.Choices {
			s.Choices = append(s.Choices, c.Label)
		}
		out = append(out, s)
	}
	return out
}

func (p *player) shownHuman() (out []bottest.Shown) {
	for _, b := range p.written() {
		text := strings.ReplaceAll("\n"+string(b), "\n  ", "\n")
		out = append(out, bottest.Shown{Text: text})
	}
	return out
}
