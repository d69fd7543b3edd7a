package flow

import "slices"

// Value gives the word answered to a question, "" if it is not answered.
func (s *State) Value(q QuestionID) string { return s.Answers[Key{q, ""}].Value }

// Num gives the number answered to a question and whether it is answered.
func (s *State) Num(q QuestionID) (float64, bool) {
	a, ok := s.Answers[Key{q, ""}]
	return a.Number, ok && !a.Skipped
}

// Has says whether a question was answered or skipped.
func (s *State) Has(q QuestionID) bool { return s.HasFor(q, "") }

// HasFor says whether a question about a thing was answered or skipped.
func (s *State) HasFor(q QuestionID, about string) bool {
	_, ok := s.Answers[Key{q, about}]
	return ok
}

// Home says whether the work is done at home.
func (s *State) Home() bool { return s.Value(QPlace) == "home" }

// CurrentDrive is the drive planned or under way, nil if none is.
func (s *State) CurrentDrive() *DriveState {
	if len(s.Drives) == 0 {
		return nil
	}
	d := &s.Drives[len(s.Drives)-1]
	if d.Parked {
		return nil
	}
	return d
}

// Driving says whether a drive is under way: nothing may be asked.
func (s *State) Driving() bool {
	d := s.CurrentDrive()
	return d != nil && d.Started && !d.Parked
}

// Writes counts the changes that took and were meant to correct.
func (s *State) Writes() int {
	n := 0
	for _, c := range s.Changes {
		if c.Took && c.Why == "target" && c.Module == s.mainName() {
			n++
		}
	}
	return n
}

// LastCodes is the latest reading of codes and lamps, nil before the first.
func (s *State) LastCodes() *CodesFact {
	if len(s.Codes) == 0 {
		return nil
	}
	return &s.Codes[len(s.Codes)-1]
}

// roadStops lists the lamps with which no vehicle is driven.
var roadStops = []string{"brake", "stability", "steering", "airbag"}

// roadSafe says whether nothing known forbids a road drive: no brake,
// stability, steering or airbag warning in the latest reading, no write broken
// off, no half-done set with a brake or stability module in it.
func (s *State) roadSafe() bool {
	if c := s.LastCodes(); c != nil {
		for _, l := range c.Lamps {
			if slices.Contains(roadStops, l) {
				return false
			}
		}
	}
	if s.Writing != nil && (s.Writing.Word == "broke_off" || s.Writing.Word == "no_answer") {
		return false
	}
	return !s.halfBrake()
}

// halfBrake says whether a set of modules is written in part and a brake or
// stability module is one of them.
func (s *State) halfBrake() bool {
	return s.HalfDone() && slices.ContainsFunc(s.Modules, func(m Module) bool { return m.Name == "brake" || m.Name == "stability" })
}

// brokenOff says whether a write is left broken off or without an answer.
func (s *State) brokenOff() bool {
	return s.Writing != nil && (s.Writing.Word == "broke_off" || s.Writing.Word == "no_answer") || len(s.Broken) > 0
}

// codesAfterLastDrive says whether codes and lamps were read after the last
// drive.
func (s *State) codesAfterLastDrive() bool {
	n := len(s.Drives)
	if n == 0 {
		return false
	}
	for _, c := range s.Codes {
		if c.When == "after_drive" && c.Drive == s.Drives[n-1].Drive && !c.Unread {
			return true
		}
	}
	return false
}
