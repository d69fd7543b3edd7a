package flow

import "testing"

// A write that waited for a supply begins with a voltage that will do for it,
// and no tap or word stands for the figure.
func TestSupplyBeforeAWrite(t *testing.T) {
	facts := append(bayFacts(), &AnswerFact{Question: QVolts, Value: "none"})
	waits := func() *play {
		t.Helper()
		return playFrom(t, Policy{}, append(facts, &PhaseFact{Phase: PhaseFitted, Event: EvKept})...).lines("ok", "write").asks(QSupply)
	}
	for _, low := range []string{"12.1", "9", "9 V", "12.9", "yes 12.1", "13.5 from a jump pack", "13.8, charger on", "yes, a jump pack", "no, jump pack 13.5", "24.2", "40"} {
		if p := waits().lines(low).asks(QSupply); p.s.Value(QSupply) != "" {
			t.Errorf("%q begins the write", low)
		}
	}
	waits().lines("12.1").said("12.1 V is low for a write", "13 or more")
	waits().tap("supply_on").asks(QSupply).said("Volts").lines("yes").asks(QSupply).lines("13.4").asks(QWritten)
	for _, fine := range []string{"13.4", "on, 13 V", "yes 13.2", "maker says 12.4", "27.2 V", "13.6, no jump pack, no charger", "13.6, charger unplugged"} {
		if p := waits().lines(fine).asks(QWritten); p.s.Answers[Key{QVolts, ""}].Number == 0 {
			t.Errorf("%q: no voltage in the log", fine)
		}
	}
}

// A confirmed checklist that names a jump pack, a charger or another vehicle
// does not confirm the supply, and a charger is no lamp.
func TestChecklistContradicted(t *testing.T) {
	for _, text := range []string{"all yes 13.5 jump pack", "all yes, running second vehicle 13.9", "all yes with the charger on 13.8"} {
		p := playFrom(t, Policy{}).lines("new job unit 14, bay, 48210 mi", "no", text).asks(QLine).said("1, 2, 4 confirmed", "will not do")
		if p.s.confirmed(lineSupply) || p.s.Checks["before"].Volts != 0 || len(p.s.LastCodes().Lamps) != 0 {
			t.Errorf("%q: %+v, codes %+v", text, p.s.Checks["before"], p.s.LastCodes())
		}
		p.lines("13.6, a jump pack").asks(QLine).lines("13.6").at(PhaseFactory)
	}
	playFrom(t, Policy{}).lines("new job unit 14, bay, 48210 mi", "no", "all yes 27.2, charger on").asks(QLine).said("13 V or more, 26 V on a 24 V vehicle")
	for text, volts := range map[string]float64{"all yes 27.4": 27.4, "all yes, 27.4 V": 27.4, "all yes, 13.6, charger disconnected": 13.6, "all yes, 13.6, charger unplugged": 13.6} {
		if p := playFrom(t, Policy{}).lines("new job unit 14, bay, 48210 mi", "no", text).at(PhaseFactory); p.s.Checks["before"].Volts != volts {
			t.Errorf("%q: %+v", text, p.s.Checks["before"])
		}
	}
	playFrom(t, Policy{}).lines("new job unit 14, bay, 48210 mi", "no", "all yes 24.6").asks(QLine).said("24.6 V is low", "26 or more")
}

// A no that names a regulated device is asked about.
func TestNoButRegulated(t *testing.T) {
	for _, text := range []string{"no, but it is a taxi", "no but it has a tachograph", "no, just a speed limiter",
		"no, taxi, limiter", "no, no tacho, it has a limiter", "no, no tacho but a taximeter"} {
		p := playFrom(t, Policy{}).lines("new job unit 14, bay, 48210 mi", text).asks(QRegulated).said("You say no")
		p.lines("yes").at(PhaseClosed)
	}
	for _, text := range []string{"no", "no, no tachograph, no limiter", "no, not a taxi", "nope, private, without tacho or limiter", "no, it isn't a taxi", "no, no tacho but no taximeter either",
		"no tachograph, taximeter or limiter", "no tachograph, a taximeter or a speed limiter", "no tacho, limiter or taximeter", "no, no tacho, limiter, taximeter"} {
		playFrom(t, Policy{}).lines("new job unit 14, bay, 48210 mi", text).at(PhaseBefore)
	}
	playFrom(t, Policy{}).lines("new job unit 14, bay, 48210 mi, no tacho, but a taxi").asks(QRegulated)
	if p := playFrom(t, Policy{}).lines("unit 14, no tacho, limiter or taximeter"); p.s.Value(QRegulated) != "no" || p.s.Vehicle != "unit 14" {
		t.Errorf("regulated is %q, vehicle %q", p.s.Value(QRegulated), p.s.Vehicle)
	}
	for _, text := range []string{"no tachograph, taximeter, but a limiter", "no tachograph, it has a taximeter and a limiter", "no tacho",
		"not sure about tachograph, taximeter or limiter", "no idea of tachograph, taximeter or limiter"} {
		playFrom(t, Policy{}).lines("new job unit 14, bay, 48210 mi", text).asks(QRegulated)
	}
	if p := playFrom(t, Policy{}).lines("unit 14, bay, 48210 mi, no tacho but a taximeter"); p.s.Value(QRegulated) != "" {
		t.Errorf("regulated is %q", p.s.Value(QRegulated))
	}
}
