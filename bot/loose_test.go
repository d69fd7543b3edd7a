package bot_test

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"milepost/bot"
	"milepost/bot/bottest"
	"milepost/flow"
)

// beside is a message outside any thread of ours.
func (r *rig) beside(who, text string, called bool) bot.Inbound {
	in := r.in(who, text)
	in.Loose, in.Called, in.Thread = true, called, bot.Thread("hall/"+in.Delivery)
	return in
}

func (r *rig) last() bot.Outbound { s := r.sent(); return s[len(s)-1] }

// A message beside all threads belongs to the one job its author has open; it is
// answered in that job's thread, and its place does not become one of it.
func TestBesideTheThread(t *testing.T) {
	r := start(t, newMem())
	if got := r.give(r.beside("tech", "lunch?", false)); len(got) != 0 {
		t.Errorf("other people's talk is answered: %q", got)
	}
	r.give(r.beside("tech", "unit 14", true)) // called: begins a job
	first, thread := r.job(), r.last().Thread
	if got := r.give(r.beside("tech", "all yes 13.4 are the lottery numbers", false)); len(got) != 1 || !strings.Contains(got[0], "reply to my message") || r.last().Job != "" {
		t.Errorf("talk goes into the job: %q", got)
	}
	if got := r.give(r.beside("tech", "lunch?", false)); len(got) != 0 {
		t.Errorf("talk without figures is answered: %q", got)
	}
	r.give(r.beside("tech", "2438", true))
	if o := r.last(); o.Job != first || o.Thread != thread || !strings.Contains(o.Reply.Text, "2438") {
		t.Errorf("answered in %s, thread %s: %q", o.Job, o.Thread, o.Reply.Text)
	}
	if ts, _ := r.store.Threads(context.Background(), "oakroad", first); len(ts) != 1 {
		t.Errorf("the job lives in %v", ts)
	}
	if got := r.give(r.beside("noor", "hello all", false)); len(got) != 0 {
		t.Errorf("somebody without a job, not calling: %q", got)
	}
}

// With several open jobs it is asked which, so that no figure ends in another
// vehicle's job; "job" and its number answers it, until he speaks elsewhere.
func TestBesideSeveralJobs(t *testing.T) {
	r := start(t, newMem())
	r.give(r.beside("tech", "new job unit 14", true))
	first, thread := r.job(), r.last().Thread
	r.give(r.beside("tech", "new job unit 15", true))
	second := r.job()
	if first == second {
		t.Fatal("one job")
	}
	ask := func() {
		t.Helper()
		before := len(r.entries(first)) + len(r.entries(second))
		got := r.give(r.beside("tech", "2438", true))
		if len(got) != 1 || !strings.Contains(got[0], first) || !strings.Contains(got[0], second) || r.last().Job != "" {
			t.Errorf("not asked which: %q", got)
		}
		if n := len(r.entries(first)) + len(r.entries(second)); n != before {
			t.Error("it went into a job")
		}
	}
	ask()
	r.give(r.beside("tech", "job "+first, false))
	if r.give(r.beside("tech", "2438", true)); r.last().Job != first || r.last().Thread != thread {
		t.Errorf("went to %s", r.last().Job)
	}
	in := r.in("tech", "in the other's thread")
	ts, err := r.store.Threads(context.Background(), "oakroad", second)
	if err != nil {
		t.Fatal(err)
	}
	in.Thread = ts[0].Thread
	r.give(in)
	ask()
}

// Whoever has no job of his own may go to one by its number; what only means something
// in a job begins none.
func TestBesideAnothersJob(t *testing.T) {
	r := start(t, newMem())
	r.give(r.beside("tech", "new job unit 14", true))
	job, thread := r.job(), r.last().Thread
	for _, text := range []string{"release", "sign off", "stop the job"} {
		got := r.give(r.beside("boss", text, true))
		if o := r.last(); len(got) != 1 || !strings.Contains(got[0], "For which job?") || o.Job != "" {
			t.Errorf("%s: %q", text, got)
		}
	}
	r.give(r.beside("boss", "job "+job, true))
	if r.give(r.beside("boss", "where are we?", true)); r.last().Job != job || r.last().Thread != thread {
		t.Errorf("went to %q: %q", r.last().Job, r.last().Reply.Text)
	}
}

// A file that comes with the words that begin a job is of that job: with no other
// open, with one and with several. What comes alone, or with an answer, goes on as
// ever.
func TestFileOfTheWordsThatBegin(t *testing.T) {
	r := start(t, newMem())
	var jobs []string
	for n, called := range []bool{true, true, true, false} {
		words := r.beside("tech", fmt.Sprintf("new job unit %d", n), called)
		if n == 3 {
			words.Begins = "hall/begins here"
		}
		r.give(words)
		job, thread := r.job(), r.last().Thread
		for i := range 2 {
			in := words
			in.Text, in.File, in.Delivery = "", file("a.bin", fmt.Sprint("content ", n, i)), fmt.Sprint(words.Delivery, "/f/", i)
			if got := r.give(in); r.last().Job != job || r.last().Thread != thread || len(got) != 1 || !strings.HasPrefix(got[0], "file a.bin") {
				t.Errorf("with %d open: in job %s, want %s: %q", n, r.last().Job, job, got)
			}
		}
		jobs = append(jobs, job)
	}
	if slices.Sort(jobs); len(slices.Compact(jobs)) != 4 {
		t.Errorf("jobs %v", jobs)
	}
	alone := r.beside("tech", "", true)
	alone.File = file("b.bin", "alone")
	if got := r.give(alone); len(got) != 1 || r.last().Job != "" {
		t.Errorf("alone, with several open: %q", got)
	}
}

// A command of the network that is no job's is answered where it was given, and
// only to who gave it, whatever job he was in last.
func TestCommandAlone(t *testing.T) {
	r := start(t, newMem())
	for n := range 3 { // no job, one, several
		for _, text := range []string{"help", "board", "jobs", "policy", "job zzzzzzz"} {
			in := r.beside("boss", text, true)
			in.Alone = true
			got := r.give(in)
			if o := r.last(); len(got) != 1 || !o.Alone || o.Thread != in.Thread || o.Job != "" || o.After != in.Delivery || o.Users[""] != in.From {
				t.Errorf("%s with %d jobs: %q: %+v", text, n, got, o)
			}
		}
		in := r.in("boss", fmt.Sprintf("new job unit %d", n))
		in.Begins = bot.Thread(fmt.Sprintf("dm-boss/%d", n))
		if r.give(in); r.last().Alone || r.last().Job == "" {
			t.Errorf("a job's own words: %+v", r.last())
		}
	}
	in := r.beside("boss", "help", true)
	in.Thread = r.last().Thread
	if in.Loose = false; len(r.give(in)) != 1 || r.last().Alone || r.last().Job == "" {
		t.Errorf("in a job's thread: %+v", r.last())
	}
}

// A job asked for in another job's thread gets a thread of its own.
func TestNewJobInAThread(t *testing.T) {
	r := start(t, newMem())
	r.say("tech", "new job unit 14")
	first := r.job()
	in := r.in("tech", "new job unit 15")
	in.Begins = "hall/new"
	r.give(in)
	if o := r.last(); o.Job == first || o.Thread != "hall/new" {
		t.Errorf("job %s, thread %s", o.Job, o.Thread)
	}
	if r.say("tech", "2438"); r.last().Job != first {
		t.Errorf("what is written in the first thread goes to %s", r.last().Job)
	}
}

// A stranger beside the threads is turned away if he calls, and not heard if not.
func TestBesideStranger(t *testing.T) {
	r := start(t, newMem())
	if got := r.give(r.beside("x", "hello", false)); len(got) != 0 {
		t.Errorf("%q", got)
	}
	if got := r.give(r.beside("x", "hello", true)); len(got) != 1 || !strings.Contains(got[0], "Sorry") {
		t.Errorf("%q", got)
	}
}

// A guest writes the code where he is: the job gets a thread there, he is answered
// there and goes on there. A mistyped code is told each time, some times a day.
func TestGuestFromElsewhere(t *testing.T) {
	r := start(t, newMem())
	r.give(r.beside("noor", "new job our van", true))
	job := r.job()
	in := r.in("noor", "invite")
	in.Thread = r.last().Thread
	got := r.give(in)
	code := strings.TrimPrefix(got[len(got)-1], "code ")
	wrong := code[:len(code)-1] + map[bool]string{true: "3", false: "2"}[strings.HasSuffix(code, "2")]
	for range 2 {
		if got := r.give(r.beside("guest", wrong, true)); len(got) != 1 || !strings.Contains(got[0], "not valid") {
			t.Errorf("a code that is none: %q", got)
		}
	}
	first := r.beside("guest", "hello "+code, true)
	if r.give(first); r.last().Job != job || r.last().Thread != first.Thread {
		t.Errorf("answered in %s, thread %s", r.last().Job, r.last().Thread)
	}
	next := r.beside("guest", "61200 km", true)
	if got := r.give(next); len(got) == 0 || r.last().Job != job || r.last().Thread != first.Thread {
		t.Errorf("his next words: %q in %s", got, r.last().Thread)
	}
	if ts, _ := r.store.Threads(context.Background(), "oakroad", job); len(ts) != 2 || ts[1].For != flow.Customer {
		t.Errorf("the job lives in %v", ts)
	}
}

// What was asked on another day begins nothing and shows no board of today.
func TestAskedOnAnotherDay(t *testing.T) {
	r := start(t, newMem())
	for _, text := range []string{"new job unit 14", "board", "unit 14"} {
		in := r.in("boss", text)
		in.SentAt = r.clock.Now().Add(-50 * time.Hour)
		got := r.give(in)
		if len(got) != 1 || !strings.HasPrefix(got[0], "Still here. What you wrote 2 days ago") || r.last().Job != "" {
			t.Errorf("%q: %q", text, got)
		}
	}
}

// A message that can't be read is said so, in the job where there is one.
func TestUnreadable(t *testing.T) {
	r := start(t, newMem())
	in := r.in("tech", "")
	in.Fault = bot.FaultUnreadable
	if got := r.give(in); len(got) != 1 || !strings.Contains(got[0], "could not read") || r.last().Job != "" {
		t.Errorf("outside a job: %q", got)
	}
	in = r.in("x", "")
	in.Fault = bot.FaultUnreadable
	if got := r.give(in); len(got) != 1 || !strings.Contains(got[0], "Sorry") {
		t.Errorf("a stranger's: %q", got)
	}
}

// Several shops in one program: a message finds its own, and nobody finds
// another's.
func TestWhichShop(t *testing.T) {
	store, net := bottest.NewMemory(), &bottest.Fake{}
	b, err := bot.New(bot.Config{Store: store, Blobs: store, Networks: []bot.Network{net}, Program: "test", Shops: []bot.Shop{
		{Name: "oakroad", People: map[bot.Identity]flow.Role{"fake:tech": flow.Technician, "fake:boss": flow.Supervisor}},
		{Name: "millst", People: map[bot.Identity]flow.Role{"fake:ann": flow.Technician, "fake:chief": flow.Supervisor},
			Rooms: map[string]flow.Role{"yard": flow.Technician}},
	}})
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- b.Run(ctx) }()
	defer func() {
		cancel()
		if err := <-done; err != nil {
			t.Error(err)
		}
	}()
	n := 0
	say := func(who, room, thread, text string) bot.Outbound {
		t.Helper()
		n++
		if err := b.Handle(ctx, bot.Inbound{Network: "fake", Thread: bot.Thread(thread), Room: room, From: bot.Identity("fake:" + who),
			Delivery: fmt.Sprint("d", n), Text: text}); err != nil {
			t.Fatal(err)
		}
		if err := b.Flush(ctx); err != nil {
			t.Fatal(err)
		}
		s := slices.DeleteFunc(net.Sent(), func(o bot.Outbound) bool { return o.Reply.Kind == flow.Card })
		return s[len(s)-1]
	}
	for _, c := range []struct{ who, room, thread, text, shop string }{
		{"tech", "", "a", "new job unit 14", "oakroad"},
		{"ann", "", "b", "new job unit 15", "millst"},
		{"new", "yard", "c", "new job unit 16", "millst"},
		{"x", "", "d", "hello", "oakroad"},
		{"chief", "", "e", "board", "millst"},
	} {
		if o := say(c.who, c.room, c.thread, c.text); o.Shop != c.shop {
			t.Errorf("%s says %q in %q: shop %s, want %s", c.who, c.text, c.thread, o.Shop, c.shop)
		}
	}
	if text := say("chief", "", "e", "board").Reply.Text; strings.Contains(text, "unit 14") || !strings.Contains(text, "unit 16") {
		t.Errorf("a supervisor's board: %q", text)
	}
	if text := say("boss", "", "f", "board").Reply.Text; !strings.Contains(text, "unit 14") || strings.Contains(text, "unit 15") {
		t.Errorf("the other's board: %q", text)
	}
	// In another shop's thread one is a stranger, whatever one is at home.
	if o := say("boss", "", "b", "yes"); o.Shop != "millst" || !strings.Contains(o.Reply.Text, "Sorry") {
		t.Errorf("in another shop's thread: %s %q", o.Shop, o.Reply.Text)
	}
}

// keeper is a network that keeps things of its own.
type keeper struct {
	bottest.Fake
	asked []bot.Forgotten
	err   error
}

func (f *keeper) Forget(_ context.Context, what bot.Forgotten) error {
	f.asked = append(f.asked, what)
	return f.err
}

// An erasure reaches what the networks keep; one that can't lingers, and says so.
func TestErasureReachesNetworks(t *testing.T) {
	r := start(t, newMem())
	net := &keeper{}
	r.stop()
	r.again(func(c *bot.Config) { c.Networks = []bot.Network{net} })
	in := r.in("tech", "new job unit 14")
	if err := r.bot.Handle(context.Background(), in); err != nil {
		t.Fatal(err)
	}
	job := r.store.currentOf("fake:tech")
	e, err := r.bot.Erase(context.Background(), "oakroad", job)
	if err != nil || e.Lingers || len(net.asked) != 1 || net.asked[0].Job != job || len(net.asked[0].Threads) != 1 {
		t.Fatalf("%+v, %v, asked %+v", e, err, net.asked)
	}
	if err := r.bot.Handle(context.Background(), r.in("tech", "new job unit 15")); err != nil {
		t.Fatal(err)
	}
	net.err = errors.New("locked")
	e, err = r.bot.Erase(context.Background(), "oakroad", "fake:tech")
	if err != nil || !e.Lingers || net.asked[1].People[0] != "fake:tech" || net.asked[1].Job != "" {
		t.Errorf("%+v, %v, asked %+v", e, err, net.asked)
	}
}

// What looks like an answer to the question just put to him is asked about once,
// and is never taken as one; other talk is left alone.
func TestAnswerBeside(t *testing.T) {
	r := startStep(t, newMem(), flow.Step)
	r.give(r.beside("tech", "new job unit 14, bay, 48210 mi", true)) // asks: tachograph? no, yes
	job, hint := r.job(), "answer in its thread, or reply to my message"
	n := len(r.entries(job))
	beside := func(who, text string, want int) {
		t.Helper()
		got := r.give(r.beside(who, text, false))
		if len(got) != want || want > 0 && !strings.Contains(got[0], hint) {
			t.Errorf("%s beside the thread: %q is answered %q", who, text, got)
		}
	}
	beside("tech", "no idea where the kettle is", 0)
	beside("tech", "nobody here?", 0)
	beside("boss", "no", 0)
	beside("x", "no", 0)
	beside("tech", "no", 1)
	beside("tech", "no", 0) // once for each question
	beside("tech", "1", 0)
	if len(r.entries(job)) != n {
		t.Error("talk went into the job")
	}
	in := r.in("tech", "no")
	in.Job = job
	r.give(in)                                                     // the checklist
	r.give(r.beside("tech", "new job unit 15, bay, 100 mi", true)) // two jobs
	beside("tech", "all yes", 1)
	beside("tech", "yes", 1) // of the other
	in = r.in("tech", "13.4, all yes")
	in.Job = job
	r.give(in) // the size of the placard
	beside("tech", "yes", 0)
	in = r.in("tech", "note x")
	in.Job = job
	r.give(in)
	r.clock.pass(11 * time.Minute)
	beside("tech", "all yes", 0)
}

// "Parked" beside the thread is asked about however long the drive was.
func TestParkedBeside(t *testing.T) {
	r := startStep(t, newMem(), flow.Step)
	r.give(r.beside("tech", "new job unit 30, in the bay, 48210 mi", true))
	for _, text := range []string{"no", "all yes 13.4", "LT265/70R17 121/118S, 2438 mm circumference, step 1, 1800 to 3000", "yes, both",
		"on the laptop in folder a", "LT285/75R17 121/118S 12/12, placard pressure, gears unchanged", "write", "took", "2596", "none", "go"} {
		in := r.in("tech", text)
		in.Job = r.job()
		r.give(in)
	}
	r.clock.pass(40 * time.Minute)
	if got := r.give(r.beside("tech", "yes", false)); len(got) != 0 {
		t.Errorf("on the road: %q", got)
	}
	if got := r.give(r.beside("tech", "parked", false)); len(got) != 1 || !strings.Contains(got[0], "reply to my message") {
		t.Errorf("parked: %q", got)
	}
}

// direct is a message in a direct message, each of which could begin a thread.
func (r *rig) direct(who, text string) bot.Inbound {
	in := r.beside(who, text, true)
	in.Direct = true
	return in
}

// A greeting in a direct message leaves no empty job beside the one that is meant.
func TestGreetingIsFilled(t *testing.T) {
	r := startStep(t, newMem(), flow.Step)
	r.give(r.direct("tech", "hi"))
	first, thread := r.job(), r.last().Thread
	r.clock.pass(time.Minute)
	r.give(r.direct("tech", "new job bobs van, bay, 70 mi"))
	if o := r.last(); o.Job != first || o.Thread != thread || !strings.Contains(o.Reply.Text, "bobs van") {
		t.Errorf("in job %s, thread %s: %q", o.Job, o.Thread, o.Reply.Text)
	}
	r.give(r.direct("tech", "new job unit 15, bay, 48210 mi"))
	if r.last().Job == first {
		t.Error("a job with a vehicle is filled anew")
	}
	// One that was greeted elsewhere, and one in which others speak, is left alone.
	r.give(r.direct("noor", "hello"))
	greeted := r.last().Job
	r.give(r.beside("noor", "new job unit 16", true))
	if r.last().Job == greeted {
		t.Error("a job asked for in a room is in the direct messages")
	}
}

// In a direct message the job that asked last is meant; the others are listed where
// none asked.
func TestDirectPrefersLastAsked(t *testing.T) {
	r := startStep(t, newMem(), flow.Step)
	r.give(r.direct("tech", "new job bobs van, bay, 70 mi"))
	first := r.job()
	r.clock.pass(time.Minute)
	r.give(r.direct("tech", "new job unit 15, bay, 48210 mi"))
	second := r.job()
	r.clock.pass(time.Minute)
	if r.give(r.direct("tech", "no")); r.last().Job != second {
		t.Errorf("answered in %q, want %s", r.last().Job, second)
	}
	r.clock.pass(time.Minute)
	in := r.in("tech", "no")
	in.Job = first
	r.give(in)
	r.clock.pass(2 * time.Hour)
	if r.give(r.direct("tech", "all yes 13.4")); r.last().Job != first {
		t.Errorf("answered in %q, want %s", r.last().Job, first)
	}
	r.clock.pass(150 * time.Minute)
	got := r.give(r.beside("tech", "2438", true))
	if len(got) != 1 || !strings.Contains(got[0], "waits for tech for 4 h") || strings.Contains(got[0], "UTC") || strings.Contains(got[0], "Open jobs") {
		t.Errorf("listed %q", got)
	}
}

// Who was only called to a job does not mean it by what he writes beside it.
func TestCalledDoesNotMean(t *testing.T) {
	r, _ := inHall(t, map[bot.Identity]string{"fake:boss": "Sam"})
	r.say("tech", "new job unit 14, bay, 48210 mi")
	first := r.job()
	r.say("tech", "call my supervisor")
	if r.give(r.beside("boss", "unit 15", true)); r.last().Job == first {
		t.Errorf("his words went into the job he was called to: %q", r.last().Reply.Text)
	}
}
