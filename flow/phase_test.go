package flow

import (
	"context"
	"errors"
	"slices"
	"testing"

	"github.com/looplab/fsm"
)

// Two rows for one event and phase would leave the machine only the last.
func TestTableRowsUnique(t *testing.T) {
	type key struct {
		ev   Event
		from Phase
	}
	seen := map[key]bool{}
	events := map[Event]bool{}
	for _, r := range table {
		if events[r.Event] {
			t.Errorf("%s has two rows", r.Event)
		}
		events[r.Event] = true
		if !slices.Contains(Phases, r.To) {
			t.Errorf("%s leads to %q, which is no phase", r.Event, r.To)
		}
		for _, from := range r.From {
			if seen[key{r.Event, from}] {
				t.Errorf("%s from %s stands twice", r.Event, from)
			}
			seen[key{r.Event, from}] = true
			if !slices.Contains(Phases, from) {
				t.Errorf("%s starts from %q, which is no phase", r.Event, from)
			}
			if from == r.To {
				t.Errorf("%s leads from %s to itself: the machine calls that an error", r.Event, from)
			}
			if !can(from, r.Event) {
				t.Errorf("can(%s, %s) is false", from, r.Event)
			}
		}
	}
}

func TestPhasesReachedAndLeft(t *testing.T) {
	reached := reach(PhaseOpen, func(Event) bool { return true })
	for _, p := range Phases {
		if !reached[p] {
			t.Errorf("no way leads to %s", p)
		}
		left := false
		for _, r := range table {
			left = left || slices.Contains(r.From, p)
		}
		if !left {
			t.Errorf("no way leads out of %s", p)
		}
		if p != PhaseClosed && !reach(p, func(Event) bool { return true })[PhaseClosed] {
			t.Errorf("%s can never be closed", p)
		}
	}
}

// Recover is reachable from every phase after the backup and from closed, and
// from no phase before, where nothing can have been written.
func TestRecoverReachable(t *testing.T) {
	after := []Phase{PhaseFitted, PhaseTarget, PhaseChange, PhaseDrive, PhaseReview, PhaseClose, PhaseClosed}
	for _, p := range Phases {
		if want := slices.Contains(after, p); can(p, EvRecover) != want {
			t.Errorf("recover from %s: %v, want %v", p, !want, want)
		}
	}
	for _, r := range table {
		if r.Event == EvRecover && r.To != PhaseRecover {
			t.Errorf("recover leads to %s", r.To)
		}
	}
}

// No path of the table leads to a write, or to the drive that may come before
// it, without a move that asks the gate backup; and none past the question of
// regulated use without one that asks that gate, reopening included.
func TestNoPathMissesGate(t *testing.T) {
	tests := []struct {
		gate   GateName
		beyond []Phase
	}{
		{GateBackup, []Phase{PhaseFitted, PhaseTarget, PhaseChange, PhaseDrive, PhaseReview, PhaseClose}},
		{GateRegulated, []Phase{PhaseBefore, PhaseFactory, PhaseBackup, PhaseFitted, PhaseTarget, PhaseChange, PhaseDrive, PhaseReview, PhaseClose}},
	}
	for _, c := range tests {
		unasked := reach(PhaseOpen, func(ev Event) bool { return !slices.Contains(guards[ev], c.gate) })
		for _, p := range c.beyond {
			if unasked[p] {
				t.Errorf("a path to %s misses the gate %s", p, c.gate)
			}
		}
	}
	// Nearer to the write, the moves themselves ask, whatever came before.
	for _, r := range table {
		first := r.To == PhaseChange || r.Event == EvDriveFirst
		if first && !slices.Contains(guards[r.Event], GateBackup) {
			t.Errorf("%s leads to %s and does not ask the gate backup", r.Event, r.To)
		}
	}
}

// A job without a drive is not taken up again in the review, and no reading is
// taken where the table has not led to a drive.
func TestReopenNeedsReadings(t *testing.T) {
	all := bayFacts()
	for n := 2; n < len(all); n++ {
		for _, regulated := range []string{"no", "yes"} {
			facts := append(slices.Clone(all[:n]), &AnswerFact{Question: QRegulated, Value: regulated},
				&StoppedFact{How: "stopped"}, &PhaseFact{Phase: PhaseClosed, Event: EvStop})
			p := playFrom(t, Policy{}, facts...).as("1", Technician)
			for _, text := range []string{"61/65 56/60 47/50", "reopen", "go", "reopen"} {
				p.step(Message{Text: text})
			}
			if p.s.Phase != PhaseClosed || len(p.s.Readings) != 0 {
				t.Errorf("after %d facts, regulated %s: phase %s with %d readings", n, regulated, p.s.Phase, len(p.s.Readings))
			}
		}
	}
	for n, phase := range map[int]Phase{1: PhaseOpen, 3: PhaseOpen, 6: PhaseFactory, 8: PhaseBackup, 9: PhaseFitted, 12: PhaseFitted} {
		p := playFrom(t, Policy{}, append(slices.Clone(all[:n]), &PhaseFact{Phase: phase, Event: EvOpened})...)
		if p.step(Message{Text: "61/65 56/60 47/50"}); len(p.s.Readings) != 0 {
			t.Errorf("%s takes readings after %d facts", phase, n)
		}
	}
	// With the target they are those of a drive that was driven first: the move asks the gates.
	p := bay(t, Policy{}).at(PhaseTarget)
	if p.step(Message{Text: "61/65 56/60 47/50"}); len(p.s.Readings) != 3 || p.s.Phase != PhaseDrive {
		t.Errorf("%s with %d readings", p.s.Phase, len(p.s.Readings))
	}
}

// wantGuards is which gates a move must find open, written down a second time:
// a gate that is taken away from a move is a change of the job, not of a table.
var wantGuards = map[Event][]GateName{
	EvOpened:     {GateRegulated},
	EvApproved:   {GateRegulated},
	EvKept:       {GateBackup},
	EvWrite:      {GateRegulated, GateOriginal, GateBackup},
	EvDriveFirst: {GateRegulated, GateBackup, GateRoad},
	EvVerified:   {GateReadBack, GateRoad},
	EvMore:       {GateRoad},
	EvFinish:     {GateCodes},
	EvReopen:     {GateRegulated, GateBackup},
	EvRecover:    {GateOriginal},
}

var gateNames = []GateName{GateRegulated, GateOriginal, GateBackup, GateReadBack, GateRoad, GateCodes}

// Every move asks its gates: with one of them closed it is refused for just
// that gate and the phase stays; with all of them open it is made. Were the name
// of a callback mistyped, the machine would pass over it and the move be made.
func TestGuards(t *testing.T) {
	for ev, want := range wantGuards {
		for _, g := range want {
			if !slices.Contains(guards[ev], g) {
				t.Errorf("%s does not ask the gate %s", ev, g)
			}
		}
	}
	for ev := range guards {
		if !slices.ContainsFunc(table, func(r row) bool { return r.Event == ev }) {
			t.Errorf("%q is guarded and is no event of the table", ev)
		}
	}
	for _, r := range table {
		for _, from := range r.From {
			if to, err := move(stateAt(from, ""), r.Event); err != nil || to != r.To {
				t.Errorf("%s from %s with open gates: %s, %v", r.Event, from, to, err)
			}
			for _, g := range gateNames {
				guarded := slices.Contains(guards[r.Event], g)
				to, err := move(stateAt(from, g), r.Event)
				var shut *GateError
				switch {
				case guarded && (!errors.As(err, &shut) || shut.Gate != g || shut.Needs == "" || to != from):
					t.Errorf("%s from %s with %s closed: %s, %v", r.Event, from, g, to, err)
				case !guarded && err != nil:
					t.Errorf("%s from %s does not ask %s, and yet: %v", r.Event, from, g, err)
				}
			}
		}
	}
}

// stateAt is a job in a phase with every gate open but one.
func stateAt(p Phase, closed GateName) *State {
	s := playless()
	s.Phase = p
	for _, g := range gateNames {
		if g != closed {
			s.Waivers[g] = WaiverFact{Gate: g, Reason: true}
		}
	}
	// What opens by default in an empty job is closed by a fact.
	switch closed {
	case GateReadBack:
		s.Modules = []Module{{Name: "brakes", Now: Number(2438)}}
	case GateRoad:
		s.apply(&Entry{Seq: 1, Kind: KindCodes, V: 1, Fact: &CodesFact{When: "before", Lamps: []string{"brake"}}})
	}
	return s
}

// playless is a job of which nothing is known.
func playless() *State { return Fold("shop", "J1", nil) }

// What nobody may waive, and what only the statement of approval opens.
func TestNeverWaivable(t *testing.T) {
	for _, g := range gateNames {
		if never := g == GateOriginal || g == GateReadBack; waivable[g] == never {
			t.Errorf("gate %s: waivable %v", g, waivable[g])
		}
	}
	if open, needs := gateOpen(playless(), "another"); open || needs == "" {
		t.Error("a gate that nobody knows is open")
	}
}

// A move that the table has not is an error, not a refusal, and moves nothing.
func TestMoveNotInTable(t *testing.T) {
	for _, p := range Phases {
		for _, r := range table {
			if can(p, r.Event) {
				continue
			}
			to, err := move(stateAt(p, ""), r.Event)
			var shut *GateError
			if err == nil || errors.As(err, &shut) || to != p {
				t.Errorf("%s from %s: %s, %v", r.Event, p, to, err)
			}
		}
	}
	if to, err := move(stateAt(PhaseOpen, ""), "mistyped"); err == nil || to != PhaseOpen {
		t.Errorf("an unknown event: %s, %v", to, err)
	}
}

// What the machine's library does without a word. The tests above exist because
// of it; where one of these fails after an update, look at them again.
func TestMachineTraps(t *testing.T) {
	ctx := context.Background()
	cancelled, cancel := context.WithCancel(ctx)
	cancel()
	ab := fsm.Events{{Name: "go", Src: []string{"a"}, Dst: "b"}}
	stop := func(_ context.Context, e *fsm.Event) { e.Cancel(errors.New("no")) }

	t.Run("the last of two rows wins", func(t *testing.T) {
		m := fsm.NewFSM("a", append(slices.Clone(ab), fsm.EventDesc{Name: "go", Src: []string{"a"}, Dst: "c"}), nil)
		if err := m.Event(ctx, "go"); err != nil || m.Current() != "c" {
			t.Errorf("%s, %v", m.Current(), err)
		}
	})
	t.Run("a mistyped callback is ignored", func(t *testing.T) {
		m := fsm.NewFSM("a", ab, fsm.Callbacks{"before_og": stop})
		if err := m.Event(ctx, "go"); err != nil || m.Current() != "b" {
			t.Errorf("%s, %v", m.Current(), err)
		}
	})
	t.Run("Can does not ask the guards", func(t *testing.T) {
		m := fsm.NewFSM("a", ab, fsm.Callbacks{"before_go": stop})
		if !m.Can("go") {
			t.Error("it does")
		}
		var c fsm.CanceledError
		if err := m.Event(ctx, "go"); !errors.As(err, &c) || m.Current() != "a" {
			t.Errorf("%s, %v", m.Current(), err)
		}
	})
	t.Run("SetState takes anything", func(t *testing.T) {
		m := fsm.NewFSM("a", ab, nil)
		if m.SetState("nowhere"); m.Current() != "nowhere" {
			t.Error(m.Current())
		}
	})
	t.Run("to the same state is an error", func(t *testing.T) {
		m := fsm.NewFSM("a", fsm.Events{{Name: "stay", Src: []string{"a"}, Dst: "a"}}, nil)
		var same fsm.NoTransitionError
		if err := m.Event(ctx, "stay"); !errors.As(err, &same) {
			t.Error(err)
		}
	})
	t.Run("a cancelled context cancels the move", func(t *testing.T) {
		m := fsm.NewFSM("a", ab, nil)
		if err := m.Event(cancelled, "go"); !errors.Is(err, context.Canceled) || m.Current() != "a" {
			t.Errorf("%s, %v", m.Current(), err)
		}
	})
}

// reach gives the phases that lead on from one by the moves that pass.
func reach(from Phase, passes func(Event) bool) map[Phase]bool {
	seen := map[Phase]bool{from: true}
	for todo := []Phase{from}; len(todo) > 0; todo = todo[1:] {
		for _, r := range table {
			if slices.Contains(r.From, todo[0]) && passes(r.Event) && !seen[r.To] {
				seen[r.To] = true
				todo = append(todo, r.To)
			}
		}
	}
	return seen
}

// BenchmarkMove is one move: the machine is built for it.
func BenchmarkMove(b *testing.B) {
	s := stateAt(PhaseTarget, "")
	b.ReportAllocs()
	for b.Loop() {
		if _, err := move(s, EvWrite); err != nil {
			b.Fatal(err)
		}
	}
}
