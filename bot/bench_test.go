package bot_test

import (
	"context"
	"fmt"
	"testing"
	"time"

	"milepost/bot"
	"milepost/flow"
)

// spoken is a whole job in the bay as a technician types it.
var spoken = []string{
	"new job unit %d, in the bay, 48210 mi", "no", "all yes 13.4",
	"LT265/70R17 121/118S, 2438 mm circumference, step 1, 1800 to 3000", "yes",
	"on the shop laptop under this unit", "LT285/75R17 121/118S 12/12, placard pressure, gears unchanged",
	"drive first", "go", "61/65 56/60 47/50 58/62 51/55", "parked, no lamps, no codes", "took", "2609", "none",
	"go", "65/65 60/60 62/62", "parked none", "close", "all yes", "no",
}

// forgetful is a store that takes everything and keeps nothing of it.
type forgetful struct{ *mem }

func (forgetful) Commit(context.Context, *bot.Batch) error { return nil }

type deaf struct{}

func (deaf) Name() string                             { return "terminal" }
func (deaf) Send(context.Context, bot.Outbound) error { return nil }

// BenchmarkWay is a message's way without what the store takes; the part of it
// that is the flow's is printed beside. The durable turn is measured in
// adapters/sqlite.
func BenchmarkWay(b *testing.B) {
	var inFlow time.Duration
	step := func(s *flow.State, m flow.Message, env flow.Env) (flow.Outcome, error) {
		start := time.Now()
		out, err := flow.Step(s, m, env)
		inFlow += time.Since(start)
		return out, err
	}
	bt, err := bot.New(bot.WithStep(bot.Config{Store: forgetful{newMem()}, Networks: []bot.Network{deaf{}}, Single: true}, step))
	if err != nil {
		b.Fatal(err)
	}
	ctx, stop := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- bt.Run(ctx) }()
	b.ReportAllocs()
	b.ResetTimer()
	for n := range b.N {
		job, line := n/len(spoken), n%len(spoken)
		text := spoken[line]
		if line == 0 {
			text = fmt.Sprintf(text, job)
		}
		in := bot.Inbound{Network: "terminal", From: "terminal:tech", Name: "tech", Stated: flow.Technician, Text: text, Delivery: fmt.Sprintf("%d", n)}
		if err := bt.Handle(ctx, in); err != nil {
			b.Fatal(err)
		}
	}
	b.StopTimer()
	b.ReportMetric(float64(inFlow.Nanoseconds())/float64(b.N), "flow-ns/op")
	stop()
	if err := <-done; err != nil {
		b.Fatal(err)
	}
}
