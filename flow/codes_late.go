package flow

import "strconv"

// A code or lamp that came up in a step that is past, by an edit or told late,
// stops the job as it would have done in its step.

// codesStep names the step that a reading of codes belongs to.
func codesStep(c *CodesFact) string {
	if c.When == "after_write" {
		return "change." + strconv.Itoa(c.Change)
	}
	return "drive." + strconv.Itoa(c.Drive)
}

// lateCodes is the latest reading of codes where something new in it was not
// decided about and its step does not ask any more; nil if there is none.
func (s *State) lateCodes() *CodesFact {
	c := s.LastCodes()
	if c == nil || c.When != "after_write" && c.When != "after_drive" {
		return nil
	}
	forbidden := stops(c.Lamps) && !s.roadWaived()
	if !forbidden && (!c.upsets() || s.Answers[Key{QNewCodes, codesStep(c)}].Value == "go_on") {
		return nil
	}
	switch s.Phase { // elsewhere the step itself asks, or it goes back already
	case PhaseTarget, PhaseReview, PhaseClose:
		return c
	case PhaseChange:
		if !s.writesDone() && !s.inTheAir() {
			return c
		}
	case PhaseDrive:
		if !s.Driving() && !(s.parked() && c.When == "after_drive" && c.Drive == s.lastDrive()) {
			return c
		}
	}
	return nil
}
