package flow

import (
	"regexp"

	"milepost/flow/understand"
	"milepost/flow/words"
)

// drivePhase briefs, then listens between go and parked without asking
// anything, then asks for what was left open, codes and lamps last.
func drivePhase() phaseOf {
	return phaseOf{Questions: []question{
		{ID: QDrive, Done: (*State).driveDone, Ask: askDrive, Take: takeDrive, Bare: true,
			Why: "why.drive", Help: "help.drive", Hint: "hint.drive"},
		doubtQuestion((*State).parked),
		codesQuestion((*State).parked), newCodesQuestion((*State).parked),
	}, Enter: func(t *turn) { t.planDrive() }, Next: func(*turn) Event { return EvDriven }}
}

func (s *State) parked() bool { return s.CurrentDrive() == nil && len(s.Drives) > 0 }

// driveDone: parked, and something was brought back.
func (s *State) driveDone() bool {
	return s.parked() && s.brought() && s.openTrack() == nil
}

// brought says whether the last drive has readings or a comparison.
func (s *State) brought() bool {
	n := len(s.Drives)
	if n == 0 {
		return false
	}
	return s.Drives[n-1].Track > 0 || s.readingsOn(s.Drives[n-1].Drive) > 0
}

func (s *State) readingsOn(drive int) (n int) {
	for _, r := range s.Readings {
		if r.Drive == drive {
			n++
		}
	}
	return n
}

// takeDrive reads everything a drive may bring. While somebody drives nothing
// is asked: what is taken is said in a notice.
func takeDrive(t *turn, in *input) bool {
	if in.File != nil {
		return t.takeTrackFile(in)
	}
	switch in.Choice {
	case "go":
		t.setOff()
		return true
	case "alone":
		t.record(&AnswerFact{Question: QDrive, About: "alone", Value: "yes"})
		return true
	case "no_faster":
		t.noFaster()
		return true
	case "parked":
		t.park()
		return true
	}
	if t.s.openTrack() != nil && !t.s.Driving() && t.takeNotes(in) {
		return true
	}
	c, ok := t.heard(in.Text)
	if ok {
		switch c.Value.Name {
		case understand.CmdGo:
			in.Text = ""
			t.setOff()
			return true
		case understand.CmdParked:
			in.take(c.Start, min(c.Value.ArgStart, len(in.Text)))
			t.home(in)
			return true
		case understand.CmdDriveFirst:
			askDrive(t)
			return true
		}
	}
	if t.aboutDrive(in) {
		return true
	}
	seen := t.s.Driving() && t.seenDriving(in)
	took := t.readingsToo(in)
	if seen && !took && !parkedWords.MatchString(in.Text) {
		t.sayNow("drive.noted", nil)
		in.Text = ""
		return true
	}
	if !took && parkedWords.MatchString(in.Text) {
		t.home(in)
		return true
	}
	if took {
		if parkedWords.MatchString(in.Text) {
			t.home(in)
		} else if !t.s.Driving() && t.s.CurrentDrive() != nil {
			t.typedWithoutGo()
		}
		in.Text = ""
		return true
	}
	if t.s.Driving() {
		t.sayNow("drive.unread", words.Args{"Said": short(in.Text)})
		t.record(&NoteFact{}, Item{ItemText, in.Text})
		in.Text = ""
		return true
	}
	return false
}

var parkedWords = regexp.MustCompile(`(?i)\bparked\b`)

// setOff opens the bracket: from here to parked nothing is asked.
func (t *turn) setOff() {
	if t.s.CurrentDrive() == nil {
		t.planDrive()
	}
	d := t.s.CurrentDrive()
	if d.Started {
		return
	}
	t.record(&DriveFact{Drive: d.Drive, What: "go", Value: d.Value})
	t.sayNow("drive.go", nil)
}

// home takes what comes with "parked": readings first, then codes and lamps.
func (t *turn) home(in *input) {
	t.readingsToo(in)
	t.park()
	if c := readCodes(in); c.Any() {
		t.recordCodes(c)
	}
	in.Text = ""
}

func (t *turn) park() {
	if d := t.s.CurrentDrive(); d != nil {
		t.record(&DriveFact{Drive: d.Drive, What: "parked", Value: d.Value})
	}
}

// typedWithoutGo: three or more readings typed at once were driven before;
// with fewer the drive may still be on, so that nothing is asked.
func (t *turn) typedWithoutGo() {
	d := t.s.CurrentDrive()
	if n := t.s.readingsOn(d.Drive); n >= 3 {
		t.park()
		return
	}
	t.understood("drive.more", words.Args{"N": max(1, len(d.Speeds)-t.s.readingsOn(d.Drive))})
	t.sayNow("", nil)
}

// sayNow sends a notice with what was understood in front of it; an empty key
// sends that alone.
func (t *turn) sayNow(key string, args words.Args) {
	if key == "" {
		if e := t.flush(); e != "" {
			t.sayText(e)
		}
		return
	}
	t.say(Notice, key, args)
}

// sayText sends a line that is already worded.
func (t *turn) sayText(text string) {
	t.post(Notice, t.worker(), t.addressed(""), text, "echo", nil, 0)
}
