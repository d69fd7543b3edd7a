package flow

import "testing"

// The bay conversation from the target on: shared conversations/bay.txtar.
func TestBayFromTargetToClosed(t *testing.T) {
	p := bay(t, Policy{WorkSpeed: 65}).at(PhaseTarget)
	p.said("Write 2596 mm (2518 to 2673", "6.6 % short")
	p.lines("drive first").at(PhaseDrive).said("GPS 65, then 60, 50, 62, 55")
	p.lines("go", "61/65 56/60 47/50 58/62 51/55", "parked, no lamps, no codes").at(PhaseChange)
	p.said("Write 2609.", "4.3 low", "give or take 0.7", "Five readings", "2438 to 2609")
	p.lines("took", "2609", "none").at(PhaseDrive).said("GPS 65, 60, 62")
	p.lines("go", "65/65 60/60 62/62", "parked none").at(PhaseReview)
	p.said("Done.", "30: 0.0 ± 0.6", "50: 0.0 ± 0.5", "65: 0.0 ± 0.6", "Eight readings on two drives")
	p.lines("close").at(PhaseClose).lines("all yes", "yes").at(PhaseClosed).said("Closed: 2609")
	if p.s.Stopped != "done" || len(p.s.Reminders) != 2 {
		t.Errorf("stopped %q, reminders %v", p.s.Stopped, p.s.Reminders)
	}
}
