package slack

import (
	"context"
	"fmt"
	"io"
	"log/slog"
	"slices"
	"sync"
	"testing"
	"time"

	"milepost/adapters/slack/workspace"
	"milepost/bot"
)

// stopwatch is a core that answers at once and notes when it heard what.
type stopwatch struct {
	mu    sync.Mutex
	heard map[string]time.Time
	all   chan struct{}
	left  int
}

func (s *stopwatch) Handle(_ context.Context, in bot.Inbound) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if _, ok := s.heard[in.Delivery]; !ok {
		s.heard[in.Delivery] = time.Now()
		if s.left--; s.left == 0 {
			close(s.all)
		}
	}
	return nil
}

// BenchmarkHear has people write in 200 threads, two messages a second in each, or
// as fast as the workspace can: how long an acknowledgement takes, and how long
// until the core is told. The second holds the pause in which an older message of
// the thread may still come.
func BenchmarkHear(b *testing.B) {
	b.Run("400-a-second", func(b *testing.B) { benchmarkHear(b, 50*time.Millisecond) })
	b.Run("flat-out", func(b *testing.B) { benchmarkHear(b, time.Millisecond) })
}

func benchmarkHear(b *testing.B, pause time.Duration) {
	w := workspace.New(b, workspace.Options{NoRateLimit: true})
	cfg := Config{BotToken: w.BotToken(), AppToken: w.AppToken(), APIURL: w.APIURL(), Dir: b.TempDir(), Every: -1, Log: slog.New(slog.NewTextHandler(io.Discard, nil))}
	s, err := New(cfg)
	if err != nil {
		b.Fatal(err)
	}
	ctx, stop := context.WithCancel(context.Background())
	ear := &stopwatch{heard: map[string]time.Time{}, all: make(chan struct{}), left: -1}
	over := make(chan error, 1)
	go func() { over <- s.Run(ctx, ear) }()
	defer func() {
		stop()
		if err := <-over; err != nil {
			b.Error(err)
		}
	}()
	for s.Ready() != nil || w.Sockets() == 0 {
		time.Sleep(time.Millisecond)
	}
	kim := w.User("kim")
	roots := make([]string, 200)
	for i := range roots {
		roots[i] = kim.Say("shop", "@milepost job")
		if err := s.state.setRoot(ctx, string(threadName(w.Team(), w.Channel("shop"), roots[i])), w.Channel("shop"), roots[i], fmt.Sprintf("job%04d", i)); err != nil {
			b.Fatal(err)
		}
	}
	w.Settle(workspace.Patience)
	time.Sleep(300 * time.Millisecond)
	before := len(w.Acks())
	ear.mu.Lock()
	ear.left = b.N
	ear.mu.Unlock()
	said := map[string]time.Time{}
	b.ResetTimer()
	for i := range b.N {
		at := time.Now()
		ts := kim.SayInThread("shop", roots[i%len(roots)], "265/70R17")
		said[w.Team()+"/"+w.Channel("shop")+"/"+ts] = at
		if i%20 == 19 {
			time.Sleep(pause)
		}
	}
	<-ear.all
	b.StopTimer()
	w.Settle(workspace.Patience)
	var acks, told []time.Duration
	for _, a := range w.Acks()[before:] {
		acks = append(acks, a.Took)
	}
	ear.mu.Lock()
	defer ear.mu.Unlock()
	for k, at := range said {
		told = append(told, ear.heard[k].Sub(at))
	}
	for _, x := range []struct {
		name string
		list []time.Duration
	}{{"ack", acks}, {"told", told}} {
		slices.Sort(x.list)
		if n := len(x.list); n > 0 {
			b.ReportMetric(float64(x.list[n/2].Microseconds())/1000, x.name+"-p50-ms")
			b.ReportMetric(float64(x.list[n*99/100].Microseconds())/1000, x.name+"-p99-ms")
		}
	}
	b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "messages/s")
}
