package main

import (
	"fmt"
	"net/url"
	"slices"
	"sync"
	"testing"
	"time"

	"milepost/adapters/slack"
	"milepost/adapters/slack/workspace"
	"milepost/bot/bottest"
	"milepost/flow"
)

// BenchmarkSlackReply is the way of a message through the whole program, which is
// a process of its own with its store on the disk, with 200 jobs in progress in
// ten channels. The workspace's rate limits are off, and so is the program's own
// pace of a message a second in a channel.
//
// reply is from the moment somebody begins to send a message to the arrival of the
// first chat.postMessage that answers it: what the workspace takes to deliver the
// message, and for other calls in between, counts to the program. ack is from an
// envelope's leaving to its acknowledgement, for everything that is delivered
// meanwhile, the program's own messages included.
//
// "8 at once" has eight messages written one behind the other before any is waited
// for; in "200 at once" one in each job. Jobs come to their end after 18 turns:
// -benchtime of up to 5s leaves some over.
func BenchmarkSlackReply(b *testing.B) {
	for _, http := range []bool{false, true} {
		b.Run(map[bool]string{false: "socket", true: "http"}[http], func(b *testing.B) { benchmarkSlackReply(b, http) })
	}
}

func benchmarkSlackReply(b *testing.B, http bool) {
	const jobs, channels = 200, 10
	var names []string
	for i := range channels {
		names = append(names, fmt.Sprintf("bay%d", i))
	}
	tech := []bottest.ScriptPerson{{Name: "tech", Role: flow.Technician}}
	c := newSlackCrew(b, http, workspace.Options{NoRateLimit: true, NoPreviews: true}, flow.Policy{Speed: "mph", Rule: "none", WorkSpeed: 65}, tech, names...)
	c.program = "milepost-unpaced"
	watch := newPostWatch(c.w)
	c.start()
	c.connect()
	empty, _, _ := c.memory()
	var all []*slackJob
	for i := 0; i < jobs; i += channels {
		all = append(all, c.beginOneEach(names, i)...)
	}
	answers := script(b, "bay").Inputs // how many there are to each input
	for _, j := range all {
		j.answers = len(answers[0].Said)
		watch.nth(b, j.root, j.answers-1)
	}
	turn := 0 // each job is led on, one input after the other
	write := func() (*slackJob, int, time.Time) {
		j, n := all[turn%jobs], 1+turn/jobs
		turn++
		if n >= len(wholeJob)-1 {
			b.Fatal("all jobs are at their end: ask for fewer runs")
		}
		text := wholeJob[n]
		if text == theFile {
			text = "on the shop laptop under this unit"
		}
		first := j.answers
		j.answers += len(answers[n].Said)
		at := time.Now()
		c.w.User("tech").SayInThread(j.channel, j.root, text)
		return j, first, at
	}
	for _, burst := range []int{1, 8, jobs} {
		b.Run(fmt.Sprintf("%d at once", burst), func(b *testing.B) {
			var replies []time.Duration
			before := len(c.w.Acks())
			for b.Loop() {
				js, first, at := make([]*slackJob, burst), make([]int, burst), make([]time.Time, burst)
				for i := range burst {
					js[i], first[i], at[i] = write()
				}
				for i, j := range js {
					replies = append(replies, watch.nth(b, j.root, first[i]).Sub(at[i]))
				}
			}
			took := b.Elapsed()
			if !c.w.Settle(workspace.Patience) {
				b.Error("deliveries are not acknowledged")
			}
			var acks []time.Duration
			for _, a := range c.w.Acks()[before:] {
				if !a.OK || a.Attempt > 0 {
					b.Errorf("%+v", a)
				}
				acks = append(acks, a.Took)
			}
			for name, of := range map[string][]time.Duration{"ack": acks, "reply": replies} {
				slices.Sort(of)
				b.ReportMetric(float64(of[len(of)/2])/1e6, name+"-p50-ms")
				b.ReportMetric(float64(of[len(of)*99/100])/1e6, name+"-p99-ms")
			}
			b.ReportMetric(float64(len(replies)), "messages")
			b.ReportMetric(float64(len(replies))/took.Seconds(), "turns/s")
			if now, peak, ok := c.memory(); ok {
				b.ReportMetric(empty, "empty-MB")
				b.ReportMetric(now, "resident-MB")
				b.ReportMetric(peak, "peak-MB")
			}
		})
	}
	c.stop()
}

// slackJob is a job as people see it.
type slackJob struct {
	channel, root string
	answers       int // posts in its thread that are to come, all inputs so far counted
}

// beginOneEach begins a job in each channel and waits for their cards.
func (c *slackCrew) beginOneEach(channels []string, unit int) []*slackJob {
	c.t.Helper()
	var list []*slackJob
	begun := map[string]string{}
	for i, name := range channels {
		begun[name] = c.w.User("tech").Say(name, fmt.Sprintf("@milepost new job unit %d, in the bay, 48210 mi", unit+i))
	}
	for _, name := range channels {
		j := &slackJob{channel: name}
		if !c.w.Await(workspace.Patience, func() bool {
			for _, m := range c.w.Messages(name, "") {
				if m.TS > begun[name] && m.App && marksOf(m).Thread != "" {
					j.root = m.TS
				}
			}
			return j.root != ""
		}) {
			c.t.Fatal("there is no card")
		}
		list = append(list, j)
	}
	return list
}

// postWatch notes when posts in threads arrive.
type postWatch struct {
	mu      sync.Mutex
	at      map[string][]time.Time // by the thread's root
	changed chan struct{}
}

func newPostWatch(w *workspace.Workspace) *postWatch {
	p := &postWatch{at: map[string][]time.Time{}, changed: make(chan struct{})}
	w.Fault(workspace.Fault{Method: "chat.postMessage", Times: -1, Only: func(args url.Values) bool {
		p.mu.Lock()
		defer p.mu.Unlock()
		root := args.Get("thread_ts")
		p.at[root] = append(p.at[root], time.Now())
		close(p.changed)
		p.changed = make(chan struct{})
		return false
	}})
	return p
}

// nth waits for a thread's post with that number and says when it came.
func (p *postWatch) nth(b *testing.B, root string, n int) time.Time {
	b.Helper()
	late := time.After(workspace.Patience)
	for {
		p.mu.Lock()
		at, changed := p.at[root], p.changed
		p.mu.Unlock()
		if len(at) > n {
			return at[n]
		}
		select {
		case <-changed:
		case <-late:
			b.Fatalf("post %d in thread %s does not come", n+1, root)
		}
	}
}

// wireUnpaced is the Slack network without its pause between messages, which no
// configuration switches off.
func wireUnpaced(c *config, k kit) (network, error) {
	s, err := slack.New(slack.Config{BotToken: c.slack.botToken, AppToken: c.slack.appToken, SigningSecret: c.slack.signing, EventsAddr: c.slack.events,
		APIURL: c.slack.api, Team: c.slack.team, Dir: k.own(slack.NetworkName), May: c.mayOnSlack, MaxFile: c.maxFile(), Blobs: k.blobs, Every: -1,
		Program: program(), Log: k.log})
	if err != nil {
		return nil, fmt.Errorf("unpaced: %w", err)
	}
	return slackNetwork{s}, nil
}
