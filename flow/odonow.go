package flow

import (
	"math"
	"regexp"
	"strings"

	"milepost/calib/unit"
	"milepost/flow/understand"
	"milepost/flow/words"
)

// The odometer before and after a restore: they must agree. A figure that can't
// be right is asked for once more; a difference that stays is left open until a
// figure is corrected or somebody who may accepts it.

// sameOdometer: the two agree within what moving about the yard counts.
const sameOdometer = 2.0

const (
	beforeRecover = "before_recover"
	afterRecover  = "after_recover"
)

// odometerQuestion asks for the odometer before or after.
func odometerQuestion(when string) question {
	return question{ID: QOdoNow,
		When: func(s *State) bool {
			return s.Phase == PhaseRecover && (when == beforeRecover || s.restored() && s.codesRead() && !s.wantsBackup())
		},
		Done: func(s *State) bool {
			return s.odometerTold(when) && (when == beforeRecover || !s.odometerOpen())
		},
		Ask:  func(t *turn) { t.askOdometer(when) },
		Take: takeOdometerNow, Bare: true, Why: "why.odometer-now", Hint: "hint.odometer"}
}

func (s *State) odometerTold(when string) bool {
	about := s.recoverAbout(when)
	return s.HasFor(QOdometer, about) || s.HasFor(QOdoNow, about)
}

// odometer is a reading of this round of recovering.
func (s *State) odometer(when string) (Answer, bool) {
	a, ok := s.Answers[Key{QOdometer, s.recoverAbout(when)}]
	return a, ok
}

// odometerOpen says whether the two readings differ and nobody has accepted it.
func (s *State) odometerOpen() bool {
	a, before := s.odometer(beforeRecover)
	b, after := s.odometer(afterRecover)
	return before && after && !sameDistance(a, b) && s.Answers[Key{QOdoNow, s.recoverAbout("accepted")}].Value == ""
}

// inMiles brings a reading into miles.
func inMiles(a Answer) float64 {
	if a.Unit == "km" {
		return a.Number * 1e6 / unit.MillimetresPerMile
	}
	return a.Number
}

func sameDistance(a, b Answer) bool {
	if a.Unit == b.Unit {
		return math.Abs(a.Number-b.Number) <= sameOdometer
	}
	return math.Abs(inMiles(a)-inMiles(b)) <= sameOdometer
}

// lastOdometer is the latest reading of the job apart from one.
func (s *State) lastOdometer(but string) (last Answer, ok bool) {
	for k, a := range s.Answers {
		if k.Question == QOdometer && k.About != but && !a.Skipped && a.Number > 0 && a.Seq > last.Seq {
			last, ok = a, true
		}
	}
	return last, ok
}

func (t *turn) askOdometer(when string) {
	s := t.s
	about := s.recoverAbout(when)
	args := words.Args{"Unit": t.distanceUnit()}
	again, twice := s.Answers[Key{QOdoNow, about + ".again"}]
	if twice {
		args["Said"] = odometerFigure(again)
	}
	switch {
	case when == afterRecover && s.odometerOpen():
		a, _ := s.odometer(beforeRecover)
		b, _ := s.odometer(afterRecover)
		args["Before"], args["After"], args["Told"] = odometerFigure(a), odometerFigure(b), t.toldWord("odometer")
		t.ask(QOdoNow, about+".open", "recover.odometer.differs", args, "accept_odometer")
	case twice && again.Value == "below":
		last, _ := s.lastOdometer(about)
		args["Last"] = odometerFigure(last)
		t.ask(QOdoNow, about+".again", "recover.odometer.below", args, "odo_right", "odo_not_known")
	case twice:
		a, _ := s.odometer(beforeRecover)
		args["Before"] = odometerFigure(a)
		t.ask(QOdoNow, about+".again", "recover.odometer.again", args, "odo_not_known")
	default:
		t.ask(QOdoNow, about, "recover.odometer."+when, args, "odo_not_known")
	}
}

func odometerFigure(a Answer) string { return plainFigure(a.Number) + " " + a.Unit }

func takeOdometerNow(t *turn, in *input) bool {
	s := t.s
	when := beforeRecover
	if s.odometerTold(beforeRecover) {
		when = afterRecover
	}
	open := s.odometerOpen()
	about := s.recoverAbout(when)
	again, twice := s.Answers[Key{QOdoNow, about + ".again"}]
	a, ok := understand.YesNo(in.Text)
	switch {
	case open && (in.Choice == "accept_odometer" || hasWord(strings.ToLower(in.Text), "accept")):
		t.acceptOdometer()
		in.Text = ""
		return true
	case !open && (in.Choice == "odo_not_known" || ok && a.Value == understand.NotSure):
		t.record(&AnswerFact{Question: QOdoNow, About: about, Value: "not_known"})
		return true
	case !open && twice && again.Value == "below" && (in.Choice == "odo_right" || ok && a.Value == understand.Yes):
		t.odometerRead(when, again)
		in.Text = ""
		return true
	}
	text := in.Text
	if m := beforeWords.FindStringIndex(text); open && m != nil {
		when, text = beforeRecover, text[m[1]:]
	}
	m, ok, _ := understand.Odometer(text, t.context())
	if !ok {
		return false
	}
	u := m.Value.Unit
	if u == "" {
		u = t.distanceUnit()
	}
	in.Text = ""
	t.odometerRead(when, Answer{AnswerFact: AnswerFact{Number: m.Value.Value, Unit: u}})
	return true
}

// beforeWords open a correction of the first of two readings.
var beforeWords = regexp.MustCompile(`(?i)^\s*(?:it was |the )?(?:one )?before\b(?: was| is|:)?`)

// odometerRead takes a reading: at once where it can be right, else the second
// time it is typed.
func (t *turn) odometerRead(when string, r Answer) {
	s := t.s
	about := s.recoverAbout(when)
	_, twice := s.Answers[Key{QOdoNow, about + ".again"}]
	last, known := s.lastOdometer(about)
	before, compared := s.odometer(beforeRecover)
	compared = compared && when == afterRecover
	doubt := ""
	switch {
	case s.odometerOpen(): // what was open is corrected, or stays open
		twice = true
	case compared && !sameDistance(before, r):
		doubt = "differs"
	case !compared && known && inMiles(r) < inMiles(last)-sameOdometer:
		doubt = "below"
	}
	if doubt != "" && !twice {
		t.record(&AnswerFact{Question: QOdoNow, About: about + ".again", Number: r.Number, Unit: r.Unit, Value: doubt})
		return
	}
	t.record(&OdometerFact{Value: r.Number, Unit: r.Unit, When: about})
	switch _, after := s.odometer(afterRecover); {
	case doubt == "below":
		t.record(&DeviationFact{What: "odometer", Value: Number(r.Number)})
		t.call("odometer_below", words.Args{"Last": odometerFigure(last), "Said": odometerFigure(r)})
	case doubt == "differs":
		t.record(&DeviationFact{What: "odometer", Value: Number(r.Number)})
		t.call("odometer", words.Args{"Before": odometerFigure(before), "After": odometerFigure(r)})
	case after && !s.odometerOpen():
		t.odometerAgrees()
	}
}

// odometerAgrees ends a difference that was only a slip.
func (t *turn) odometerAgrees() {
	for _, d := range t.s.openDeviations() {
		if d.What == "odometer" {
			d.Undone = true
			t.record(&d)
		}
	}
	t.understood("echo.odometer.same", nil)
}

// acceptOdometer takes the difference as it is: a supervisor's to do, not over
// an own reading, or a one-person shop's by policy.
func (t *turn) acceptOdometer() {
	reading, _ := t.s.odometer(afterRecover)
	own := reading.Who == t.m.Who
	switch {
	case t.m.Role != Supervisor && !t.env.Policy.Self:
		t.answerTo(Refusal, "refuse.odometer", nil)
	case own && !t.env.Policy.Self:
		t.answerTo(Refusal, "refuse.own", nil)
	default:
		t.record(&AnswerFact{Question: QOdoNow, About: t.s.recoverAbout("accepted"), Value: "accepted", Self: own})
		t.understood("echo.odometer.accepted", words.Args{"Name": t.nameOf(t.m.Who), "Self": own})
	}
}
