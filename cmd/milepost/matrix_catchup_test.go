package main

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"go.uber.org/goleak"

	"milepost/adapters/matrix/homeserver"
	"milepost/adapters/matrix/person"
	"milepost/bot/bottest"
	"milepost/flow"
)

// begunJob is a job as people see it.
type begunJob struct {
	room  person.RoomID
	begun person.EventID
	root  person.EventID   // its card
	wrote []person.EventID // what was written in it, in order
}

// begin begins a job and does not wait for its card.
func (c *crew) begin(of *person.Person, room person.RoomID, unit int) *begunJob {
	c.t.Helper()
	at := of.Mention(room, fmt.Sprintf("new job unit %d, in the bay, 48210 mi", unit), assistant)
	return &begunJob{room: room, begun: at, wrote: []person.EventID{at}}
}

// cards waits for the cards of jobs in a room, and notes them.
func (c *crew) cards(of *person.Person, room person.RoomID, jobs []*begunJob) {
	c.t.Helper()
	left := slices.DeleteFunc(slices.Clone(jobs), func(j *begunJob) bool { return j.room != room })
	of.Wait(room, fmt.Sprintf("the cards of %d jobs", len(left)), func(all []person.Event) bool {
		roots := map[person.EventID]person.EventID{}
		for _, e := range all {
			if isCard(e) {
				roots[e.ReplyTo] = e.ID
			}
		}
		for _, j := range left {
			j.root = roots[j.begun]
		}
		return !slices.ContainsFunc(left, func(j *begunJob) bool { return j.root == "" })
	})
}

// beginMany begins jobs in as many new rooms and waits until all stand there.
func (c *crew) beginMany(of *person.Person, jobs, rooms int) []*begunJob {
	c.t.Helper()
	var at []person.RoomID
	for range rooms {
		at = append(at, c.newRoom(of))
	}
	var all []*begunJob
	for i := range jobs {
		all = append(all, c.begin(of, at[i%rooms], i))
	}
	for _, room := range at {
		c.cards(of, room, all)
	}
	if n := c.heardAll(jobs); n != jobs {
		c.t.Fatalf("%d jobs of %d", n, jobs)
	}
	return all
}

// heardAll waits until that many messages are in the logs; the number that are.
func (c *crew) heardAll(most int) int {
	c.t.Helper()
	n := 0
	for end := time.Now().Add(person.Patience); n < most && time.Now().Before(end); time.Sleep(50 * time.Millisecond) {
		heard, _, err := heardOnce(c.data)
		if err != nil {
			c.t.Fatal(err)
		}
		n = len(heard)
	}
	return n
}

// While the program is down, more is written in ten threads than a sync brings.
// It takes all of it in, in the order of each thread, though it is told to stop
// in the middle of it.
func TestMatrixCatchUp(t *testing.T) {
	const rooms, threads = 2, 10
	plainAndEncrypted(t, func(t *testing.T, encrypted bool) {
		messages := 500
		if testing.Short() {
			messages = 150
		}
		c := newCrew(t, encrypted, flow.Policy{}, bottest.ScriptPerson{Name: "tech", Role: flow.Technician}, bottest.ScriptPerson{Name: "kim", Role: flow.Technician})
		c.start().ready()
		tech := c.people["tech"]
		var all []person.RoomID
		for range rooms {
			all = append(all, c.newRoom(tech, "kim"))
		}
		var jobs []*begunJob
		for i := range threads {
			jobs = append(jobs, c.begin(tech, all[i%rooms], i))
		}
		for _, room := range all {
			c.cards(tech, room, jobs)
		}
		c.heardAll(threads)
		c.stop()

		for i := range messages {
			j, p := jobs[i%threads], tech
			if i/threads%3 == 2 {
				p = c.people["kim"]
			}
			j.wrote = append(j.wrote, p.SayInThread(j.room, j.root, fmt.Sprintf("note number %d", i/threads)))
		}
		began := time.Now()
		c.start().ready()
		before := c.heardAll(threads + messages/10)
		stopped := c.stop()
		c.start()
		c.heardAll(threads + messages)
		took := time.Since(began)

		heard, ends, err := heardOnce(c.data)
		if err != nil {
			t.Fatal(err)
		}
		logs := map[string][]flow.Entry{}
		for job := range ends {
			if logs[job], err = c.Log(job); err != nil {
				t.Fatal(err)
			}
		}
		doubled, misplaced := 0, 0
		for _, j := range jobs {
			got := heardIn(logs, inLog(j.begun))
			for i, id := range j.wrote {
				doubled += max(0, heard[inLog(id)]-1)
				if i >= len(got) || got[i] != inLog(id) {
					misplaced++
				}
			}
		}
		n := c.tally(logs, all...)
		n.holds(t)
		t.Logf("%d messages written in %d threads of %d rooms while it was down: %d heard, %d twice, %d out of order, in %v, with a stop after %d that took %v; %v; %s",
			messages, threads, rooms, len(heard)-threads, doubled, misplaced, took.Round(time.Millisecond), before-threads, stopped.Round(time.Millisecond), n, c.repeats())
		if len(heard) != threads+messages || doubled+misplaced > 0 {
			t.Errorf("%d messages of %d, %d twice, %d out of order", len(heard), threads+messages, doubled, misplaced)
		}
		if before == threads+messages {
			t.Error("the stop came after the last message")
		}
		c.stop()
	})
}

// heardIn gives the messages of the job that begins with one, in order.
func heardIn(logs map[string][]flow.Entry, begun string) []string {
	for _, log := range logs {
		var ids []string
		for i := range log {
			if f, ok := log[i].Fact.(*flow.HeardFact); ok {
				ids = append(ids, f.ID)
			}
		}
		if len(ids) > 0 && ids[0] == begun {
			return ids
		}
	}
	return nil
}

// A stop in the middle of work leaves nothing running in this process.
func TestMatrixStopLeaksNothing(t *testing.T) {
	before := goleak.IgnoreCurrent()
	t.Cleanup(func() { goleak.VerifyNone(t, before) }) // after the server's and the people's own
	c := newCrew(t, person.CanEncrypt, flow.Policy{}, bottest.ScriptPerson{Name: "tech", Role: flow.Technician})
	v := &served{t: t, file: c.file, done: make(chan error, 1)}
	cfg, err := readConfig(c.file)
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	v.cancel = cancel
	t.Cleanup(cancel)
	go func() { v.done <- serve(ctx, &streams{out: &v.out, err: &v.err}, cfg) }()
	v.eventually("ready", func() bool { return strings.HasPrefix(v.out.String(), "ready: matrix; ") })
	tech := c.people["tech"]
	room := c.newRoom(tech)
	var jobs []*begunJob
	for i := range 5 {
		jobs = append(jobs, c.begin(tech, room, i))
	}
	c.cards(tech, room, jobs)
	c.proxy.Fail(20, "PUT", "/send/", homeserver.Fault{Delay: 30 * time.Second}) // what hangs must not hold up the stop
	for _, j := range jobs {
		tech.SayInThread(room, j.root, "no")
	}
	time.Sleep(200 * time.Millisecond)
	began := time.Now()
	if err := v.stop(); err != nil {
		t.Errorf("it stopped with %v\n%s", err, tail(v.err.String(), 20))
	}
	t.Logf("stopped in %v while messages were on their way", time.Since(began).Round(time.Millisecond))
}
