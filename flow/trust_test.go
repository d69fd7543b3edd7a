package flow_test

import (
	"slices"
	"testing"
	"time"

	"milepost/flow"
)

// Where policy asks for it, what a supervisor decides from a device that nobody
// has verified changes nothing; reading along and other roles are not touched.
func TestVerifiedDevice(t *testing.T) {
	now := time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)
	run := func(s *flow.State, m flow.Message, p flow.Policy) flow.Outcome {
		t.Helper()
		out, err := flow.Step(s, m, flow.Env{Now: now, Policy: p})
		if err != nil {
			t.Fatal(err)
		}
		return out
	}
	strict := flow.Policy{Verified: true}
	begin := run(flow.NewState("main", "k7mw2pd"), flow.Message{ID: "1", Who: "aa", Role: flow.Technician, Text: "new job unit 14",
		Join: &flow.Person{Who: "aa", Role: flow.Technician, Name: "tech", Identity: "x:tech"}, Trust: flow.Unverified}, strict).State
	boss := &flow.Person{Who: "bb", Role: flow.Supervisor, Name: "sam", Identity: "x:sam"}
	for _, c := range []struct {
		text   string
		trust  flow.Trust
		policy flow.Policy
		counts bool
	}{
		{"waive backup: module can't be read", flow.Unverified, strict, false},
		{"stop the job, sold", flow.Verified, strict, true},
		{"waive backup: module can't be read", flow.Verified, strict, true},
		{"waive backup: module can't be read", flow.Unverified, flow.Policy{}, true},
		{"waive backup: module can't be read", "", strict, true}, // a network without devices
	} {
		out := run(begin, flow.Message{ID: "2", Who: "bb", Role: flow.Supervisor, Join: boss, Text: c.text, Trust: c.trust}, c.policy)
		refused := slices.ContainsFunc(out.Replies, func(r flow.Reply) bool {
			return r.Kind == flow.Refusal && r.Role == flow.Supervisor && len(out.Entries) <= 3
		})
		if refused == c.counts {
			t.Errorf("%q from a %q device: %+v", c.text, c.trust, out.Replies)
		}
		heard := slices.IndexFunc(out.Entries, func(e flow.Entry) bool { return e.Kind == flow.KindHeard })
		if f := out.Entries[heard].Fact.(*flow.HeardFact); f.Trust != c.trust {
			t.Errorf("the log has %q of a %q device", f.Trust, c.trust)
		}
	}
	out := run(begin, flow.Message{ID: "3", Who: "bb", Role: flow.Supervisor, Join: boss, Text: "where are we", Trust: flow.Unverified}, strict)
	if len(out.Replies) == 0 || out.Replies[0].Kind == flow.Refusal {
		t.Errorf("reading along: %+v", out.Replies)
	}
}
