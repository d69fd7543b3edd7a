package flow

import (
	"strings"
	"testing"
)

// Whoever opens a job has the work of it, by name on the card and asked by name;
// a supervisor or helper only until a technician or customer speaks, or for good
// once it was handed over to him.
func TestOpenerOwns(t *testing.T) {
	kim := Message{Text: "new job unit 14, bay", Join: &Person{Who: "3", Role: Supervisor, Name: "Kim"}}
	p := playFrom(t, Policy{}).as("3", Supervisor)
	if p.step(kim); p.s.Owner != "3" || !strings.Contains(CardText(p.s, Policy{}, p.clock, false), "waits for Kim") {
		t.Errorf("owner %q, card %q", p.s.Owner, CardText(p.s, Policy{}, p.clock, false))
	}
	if q := p.last[len(p.last)-1]; q.Kind != Prompt || len(q.To) != 1 || q.To[0] != "3" {
		t.Errorf("asked: %+v", q)
	}
	noor := Message{Text: "where are we", Join: &Person{Who: "2", Role: Helper, Name: "Noor"}}
	if p.as("2", Helper).step(noor); p.s.Owner != "3" {
		t.Error("a helper who asks has the work")
	}
	ann := Message{Text: "48210 mi", Join: &Person{Who: "1", Role: Technician, Name: "Ann"}}
	if p.as("1", Technician).step(ann); p.s.Owner != "1" {
		t.Error("the technician who speaks has not")
	}

	p = playFrom(t, Policy{}).as("3", Supervisor)
	p.step(kim)
	p.step(Message{Text: "take over"})
	if p.as("1", Technician).step(ann); p.s.Owner != "3" {
		t.Error("the one who took over has it no more")
	}
}
