package flow

import "testing"

// restoredBay is back at the original value, codes read, before the odometer.
func restoredBay(t *testing.T, p Policy, more ...Fact) *play {
	t.Helper()
	return written(t, p, more...).lines("2596", "none", "recover", "48215", "2438", "none").asks(QOdoNow)
}

func TestRecoverOdometerMustAgree(t *testing.T) {
	// A slip is asked about once more, and nothing is left of it.
	p := restoredBay(t, Policy{}).lines("40000").asks(QOdoNow).said("they must agree", "once more")
	if len(p.s.Deviations) != 0 || p.s.Alerts != 0 {
		t.Errorf("%+v", p.s.Deviations)
	}
	p.lines("48215").at(PhaseClosed).said("Odometer agrees")

	// Typed twice it stays open, whatever whoever does the work says of it.
	p = restoredBay(t, Policy{}).lines("40000", "40000").at(PhaseRecover).asks(QOdoNow).said("Do not hand it over. A corrected figure")
	if len(p.s.openDeviations()) != 1 || p.s.Alerts == 0 {
		t.Errorf("%+v", p.s.Deviations)
	}
	p.lines("accept").at(PhaseRecover).said("A supervisor accepts that").lines("not known").at(PhaseRecover)
	p.lines("41000").at(PhaseRecover).said("41000 mi after")
	p.lines("48216").at(PhaseClosed).said("Odometer agrees", "Restored")
	if len(p.s.openDeviations()) != 0 {
		t.Errorf("%+v", p.s.openDeviations())
	}

	// Or the first figure was the slip.
	restoredBay(t, Policy{}).lines("40000", "40000", "before was 40000").at(PhaseClosed).said("Odometer agrees")
}

func TestRecoverOdometerAccepted(t *testing.T) {
	p := restoredBay(t, Policy{}, &PersonFact{Who: "3", Role: Supervisor}).lines("40000", "40000").said("Do not hand it over; the supervisor has been told")
	p.as("3", Supervisor).tap("accept_odometer").at(PhaseClosed).said("Kim accepts the odometer")
	if len(p.s.openDeviations()) != 1 {
		t.Error("the flag is gone")
	}
	// Not over an own reading.
	q := restoredBay(t, Policy{}, &PersonFact{Who: "3", Role: Supervisor}).as("3", Supervisor).lines("40000", "40000", "accept").at(PhaseRecover)
	q.said("Not over your own answer")
	// A one-person shop may, by policy, and it says so.
	r := restoredBay(t, Policy{Self: true}).lines("40000", "40000", "accept").at(PhaseClosed).said("(self)")
	if !r.s.Self {
		t.Error("self is not in the log")
	}
}

// A figure below the last one known is questioned.
func TestRecoverOdometerBelowLast(t *testing.T) {
	open := &OdometerFact{Value: 48210, Unit: "mi"}
	p := written(t, Policy{}, open).lines("2596", "none", "recover", "4821").asks(QOdoNow).said("4821 mi is less than 48210 mi")
	p.lines("48215").asks(QWritten)
	if len(p.s.Deviations) != 0 {
		t.Errorf("%+v", p.s.Deviations)
	}
	for _, answer := range []string{"yes", "47000", "it is right"} {
		q := written(t, Policy{}, open).lines("2596", "none", "recover", "47000", answer).asks(QWritten)
		if a, ok := q.s.odometer(beforeRecover); !ok || a.Number != 47000 || len(q.s.openDeviations()) != 1 {
			t.Errorf("%s: %+v %+v", answer, a, q.s.Deviations)
		}
	}
	// 77 650 km is not less than 48 210 mi.
	written(t, Policy{}, open).lines("2596", "none", "recover", "77650 km").asks(QWritten)
}

// That somebody has been called is said only where somebody was told.
func TestCalledOnlyWhereTold(t *testing.T) {
	p := written(t, Policy{}).lines("broke off", "broke off").asks(QWritten).said("nobody to call is in this thread")
	p.lines("where are we")
	written(t, Policy{}, &PersonFact{Who: "3", Role: Supervisor}).lines("broke off", "broke off").asks(QWritten).said("help has been called")
	home(t, Policy{}).as("2", Helper).lines("release").as("1", Customer).lines("broke off", "broke off").said("help has been called")
}
