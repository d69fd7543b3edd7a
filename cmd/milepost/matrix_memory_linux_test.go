package main

import (
	"testing"
	"time"

	"milepost/adapters/matrix/person"
	"milepost/bot/bottest"
	"milepost/flow"
)

// What the program holds in memory with a thousand open jobs, in encrypted rooms
// where the build has them: after it has begun them, and after a start with
// messages in half of them. The figures are printed, not judged.
func TestMatrixMemory(t *testing.T) {
	t.Parallel()
	jobs, rooms := 1000, 10
	if testing.Short() {
		jobs, rooms = 50, 2
	}
	c := newCrew(t, person.CanEncrypt, flow.Policy{}, bottest.ScriptPerson{Name: "tech", Role: flow.Technician})
	c.start().ready()
	empty, _, _ := c.memory()
	tech := c.people["tech"]
	var at []person.RoomID
	for range rooms {
		at = append(at, c.newRoom(tech))
	}
	began := time.Now()
	var all []*begunJob
	for i := range jobs {
		all = append(all, c.begin(tech, at[i%rooms], i))
	}
	for _, room := range at {
		c.cards(tech, room, all)
	}
	if n := c.heardAll(jobs, time.Minute); n != jobs {
		t.Errorf("%d jobs of %d", n, jobs)
	}
	took := time.Since(began)
	now, peak, _ := c.memory()
	c.stop()
	c.start().ready()
	for _, j := range all[:jobs/2] {
		tech.SayInThread(j.room, j.root, "no")
	}
	c.heardAll(jobs+jobs/2, 5*time.Minute)
	again, peakAgain, _ := c.memory()
	c.stop()
	t.Logf("resident memory, MB: %.1f without a job; %.1f (peak %.1f) after %d jobs were begun, encrypted %v, in %v; %.1f (peak %.1f) started anew, with %d messages",
		empty, now, peak, jobs, c.encrypted, took.Round(time.Second), again, peakAgain, jobs/2)
}
