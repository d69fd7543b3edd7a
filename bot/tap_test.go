package bot_test

import (
	"context"
	"slices"
	"strings"
	"testing"

	"milepost/bot"
	"milepost/flow"
)

// offered is the last message with choices that was sent in a job.
func (r *rig) offered(job string) bot.Outbound {
	r.t.Helper()
	for _, o := range slices.Backward(r.sent()) {
		if o.Job == job && len(o.Reply.Choices) > 0 {
			return o
		}
	}
	r.t.Fatalf("nothing offered in %s: %q", job, r.texts())
	return bot.Outbound{}
}

// tap gives a tap made in a thread.
func (r *rig) tap(who string, th bot.Thread, send string) bot.Inbound {
	in := r.in(who, "")
	in.Thread, in.Tap = th, send
	return in
}

// twoJobs are two open jobs of one person, each in a thread of its own and asking
// something that can be tapped.
func twoJobs(t *testing.T, change ...func(*bot.Config)) (r *rig, one, two bot.Outbound) {
	t.Helper()
	r = startStep(t, newMem(), flow.Step, change...)
	var jobs []string
	for _, words := range []string{"new job unit 7, in the bay, 1000 mi", "new job unit 8, in the bay, 2000 mi"} {
		in := r.beside("tech", words, true)
		r.give(in)
		jobs = append(jobs, r.job())
	}
	return r, r.offered(jobs[0]), r.offered(jobs[1])
}

// What a tap sends came back from a person's screen: made in one job's thread it
// never answers another job, never brings that job there, and is told as stale.
func TestTapOfAnotherJob(t *testing.T) {
	r, one, two := twoJobs(t)
	for _, send := range []string{two.Reply.Choices[0].Send, "rubbish", strings.Repeat("x", 900), "a b.1.yes", "zzzzzzz.1.yes", ".1.yes", one.Job + ".1.my secret words"} {
		before := len(r.entries(two.Job))
		got := r.give(r.tap("tech", one.Thread, send))
		if len(got) == 0 || !strings.Contains(got[0], "earlier step") {
			t.Errorf("%.40q: nothing says that it means nothing: %q", send, got)
		}
		if o := r.last(); o.Job != one.Job || o.Thread != one.Thread {
			t.Errorf("%.40q: answered in job %s, thread %s", send, o.Job, o.Thread)
		}
		if n := len(r.entries(two.Job)); n != before {
			t.Errorf("%.40q: the other job has %d entries more", send, n-before)
		}
		if ts, _ := r.store.Threads(context.Background(), "oakroad", two.Job); len(ts) != 1 {
			t.Errorf("%.40q: the other job lives in %v", send, ts)
		}
	}
	for _, e := range r.entries(one.Job) {
		if strings.Contains(string(e.Bytes), "secret") || strings.Contains(string(e.Bytes), "xxx") {
			t.Errorf("a person's words stand in an entry for good: %s", e.Bytes)
		}
	}
	in := r.in("tech", "note after it all")
	in.Thread = one.Thread
	if r.give(in); r.last().Job != one.Job {
		t.Errorf("what is written in the thread goes to %s", r.last().Job)
	}
}

// What was offered is taken where it was offered: in the job's thread, or in the
// room of alerts, which does not become a thread of the job by it. Where nothing
// was ever offered a tap means nothing.
func TestTapWhereItWasOffered(t *testing.T) {
	room := bot.JobThread{Network: "fake", Thread: "alerts", For: flow.Supervisor}
	r, one, two := twoJobs(t, func(c *bot.Config) { c.Shops[0].Alerts = []bot.JobThread{room} })
	answered := func(job string) int {
		n := 0
		for _, o := range r.sent() {
			if o.Job == job && o.Took != "" {
				n++
			}
		}
		return n
	}
	if r.give(r.tap("tech", one.Thread, one.Reply.Choices[0].Send)); answered(one.Job) == 0 {
		t.Errorf("not taken in its own thread: %q", r.texts())
	}
	r.give(r.tap("boss", room.Thread, two.Reply.Choices[0].Send))
	if answered(two.Job) == 0 {
		t.Errorf("not taken in the room of alerts: %q", r.texts())
	}
	if ts, _ := r.store.Threads(context.Background(), "oakroad", two.Job); len(ts) != 1 {
		t.Errorf("the job lives in %v", ts)
	}
	if got := r.give(r.tap("tech", "hall/nowhere", r.offered(two.Job).Reply.Choices[0].Send)); len(got) != 0 {
		t.Errorf("where nothing was offered: %q", got)
	}
	// A network that keeps what it offered says of which job that was.
	in := r.tap("boss", room.Thread, r.offered(one.Job).Reply.Choices[0].Send)
	in.Job = two.Job
	before := len(r.entries(one.Job))
	if r.give(in); len(r.entries(one.Job)) != before {
		t.Errorf("it is taken in the other job: %q", r.texts())
	}
}
