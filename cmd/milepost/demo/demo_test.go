package demo

import (
	"bytes"
	"context"
	"errors"
	"math"
	"math/rand/v2"
	"regexp"
	"strings"
	"testing"

	"github.com/rivo/uniseg"
	"go.uber.org/goleak"

	"milepost/bot"
	"milepost/bot/bottest"
	"milepost/flow"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// config is a fast play into a store in memory.
func config(seed uint64) (Config, *bytes.Buffer) {
	store, out := bottest.NewMemory(), &bytes.Buffer{}
	return Config{Store: store, Blobs: store, Out: out, Seed: seed, Fast: true, Program: "test"}, out
}

// Every job ends, done or in an honest "can't fix", and what is said of the
// errors left holds against the physics: the figures to reach are those of the
// calibration method, section 9.
func TestSeeds(t *testing.T) {
	seeds := uint64(50)
	if testing.Short() {
		seeds = 12
	}
	var transcripts strings.Builder
	held, done, over, under := 0, 0, 0, 0
	kinds := map[string]int{}
	for seed := uint64(1); seed <= seeds; seed++ {
		c, out := config(seed)
		s, err := Play(context.Background(), c)
		transcripts.Write(out.Bytes())
		if err != nil {
			t.Errorf("seed %d: %v\n%s", seed, err, tail(out.String()))
			continue
		}
		kinds[s.Kind]++
		if s.Decision != "done" && s.Decision != "cannot_fix" || !strings.Contains(s.Ended, "Closed") || len(s.Errors) == 0 {
			t.Errorf("seed %d ended with %s: %q", seed, s.Decision, s.Ended)
			continue
		}
		w := s.Errors[len(s.Errors)-1]
		if w.At != s.Work {
			t.Errorf("seed %d: the fastest error is at %v, want %v", seed, w.At, s.Work)
		}
		if math.Abs(w.True-w.Said) <= w.PlusMinus {
			held++
		}
		if s.Decision != "done" {
			continue
		}
		done++
		if s.Rule == "" && math.Abs(w.True) > 1 {
			over++
			t.Logf("seed %d: done with %.2f left", seed, w.True)
		}
		for _, e := range s.Errors {
			if s.Rule != "" && e.True < -0.5 {
				under++
				t.Logf("seed %d: done with %.2f at %v", seed, e.True, e.At)
				break
			}
		}
	}
	t.Logf("%d jobs, %d done, ± held in %d, kinds %v", seeds, done, held, kinds)
	if float64(held) < 0.93*float64(seeds) {
		t.Errorf("± held in %d of %d", held, seeds)
	}
	if float64(over) > 0.01*float64(done) || float64(under) > 0.03*float64(done) {
		t.Errorf("done with over 1 mph: %d, under true: %d of %d", over, under, done)
	}
	if testing.Short() {
		return
	}
	if len(kinds) < 9 {
		t.Errorf("kinds of value played: %v", kinds)
	}
	for _, must := range []string{"km/h", "mph", "release", "sign off", "broke off", "halfway", "refused", "U0121", "did not take",
		"as it was", "several modules", "note I read along", "[I am alone]", "can't save", "max ", "can't fix"} {
		if !strings.Contains(transcripts.String(), must) {
			t.Errorf("no play of %d has %q", seeds, must)
		}
	}
}

func tail(s string) string { return s[max(0, len(s)-1500):] }

// The same seed is the same play, another one is another. The head is over
// salts too, which the background draws from the same source at a moment of its
// own.
func TestSeedDecides(t *testing.T) {
	head := regexp.MustCompile(`Log head \d+ [0-9a-f-]+`)
	texts := map[uint64]string{}
	for _, seed := range []uint64{7, 7, 8} {
		c, out := config(seed)
		if _, err := Play(context.Background(), c); err != nil {
			t.Fatal(err)
		}
		text := head.ReplaceAllString(out.String(), "Log head")
		if was, ok := texts[seed]; ok && was != text {
			t.Errorf("seed %d was played in two ways", seed)
		}
		texts[seed] = text
	}
	if texts[7] == texts[8] {
		t.Error("two seeds, one play")
	}
}

// Twice broken off in a row is the way back, and an honest end.
func TestBrokenTwice(t *testing.T) {
	for seed := uint64(1); seed <= 6; seed++ {
		s, err := invent(seed)
		if err != nil {
			t.Fatal(err)
		}
		m := s.vehicle.modules[0]
		original := m.now
		s.vehicle.mishaps, s.driveFirst = []mishap{brokeOff, brokeOff}, false
		c, out := config(seed)
		sum, err := playOut(context.Background(), c, s)
		if err != nil {
			t.Errorf("seed %d: %v\n%s", seed, err, tail(out.String()))
			continue
		}
		if !strings.Contains(sum.Ended, "restored") || m.now != original {
			t.Errorf("seed %d: %q with %s", seed, sum.Ended, m.shows())
		}
	}
}

// What nobody knows to answer ends the play, and is quoted.
func TestUnknownQuestion(t *testing.T) {
	s, err := invent(1)
	if err != nil {
		t.Fatal(err)
	}
	p := &player{scenario: s, hearing: map[string]int{}}
	p.open = &bot.Outbound{Reply: flow.Reply{Phase: flow.PhaseOpen, Text: "What colour is it?", Choices: []flow.Choice{{Label: "red", Send: "j.1.red"}}}}
	if _, err := p.answer(); err == nil || !strings.Contains(err.Error(), "What colour is it?") || !strings.Contains(err.Error(), "red") {
		t.Errorf("%v", err)
	}
	p.open.Reply = flow.Reply{Phase: flow.PhaseOpen, Text: "At home or in a workshop?", Choices: []flow.Choice{{Send: "j.1.bay"}, {Send: "j.1.home"}}}
	for range maxSame {
		p.whyed = true
		if _, err := p.answer(); err != nil {
			t.Fatal(err)
		}
		p.open = &bot.Outbound{Reply: flow.Reply{Phase: flow.PhaseOpen, Text: "At home or in a workshop?", Choices: []flow.Choice{{Send: "j.1.bay"}, {Send: "j.1.home"}}}}
	}
	if _, err := p.answer(); err == nil || !strings.Contains(err.Error(), "again and again") {
		t.Errorf("%v", err)
	}
}

// A play ends between two lines when it is called off.
func TestCancel(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	c, _ := config(3)
	c.Out = writes(func(b []byte) {
		if bytes.Contains(b, []byte("all yes")) {
			cancel()
		}
	})
	if _, err := Play(ctx, c); !errors.Is(err, context.Canceled) {
		t.Errorf("%v", err)
	}
}

// An output that fails ends the play with its error.
func TestOutputFails(t *testing.T) {
	c, _ := config(3)
	c.Out = failing{}
	if _, err := Play(context.Background(), c); !errors.Is(err, errGone) {
		t.Errorf("%v", err)
	}
}

type writes func([]byte)

func (w writes) Write(b []byte) (int, error) { w(b); return len(b), nil }

var errGone = errors.New("gone")

type failing struct{}

func (failing) Write([]byte) (int, error) { return 0, errGone }

// Lines keep to the width; only a terminal gets colour.
func TestWidth(t *testing.T) {
	c, out := config(5)
	c.Width = func() int { return 60 }
	if _, err := Play(context.Background(), c); err != nil {
		t.Fatal(err)
	}
	if strings.Contains(out.String(), "\x1b") {
		t.Error("coloured")
	}
	for l := range strings.Lines(out.String()) {
		if w := uniseg.StringWidth(strings.TrimSuffix(l, "\n")); w > 60 {
			t.Errorf("%d wide: %s", w, l)
		}
	}
	c, out = config(5)
	c.Colour = true
	if _, err := Play(context.Background(), c); err != nil || !strings.Contains(out.String(), "\x1b[36m") {
		t.Errorf("not coloured, %v", err)
	}
}

// The physics: the ideal value leaves no error at W, readings scatter about the
// error of their speed, and an odometer tells the circumference without the
// dash's margin.
func TestPhysics(t *testing.T) {
	for seed := uint64(1); seed <= 60; seed++ {
		s, err := invent(seed)
		if err != nil {
			t.Fatal(err)
		}
		v, m := s.vehicle, s.vehicle.modules[0]
		if f := m.circumference(); f < 1500 || f > 3000 {
			t.Errorf("seed %d: factory circumference %v", seed, f)
		}
		if m.list == nil {
			if back := m.scale.value(m.scale.circumference(m.now)); math.Abs(back-m.now) > 1e-9*m.now {
				t.Errorf("seed %d: %s %v came back as %v", seed, m.scale.kind, m.now, back)
			}
			was := m.now
			m.now = v.ideal()
			if e := v.errorAt(v.work); math.Abs(e) > 1e-6 {
				t.Errorf("seed %d: %s: error %v with the ideal value", seed, m.scale.kind, e)
			}
			up := m.scale.circumference(m.now*1.01) > m.scale.circumference(m.now)
			if up == m.scale.kind.smaller() {
				t.Errorf("seed %d: %s goes the wrong way", seed, m.scale.kind)
			}
			m.now = was
		}
		r := rand.New(rand.NewPCG(seed, 9))
		var sum, odo float64
		const n = 4000
		for range n {
			dash, gps := v.read(r, v.work, 0)
			sum += dash - gps
			odo += v.compare(r, 20)
		}
		want := v.errorAt(v.work)
		if v.gpsTruncates && v.gpsStep == 1 {
			want += 0.5
		}
		if got := sum / n; math.Abs(got-want) > 0.08*v.q() {
			t.Errorf("seed %d: readings differ by %.3f, want %.3f", seed, got, want)
		}
		if got, want := odo/n/20, m.circumference()/v.trueMM; math.Abs(got-want) > 0.004 {
			t.Errorf("seed %d: odometer ratio %.4f, want %.4f", seed, got, want)
		}
	}
}

// Conversions against the vectors of the calibration method, section 1: a mile
// is 1 609 344 mm exactly.
func TestScale(t *testing.T) {
	for _, c := range []struct {
		kind           kind
		factory, mm    float64
		value, against float64
	}{
		{circumference, 2438, 2438, 2608, 2608},
		{diameter, 776, 776 * math.Pi, 800, 800 * math.Pi},
		{radius, 388, 776 * math.Pi, 400, 800 * math.Pi},
		{revsMile, 660, mmPerMile / 660, 620, 1609344.0 / 620},
		{revsKM, 455, 1e6 / 455, 447, 1e6 / 447},
		{pulsesKM, 8000, 2400, 7500, 2560},
		{axleRatio, 3.73, 2400, 3.55, 2400 * 3.73 / 3.55},
		{percentUp, 100, 2400, 106.5, 2556},
		{percentDown, 100, 2400, 94, 2400 / 0.94},
	} {
		if got := (scale{c.kind, c.factory, c.mm}).circumference(c.value); math.Abs(got-c.against) > 1e-6 {
			t.Errorf("%s %v: %v, want %v", c.kind, c.value, got, c.against)
		}
	}
}
