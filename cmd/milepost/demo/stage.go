package demo

import (
	"context"
	"fmt"
	"io"
	"strings"
	"sync"
	"time"

	"github.com/rivo/uniseg"

	"milepost/adapters/terminal"
	"milepost/bot"
)

// stage shows the play. As a bot.Network it only collects what is said: the
// player reads it, and shows it at a pace that can be followed.
type stage struct {
	term   *terminal.Terminal
	out    io.Writer
	width  func() int
	colour bool
	fast   bool

	mu   sync.Mutex
	said []bot.Outbound // not yet shown
}

var _ bot.Network = (*stage)(nil)

// Name is the terminal's: what is said here is said there.
func (s *stage) Name() string { return terminal.NetworkName }

// Send takes a message.
func (s *stage) Send(_ context.Context, out bot.Outbound) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.said = append(s.said, out)
	return nil
}

// show writes what was said since the last time, and gives it.
func (s *stage) show(ctx context.Context) ([]bot.Outbound, error) {
	s.mu.Lock()
	said := s.said
	s.said = nil
	s.mu.Unlock()
	for _, o := range said {
		if err := s.pause(ctx, 400*time.Millisecond); err != nil {
			return nil, err
		}
		if err := s.term.Send(ctx, o); err != nil {
			return nil, err
		}
		if err := s.pause(ctx, reading(o.Reply.Text)); err != nil {
			return nil, err
		}
	}
	return said, nil
}

// reading is how long somebody takes to read a text.
func reading(text string) time.Duration {
	return min(4500*time.Millisecond, 300*time.Millisecond+time.Duration(len(strings.Fields(text)))*120*time.Millisecond)
}

// spoken writes a person's line, after the time it takes to type.
func (s *stage) spoken(ctx context.Context, name, text string) error {
	if err := s.pause(ctx, min(2500*time.Millisecond, 500*time.Millisecond+time.Duration(len(text))*35*time.Millisecond)); err != nil {
		return err
	}
	return s.line(name+" > ", text, "\x1b[36m")
}

// happens writes what is seen and not said.
func (s *stage) happens(ctx context.Context, text string) error {
	if err := s.line("    ", "("+text+")", "\x1b[2m"); err != nil {
		return err
	}
	return s.pause(ctx, 1200*time.Millisecond)
}

// line writes a text behind a mark, wrapped to the width, the next lines under
// its words.
func (s *stage) line(mark, text, colour string) error {
	indent := strings.Repeat(" ", uniseg.StringWidth(mark))
	width := 0
	if s.width != nil {
		width = s.width()
	}
	var b strings.Builder
	b.WriteByte('\n')
	cur := mark
	empty := true
	flush := func() {
		if s.colour {
			cur = colour + cur + "\x1b[0m"
		}
		b.WriteString(cur + "\n")
		cur, empty = indent, true
	}
	for _, word := range strings.Fields(text) {
		if width >= 20 && !empty && uniseg.StringWidth(cur)+1+uniseg.StringWidth(word) > width {
			flush()
		}
		if !empty {
			cur += " "
		}
		cur, empty = cur+word, false
	}
	flush()
	if mark == "" || colour == "" {
		b.WriteByte('\n')
	}
	if _, err := io.WriteString(s.out, b.String()); err != nil {
		return fmt.Errorf("write to terminal: %w", err)
	}
	return nil
}

// pause waits, unless it is to be fast.
func (s *stage) pause(ctx context.Context, d time.Duration) error {
	if s.fast {
		return ctx.Err()
	}
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-t.C:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}
