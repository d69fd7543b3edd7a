package flow_test

import (
	"testing"
	"time"

	"milepost/flow"
)

// Who is told that a job is closed has changed nothing in it.
func TestClosedTakesNothing(t *testing.T) {
	now := time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)
	s := flow.NewState("main", "job1")
	join := &flow.Person{Who: "tech", Role: flow.Technician, Name: "tech", Identity: "x:tech"}
	say := func(text string) (kinds []flow.Kind) {
		t.Helper()
		now = now.Add(time.Minute)
		out, err := flow.Step(s, flow.Message{ID: text, Who: "tech", Role: flow.Technician, Text: text, Join: join}, flow.Env{Now: now, Policy: flow.Policy{}})
		if err != nil {
			t.Fatal(err)
		}
		s, join = out.State, nil
		for _, e := range out.Entries {
			kinds = append(kinds, e.Kind)
		}
		return kinds
	}
	say("new job unit 14, in the bay, 48210 mi")
	say("yes")
	if s.Phase != flow.PhaseClosed {
		t.Fatalf("phase %s", s.Phase)
	}
	for _, k := range say("LT265/70R17 121/118S, 2438 mm circumference") {
		if k == flow.KindStored || k == flow.KindSize || k == flow.KindAnswer {
			t.Errorf("records %s", k)
		}
	}
}
