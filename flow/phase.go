package flow

import (
	"context"
	"errors"
	"fmt"

	"github.com/looplab/fsm"
)

// Phase is where a job stands. The names are the contract's.
type Phase string

// The phases in the order of a job.
const (
	PhaseOpen    Phase = "open"
	PhaseBefore  Phase = "before"
	PhaseFactory Phase = "factory"
	PhaseBackup  Phase = "backup"
	PhaseFitted  Phase = "fitted"
	PhaseTarget  Phase = "target"
	PhaseChange  Phase = "change"
	PhaseDrive   Phase = "drive"
	PhaseReview  Phase = "review"
	PhaseClose   Phase = "close"
	PhaseRecover Phase = "recover"
	PhaseClosed  Phase = "closed"
)

// Phases lists every phase in order.
var Phases = []Phase{PhaseOpen, PhaseBefore, PhaseFactory, PhaseBackup, PhaseFitted, PhaseTarget, PhaseChange, PhaseDrive, PhaseReview, PhaseClose, PhaseRecover, PhaseClosed}

// Event is a move from one phase to another.
type Event string

// The moves. Their names are ours; the diagram in DEVELOPERS.md is drawn from them.
const (
	EvOpened     Event = "opened"      // vehicle, place and units known, not a regulated use
	EvRegulated  Event = "regulated"   // the use is regulated: ends at an approved workshop
	EvApproved   Event = "approved"    // a supervisor states that the shop is an approved workshop
	EvReady      Event = "ready"       // checklist before anything confirmed
	EvOriginal   Event = "original"    // the original value is written down
	EvKept       Event = "kept"        // a backup of every module to be written is kept
	EvDescribed  Event = "described"   // the fitted tyres are known
	EvWrite      Event = "write"       // a value is to be written
	EvDriveFirst Event = "drive_first" // a drive at the factory value comes before the first write
	EvVerified   Event = "verified"    // every module reads back what was meant
	EvDriven     Event = "driven"      // parked, with readings
	EvMore       Event = "more"        // more readings at the present value
	EvRetarget   Event = "retarget"    // an amended answer moved the target
	EvFinish     Event = "finish"      // the decision is done or cannot be better
	EvClose      Event = "close"       // handed over
	EvStop       Event = "stop"        // ended without a result
	EvRecover    Event = "recover"     // back to the original
	EvRestored   Event = "restored"    // the original reads back
	EvReopen     Event = "reopen"      // a finished result is taken up again
)

// row is one line of the transition table: from any of these phases to that one.
type row struct {
	Event Event
	From  []Phase
	To    Phase
}

// table holds every move, in the order of the job. Two rows for one event and
// phase would silently shadow each other in the machine; a test forbids them.
var table = []row{
	{EvOpened, []Phase{PhaseOpen}, PhaseBefore},
	{EvRegulated, []Phase{PhaseOpen}, PhaseClosed},
	{EvApproved, []Phase{PhaseClosed}, PhaseBefore},
	{EvReady, []Phase{PhaseBefore}, PhaseFactory},
	{EvOriginal, []Phase{PhaseFactory}, PhaseBackup},
	{EvKept, []Phase{PhaseBackup}, PhaseFitted},
	{EvDescribed, []Phase{PhaseFitted}, PhaseTarget},
	{EvWrite, []Phase{PhaseTarget, PhaseReview}, PhaseChange},
	{EvDriveFirst, []Phase{PhaseTarget}, PhaseDrive},
	{EvVerified, []Phase{PhaseChange}, PhaseDrive},
	{EvDriven, []Phase{PhaseDrive}, PhaseReview},
	{EvMore, []Phase{PhaseReview}, PhaseDrive},
	{EvRetarget, []Phase{PhaseChange, PhaseDrive, PhaseReview}, PhaseTarget},
	{EvFinish, []Phase{PhaseReview}, PhaseClose},
	{EvReopen, []Phase{PhaseClose, PhaseClosed}, PhaseReview},
	{EvClose, []Phase{PhaseClose}, PhaseClosed},
	{EvStop, []Phase{PhaseOpen, PhaseBefore, PhaseFactory, PhaseBackup, PhaseFitted, PhaseTarget, PhaseChange, PhaseDrive, PhaseReview, PhaseClose, PhaseRecover}, PhaseClosed},
	{EvRecover, []Phase{PhaseFitted, PhaseTarget, PhaseChange, PhaseDrive, PhaseReview, PhaseClose, PhaseClosed}, PhaseRecover},
	{EvRestored, []Phase{PhaseRecover}, PhaseClosed},
}

// guards name the gates that a move must find open.
var guards = map[Event][]GateName{
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

// GateError is the refusal of a move by a closed gate.
type GateError struct {
	Gate  GateName
	Needs string // words key of what would open it
}

func (e *GateError) Error() string { return fmt.Sprintf("gate %s is closed: %s", e.Gate, e.Needs) }

// events is the table in the machine's own form, built once.
var events = fsmEvents()

func fsmEvents() fsm.Events {
	evs := make(fsm.Events, 0, len(table))
	for _, r := range table {
		src := make([]string, len(r.From))
		for i, p := range r.From {
			src[i] = string(p)
		}
		evs = append(evs, fsm.EventDesc{Name: string(r.Event), Src: src, Dst: string(r.To)})
	}
	return evs
}

// rowsOf holds the rows of each event by itself: a machine that is built for one
// move needs no others, and is built in a tenth of the time.
var rowsOf = func() map[Event]fsm.Events {
	m := map[Event]fsm.Events{}
	for _, e := range events {
		m[Event(e.Name)] = append(m[Event(e.Name)], e)
	}
	return m
}()

// move fires ev from the state's phase and returns the phase it leads to. The
// machine is built for this one move and dropped: it holds no truth of its own.
// A closed gate comes back as *GateError.
func move(s *State, ev Event) (Phase, error) {
	callbacks := fsm.Callbacks{}
	for _, g := range guards[ev] {
		// One callback per event: the first closed gate cancels.
		gate := g
		prev := callbacks["before_"+string(ev)]
		callbacks["before_"+string(ev)] = func(ctx context.Context, e *fsm.Event) {
			if prev != nil {
				if prev(ctx, e); e.Err != nil {
					return
				}
			}
			if open, needs := gateOpen(s, gate); !open {
				e.Cancel(&GateError{Gate: gate, Needs: needs})
			}
		}
	}
	m := fsm.NewFSM(string(s.Phase), rowsOf[ev], callbacks)
	err := m.Event(context.Background(), string(ev))
	var cancelled fsm.CanceledError
	var shut *GateError
	switch {
	case errors.As(err, &cancelled) && errors.As(cancelled.Err, &shut):
		return s.Phase, shut
	case err != nil:
		return s.Phase, fmt.Errorf("move %s from %s: %w", ev, s.Phase, err)
	}
	return Phase(m.Current()), nil
}

// can says whether the table has a move ev from phase p, gates aside.
func can(p Phase, ev Event) bool {
	for _, r := range table {
		if r.Event != ev {
			continue
		}
		for _, f := range r.From {
			if f == p {
				return true
			}
		}
	}
	return false
}

// Diagram draws the transition table for DEVELOPERS.md, in Mermaid.
func Diagram() (string, error) {
	d, err := fsm.VisualizeWithType(fsm.NewFSM(string(PhaseOpen), events, nil), fsm.MermaidStateDiagram)
	if err != nil {
		return "", fmt.Errorf("draw transitions: %w", err)
	}
	return d, nil
}
