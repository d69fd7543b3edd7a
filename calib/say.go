package calib

import (
	"fmt"
	"math"
	"strings"

	"milepost/calib/unit"
)

// The texts here are for desk use: figures first, plain words. The conversation has words of its own.

// print gives a stored value with its unit.
func (m *Model) print(s setting) string {
	if s.IsLabel() {
		return s.Label
	}
	text := unit.Figure(s.Number, min(unit.Decimals(plain(s.Number)), 4))
	if u := m.j.scale.Quantity().Unit; u != "" {
		text += " " + u
	}
	return text
}

func (m *Model) speed(v float64) string { return unit.Figure(v, 1) + " " + string(m.j.unit) }

// left is the error at W with value s, as it is said everywhere.
func (m *Model) left(s setting) string {
	mean, sd := m.f.errorAt(s, m.j.W)
	return fmt.Sprintf("%s ± %s at %s", unit.Signed(mean, 1), unit.Figure(m.f.kappa*sd, 1), m.at(m.j.W))
}

func (m *Model) at(v float64) string {
	decimals := 0
	if v != math.Trunc(v) {
		decimals = 1
	}
	return unit.Figure(v, decimals) + " " + string(m.j.unit)
}

// because is the reason of a decision in one or two short sentences.
func (m *Model) because(d Decision) string {
	now, best := m.now, m.choice.best
	switch d.Reason {
	case ReasonSizeMismatch:
		return fmt.Sprintf("front and rear differ by %s against the placard, %s at most: no value fits both axles",
			unit.Percent(math.Abs(m.j.pairing.Deviation), 1), unit.Percent(m.j.pairing.Tolerance, 1))
	case ReasonEntryUnit:
		return "the stored value does not fit the placard size as given, but does as " + m.j.others()
	case ReasonGearsUnknown:
		return "gears changed and it is not known where speed is taken: drive at the present value first"
	case ReasonFirstTarget:
		return fmt.Sprintf("from sizes and measurements; the dash is then %s until a drive says more", m.left(best))
	case ReasonManyReadings:
		return "36 readings and still not settled: call the supervisor"
	case ReasonTooFew:
		return fmt.Sprintf("%d counted at %s, at least 3 are needed", m.countedAt(now), m.print(now))
	case ReasonUnitMix:
		return "dash and GPS look like different units: is one in mph and the other in km/h?"
	case ReasonDidNotTake:
		if m.signs.didNotTakeByDash {
			return fmt.Sprintf("the dash behaves as at %s: ignition off and on, read the value back, write again if it is not there", m.print(now))
		}
		return fmt.Sprintf("the module still holds %s: ignition off and on, read back, write again", m.print(now))
	case ReasonContradict:
		return "these readings can't all be right: pressures, load, chains or another wheel set, order of dash and GPS, steady speed? A new drive"
	case ReasonTooSlow:
		return fmt.Sprintf("nothing read near the work speed yet, the fastest was %s", m.at(m.fastest()))
	case ReasonWithin:
		return fmt.Sprintf("with %s the dash is %s", m.print(now), m.left(now))
	case ReasonOdometerShort:
		return fmt.Sprintf("dash and distance can't both be right: with the dash right the odometer counts %s less than driven. Which shall be right?",
			unit.Percent(m.odometerShortBy()/(1+m.odometerShortBy()), 1))
	case ReasonManyWrites:
		return "six writes and still not right: call the supervisor"
	case ReasonBetter, ReasonBelowTrue:
		return fmt.Sprintf("now %s, with %s it will be %s", m.left(now), m.print(best), m.left(best))
	case ReasonUnsettled:
		return fmt.Sprintf("with %s the dash is %s: not settled yet", m.print(now), m.left(now))
	case ReasonAsGood:
		return fmt.Sprintf("with %s the dash is %s, as good as this value gets", m.print(now), m.left(now))
	case ReasonLimit:
		return fmt.Sprintf("the limit holds the value at %s, which leaves %s; another setting (axle ratio, list of sizes)?", m.print(best), m.left(best))
	case ReasonStep:
		return fmt.Sprintf("no value that can be written comes closer than %s, which leaves %s", m.print(best), m.left(best))
	case ReasonOffset:
		return fmt.Sprintf("the dash is about %s off at every speed, which no stored value takes out", unit.Signed(m.f.b, 1))
	}
	return ""
}

// others lists the units and kinds that would fit.
func (j *job) others() string {
	var parts []string
	for _, o := range j.entry.Others {
		q, _ := QuantityOf(o.Kind)
		name := strings.ReplaceAll(q.Name, "_", " ")
		if o.Kind != RevMile && o.Kind != RevKM {
			name += " in " + o.Unit
		}
		parts = append(parts, name)
	}
	return strings.Join(parts, " or ")
}
