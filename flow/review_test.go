package flow

import "testing"

// checked brings the bay job past the first write onto its check drive.
func checked(t *testing.T, p Policy, more ...Fact) *play {
	t.Helper()
	return written(t, p, more...).lines("2596", "none").at(PhaseDrive).lines("go")
}

func TestReviewDone(t *testing.T) {
	p := checked(t, Policy{}).lines("70/70 60/60 50/50 65/65 55/55", "parked none").asks(QNext).said("Done.", "Five readings on one drive")
	if p.s.Decision.Do != "done" {
		t.Errorf("%+v", p.s.Decision)
	}
	p.lines("one more").at(PhaseDrive).lines("go", "68/68", "parked none").asks(QNext).lines("close").at(PhaseClose)
}

func TestReviewWrite(t *testing.T) {
	p := checked(t, Policy{}).lines("72/70 62/60 51/50 67/65 57/55", "parked none").asks(QOdoCheck)
	p.lines("odo 20.0 track 19.6").at(PhaseChange).said("Write 25", "high now")
	if p.s.Target("").Value == Number(2596) || p.s.Writing.From != Number(2596) {
		t.Errorf("%+v %+v", p.s.Target(""), p.s.Writing)
	}
}

func TestReviewTooFewAndTooSlow(t *testing.T) {
	p := checked(t, Policy{}).lines("70/70", "parked none").at(PhaseDrive).said("More readings", "at least 3")
	p.lines("go", "60/60 65/65", "parked none").asks(QNext)
	q := checked(t, Policy{}).lines("25/25 30/30 35/35", "parked none").at(PhaseDrive).said("Faster, near 70")
	q.tap("no_faster")
	if q.s.Phase == PhaseDrive && q.s.Asked.Question == QDrive && q.s.CurrentDrive() != nil {
		t.Logf("asked for %v", q.s.CurrentDrive().Speeds)
	}
}

func TestReviewUnsettled(t *testing.T) {
	p := checked(t, Policy{Threshold: 0.5}).lines("70/70 60/60 50/50", "parked none").at(PhaseDrive).said("would settle it")
	if n := len(p.s.CurrentDrive().Speeds); n != 3 {
		t.Errorf("%v", p.s.CurrentDrive().Speeds)
	}
}

func TestReviewContradict(t *testing.T) {
	p := checked(t, Policy{}).lines("70/70 60/60 50/50 65/65", "parked none").asks(QNext).lines("one more")
	p.lines("go", "74/70 63/60 53/50", "parked none")
	for p.s.Asked.Question == QDoubt {
		p.tap("keep")
	}
	p.asks(QNext).said("can't all be right").lines("close").asks(QNext).tap("new_drive").at(PhaseDrive)
}

func TestReviewCannotFix(t *testing.T) {
	hi := 2400.0
	p := bay(t, Policy{}, &StoredFact{Value: Number(2400), Unit: "mm", Quantity: "circumference", KindName: "circumference_mm", Which: "factory", Step: 1, Max: &hi})
	p.lines("drive first", "go", "65/70 56/60 46/50 60/65 51/55", "parked none").asks(QNext).said("can't fix it", "maker's access", "70: -5.")
	p.lines("close").at(PhaseClose).lines("all yes", "no").at(PhaseClosed)
	if p.s.Stopped != "cannot_fix" {
		t.Errorf("%q", p.s.Stopped)
	}
}

func TestReviewNeverUnderSaysBelowTrueFirst(t *testing.T) {
	p := bay(t, Policy{Speed: "km/h", Rule: "never-under"})
	p.lines("write").lines(figureOf(nil, p.s.Writing.To), "none", "go", "106/110 86/90 76/80 96/100 67/70", "parked none")
	p.said("never under", "legal point")
	if !p.s.warned("below_true") {
		t.Errorf("%+v", p.s.Decision)
	}
}

func TestReviewDistance(t *testing.T) {
	p := checked(t, Policy{}).lines("73/70 63/60 52/50 68/65 58/55", "odo 20.0 track 20.0", "parked none").asks(QDistance)
	p.said("Dash and distance can't both be right", "unlawful in most places")
	q := *p
	p.lines("distance right")
	if p.s.Value(QDistance) != "distance_right" || p.s.Decision.Do == "ask" {
		t.Errorf("%+v", p.s.Decision)
	}
	q.lines("dash right").at(PhaseChange)
}

func TestReviewDidNotTakeByDash(t *testing.T) {
	p := checked(t, Policy{})
	p.s.Drives[0].ReadBack = Value{} // as where the read-back is not known
	a, ok := (&turn{s: p.s, env: &p.env, m: &Message{}}).assess(false)
	if !ok || a.Decision.Do != "read" {
		t.Fatalf("%+v", a.Decision)
	}
	p = checked(t, Policy{}).lines("70/70 60/60 50/50", "parked none")
	p.s.Decision = &DecisionFact{Do: "ask", Reason: "did_not_take", Because: "the dash behaves as at 2438 mm"}
	tr := &turn{s: p.s, env: &p.env, m: &Message{Role: Technician, Who: "1"}}
	askNext(tr)
	if tr.replies[0].Text == "" || !takeNext(tr, &input{Text: "2438"}) || tr.s.Main().Now != Number(2438) {
		t.Errorf("now %v", tr.s.Main().Now)
	}
	if tr.advance(); tr.s.Phase != PhaseChange || tr.s.Writing.To != Number(2596) {
		t.Errorf("%s %+v", tr.s.Phase, tr.s.Writing)
	}
}

func TestReviewSupervisorAtManyReadings(t *testing.T) {
	p := checked(t, Policy{}, &PersonFact{Who: "3", Role: Supervisor}).lines("70/70 60/60 50/50", "parked none")
	p.s.Decision = &DecisionFact{Do: "ask", Reason: "many_readings", Because: "36 readings and still not settled: call the supervisor"}
	tr := &turn{s: p.s, env: &p.env, m: &Message{Role: Technician, Who: "1"}}
	if askNext(tr); tr.replies[0].Kind != Prompt || len(tr.replies[0].Choices) != 2 {
		t.Errorf("%+v", tr.replies)
	}
}

func TestReviewLateReading(t *testing.T) {
	p := checked(t, Policy{}).lines("70/70 60/60 50/50 65/65", "parked none").asks(QNext).lines("55/55").asks(QNext).said("Five readings")
	p.lines("strike 55/55").asks(QNext).said("Four readings")
}

// Kept as typed, nothing is written on readings in two units.
func TestReviewMixedUnits(t *testing.T) {
	p := driving(t, Policy{}).lines("go", "61/105 56/97 47/81", "parked").tap("keep").tap("keep").tap("keep").lines("none")
	p.at(PhaseReview).asks(QNext).said("Dash in one unit")
	p.lines("yes").said("All in mph").at(PhaseChange)
	if r := p.s.Readings[0]; r.Reference != 65.2 {
		t.Errorf("%+v", r)
	}
}

func TestReviewHelperIsTold(t *testing.T) {
	p := home(t, Policy{}).as("2", Helper).lines("release").as("1", Customer).lines("2596", "none", "go", "70/70 60/60 50/50 65/65", "parked none")
	p.asks(QNext).said("Done: the dash is right", "Done. Dash against true")
}

// A doubtful reading that was kept is said to be there.
func TestReviewKeptThoughDoubtful(t *testing.T) {
	p := bay(t, Policy{}).lines("drive first", "go", "61/65 56/60 47/50 58/62 57/55", "parked none")
	if p.s.Asked.Question != QDoubt {
		t.Fatalf("%+v", p.s.Asked)
	}
	p.tap("keep")
	p.said("readings, one kept although doubtful")
	q := bay(t, Policy{}).lines("drive first", "go", "61/65 56/60 47/50 58/62 51/55", "parked none")
	q.said("Five readings, none doubtful")
}
