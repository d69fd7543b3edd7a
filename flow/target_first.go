package flow

import (
	"math"
	"strconv"
	"strings"

	"milepost/calib"
	"milepost/calib/unit"
	"milepost/flow/understand"
	"milepost/flow/words"
)

// offersDrive says whether a drive before the first write is worth it: sizes
// within 10 %, nothing read or written yet.
func (s *State) offersDrive() bool {
	do, _ := s.decided()
	return do == string(calib.Read) || math.Abs(s.difference()) <= 0.10 && len(s.Readings) == 0 && s.Writes() == 0
}

// asksFirst: the person is asked where there is a choice, or where no target
// can be given. At home the helper has the choice, at the hold.
func (s *State) asksFirst() bool {
	do, _ := s.decided()
	if do == string(calib.Ask) || do == string(calib.Read) {
		return true
	}
	if _, known := s.knownValue(); known {
		return false
	}
	return s.offersDrive() && !s.Home()
}

// firstAnswered: an answer counts for the target it was given for.
func (s *State) firstAnswered() bool {
	do, _ := s.decided()
	if do == string(calib.Ask) {
		return false
	}
	a, ok := s.Answers[Key{QFirst, ""}]
	return ok && a.Number == float64(len(s.Targets))
}

func askFirst(t *turn) {
	do, reason := t.s.decided()
	about := strconv.Itoa(len(t.s.Targets)) + "." + t.s.decidedAbout()
	args := words.Args{"Percent": strings.TrimSuffix(unit.Figure(math.Abs(t.s.difference())*100, 1), ".0"), "Big": math.Abs(t.s.difference()) > 0.03,
		"Because": upperFirst(t.s.Decision.Because)}
	switch {
	case do == string(calib.Ask):
		key := "target.ask." + reason
		if !catalogue().Has(key) {
			key = "target.ask.other"
		}
		t.ask(QFirst, about, key, args, "check_again", "stop_job")
	case do == string(calib.Read):
		t.ask(QFirst, about, "target.drive-only", args, "drive_first")
	default:
		t.ask(QFirst, about, "target.first", args, "drive_first", "write")
	}
}

func takeFirst(t *turn, in *input) bool {
	do, _ := t.s.decided()
	choice := in.Choice
	c, isCommand := t.heard(in.Text)
	if choice == "" && isCommand {
		switch c.Value.Name {
		case understand.CmdDriveFirst, understand.CmdGo:
			choice = "drive_first"
		case understand.CmdWrite, understand.CmdGoOn:
			choice = "write"
		}
	}
	if do == string(calib.Ask) {
		switch choice {
		case "check_again":
			t.aim()
			return true
		case "stop_job":
			return t.stop(command{}, in)
		}
		return false
	}
	if choice == "" {
		if a, ok := understand.YesNo(in.Text); ok && a.Value == understand.Yes && do == string(calib.Read) {
			choice = "drive_first"
		}
	}
	switch choice {
	case "write":
		if do == string(calib.Read) {
			return false
		}
		if v, ok := t.typedValue(c.Value.Arg, t.s.Main()); ok && !t.sameValue(t.s.Main(), v, t.s.Target(t.s.mainName()).Value) {
			t.hint("target.other", words.Args{"Said": figureOf(t.s.Main(), v), "Value": t.toWrite()})
			return true
		}
		t.answerFirst("write")
		in.Text = ""
		return true
	case "drive_first":
		t.answerFirst("drive_first")
		in.Text = ""
		return true
	}
	// Readings someone already has are a drive at the factory value.
	if ms, _ := understand.Readings(in.Text, t.context()); len(ms) > maxAtOnce {
		t.hint("drive.too-many", words.Args{"Number": len(ms), "Most": maxAtOnce})
		return true
	} else if len(ms) > 0 {
		t.answerFirst("drive_first")
		t.beginFirstDrive()
		if t.move(EvDriveFirst) {
			t.planDrive()
			if t.readingsToo(in) && t.s.CurrentDrive() != nil {
				t.typedWithoutGo()
			}
		}
		return true
	}
	return false
}

func (t *turn) answerFirst(v string) {
	t.record(&AnswerFact{Question: QFirst, Value: v, Number: float64(len(t.s.Targets))})
}

// writeInstead goes back to writing first: the drive before the first write was
// chosen and nobody has set off. It says whether the message asked for that.
func (t *turn) writeInstead(in *input) bool {
	s, d := t.s, t.s.CurrentDrive()
	c, ok := t.command(in.Text)
	if !ok || c.Name != understand.CmdWrite || s.Phase != PhaseDrive || d == nil || d.Started || s.readingsOn(d.Drive) > 0 ||
		s.Value(QFirst) != "drive_first" || !s.firstAnswered() || s.allAgree() {
		return false
	}
	m, g := s.Main(), s.Target(s.mainName())
	if a, ok := t.assess(len(s.Readings) == 0); !ok || g == nil || a.Decision.Do != calib.Write {
		return false // without a drive there is no value to write
	}
	if v, ok := t.typedValue(c.Arg, m); ok && !t.sameValue(m, v, g.Value) {
		t.hint("target.other", words.Args{"Said": figureOf(m, v), "Value": t.toWrite()})
		return true
	}
	t.record(&DriveFact{Drive: d.Drive, What: "dropped", Value: d.Value})
	if t.move(EvRetarget) {
		t.answerFirst("write")
		t.advance()
	}
	in.Text = ""
	return true
}

// beginFirstDrive records the decision to drive before writing.
func (t *turn) beginFirstDrive() {
	t.record(&DecisionFact{Do: string(calib.Read), Near: t.workSpeed(), Because: "drive first", Reason: "drive_first",
		Method: calib.Method, Program: t.env.Program})
}
