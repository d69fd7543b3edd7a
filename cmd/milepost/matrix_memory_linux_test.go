package main

import (
	"testing"

	"milepost/adapters/matrix/person"
	"milepost/bot/bottest"
	"milepost/flow"
)

// BenchmarkMatrixMemory is what the program holds in memory with a thousand open
// jobs, in encrypted rooms where the build has them: when it has begun them, and
// when it was started again and has heard a message in half of them.
//
//	go test -run '^$' -tags goolm -bench MatrixMemory -benchtime 1x ./cmd/milepost
func BenchmarkMatrixMemory(b *testing.B) {
	const jobs, rooms = 1000, 10
	for b.Loop() {
		c := newCrew(b, person.CanEncrypt, flow.Policy{}, bottest.ScriptPerson{Name: "tech", Role: flow.Technician})
		c.start().ready()
		empty, _, _ := c.memory()
		b.ReportMetric(empty, "empty-MB")
		tech := c.people["tech"]
		all := c.beginMany(tech, jobs, rooms)
		resident, peak, _ := c.memory()
		b.ReportMetric(resident, "resident-MB")
		b.ReportMetric(peak, "peak-MB")
		c.stop()
		c.start().ready()
		for _, j := range all[:jobs/2] {
			tech.SayInThread(j.room, j.root, "no")
		}
		if n := c.heardAll(jobs + jobs/2); n != jobs+jobs/2 {
			b.Fatalf("%d messages of %d", n, jobs+jobs/2)
		}
		again, _, _ := c.memory()
		b.ReportMetric(again, "again-MB")
		c.stop()
	}
}
