package calib

import (
	"math"

	"milepost/calib/unit"
)

// Limits of section 9.
const (
	enoughReadings = 14 // rule 7
	maxWrites      = 6  // before a seventh write
	maxReadings    = 36 // before a 37th reading
	slowMPH        = 45 // rule 3
	slowKMH        = 70
	slowOfW        = 0.9
)

// decide is section 9. Near and Value are filled in where the decision has them.
func (m *Model) decide() Decision {
	j, f := m.j, m.f
	switch { // sections 2 and 10, before any rule
	case !j.pairing.OK:
		return Decision{Do: Ask, Reason: ReasonSizeMismatch}
	case j.entryUnit():
		return Decision{Do: Ask, Reason: ReasonEntryUnit}
	}
	atNow := m.countedAt(m.now)
	mean, sd := f.errorAt(m.now, j.W)
	miss := math.Abs(mean - m.choice.aim)
	bestMean, bestSD := f.errorAt(m.choice.best, j.W)
	bestMiss := math.Abs(bestMean - m.choice.aim)
	under := false // never done while this holds
	if j.policy == PolicyNeverUnder {
		_, by := j.belowTrue(f, m.now)
		under = by < 0
	}
	better := !same(m.choice.best, m.now)
	gain := j.missAt(f, m.now, m.choice.aim) - j.missAt(f, m.choice.best, m.choice.aim)

	switch {
	case atNow < fewest: // rule 1
		return m.read(ReasonTooFew)
	case m.signs.unitMix: // rule 2
		return Decision{Do: Ask, Reason: ReasonUnitMix}
	case m.signs.didNotTake:
		return Decision{Do: Ask, Reason: ReasonDidNotTake}
	case m.signs.contradict:
		return Decision{Do: Ask, Reason: ReasonContradict}
	case m.tooSlow() && j.faster: // rule 3
		return m.read(ReasonTooSlow)
	case miss+f.kappa*sd <= j.X && !under: // rule 4
		return m.settle(Decision{Do: Done, Reason: ReasonWithin})
	case better && gain >= j.gain: // rule 5
		return m.write(ReasonBetter)
	case better && under && m.choice.best.S > m.now.S:
		return m.write(ReasonBelowTrue)
	case bestMiss-f.kappa*bestSD > j.X: // rule 6
		return Decision{Do: CannotFix, Reason: m.whyNot()}
	case f.n < enoughReadings: // rule 7
		return m.read(ReasonUnsettled)
	case bestMiss <= j.X && !under: // rule 8
		return m.settle(Decision{Do: Done, Reason: ReasonAsGood})
	}
	return Decision{Do: CannotFix, Reason: m.whyNot()}
}

// entryUnit: another unit or kind fits the stored number and the given one does not (section 2, 1).
func (j *job) entryUnit() bool { return !j.entry.Fits && len(j.entry.Others) > 0 }

func (m *Model) countedAt(s setting) (n int) {
	for i := range m.obs {
		if o := &m.obs[i]; o.counted() && same(m.drives[o.drive].actual, s) {
			n++
		}
	}
	return n
}

// tooSlow is rule 3 but for the question whether faster is possible.
func (m *Model) tooSlow() bool {
	limit := float64(slowMPH)
	if m.j.unit == unit.KMH {
		limit = slowKMH
	}
	return m.fastest() < math.Min(limit, slowOfW*m.j.W)
}

// fastest is the highest counted GPS speed, 0 with none.
func (m *Model) fastest() (v float64) {
	for i := range m.obs {
		if o := &m.obs[i]; o.counted() {
			v = math.Max(v, o.G)
		}
	}
	return v
}

// read asks for more readings near the speed that tells most, and for the supervisor before a 37th.
func (m *Model) read(why Reason) Decision {
	if len(m.obs) >= maxReadings { // struck ones too: so much striking wants another pair of eyes
		return Decision{Do: Ask, Reason: ReasonManyReadings}
	}
	near := m.NextReading(ForWorkSpeed)
	return Decision{Do: Read, Reason: why, Near: &near}
}

// write asks for the best writable value, unless dash or distance is to be chosen first (section 5) or it would be
// the seventh (section 9).
func (m *Model) write(why Reason) Decision {
	if m.writes() >= maxWrites {
		return Decision{Do: Ask, Reason: ReasonManyWrites}
	}
	v := m.choice.best.Value
	return m.settle(Decision{Do: Write, Value: &v, Reason: why})
}

// settle puts the question of section 5 in place of a decision where the odometer would count over 2 % short and
// nobody has chosen.
func (m *Model) settle(d Decision) Decision {
	if !m.j.policyGiven && m.odometerShortBy() > odometerShortAt {
		return Decision{Do: Ask, Reason: ReasonOdometerShort}
	}
	return d
}

// odometerShortBy is C/S* − 1 by odometer evidence: the share of the distance that would not be counted. 0 without
// evidence.
func (m *Model) odometerShortBy() float64 {
	if m.odometer.Comparisons == 0 || m.j.policy == PolicyDistance {
		return 0
	}
	return m.odometer.CircumferenceMM/m.choice.star - 1
}

// writes counts the values written so far; one that did not take is not counted.
func (m *Model) writes() (n int) {
	at := m.j.factory
	for _, d := range m.drives {
		if !same(d.actual, at) {
			n, at = n+1, d.actual
		}
	}
	if !same(m.now, at) {
		n++
	}
	return n
}

// whyNot names what holds the error: limit, step, or an offset.
func (m *Model) whyNot() Reason {
	star, _ := m.f.errorAt(setting{S: m.choice.star}, m.j.W)
	best, _ := m.f.errorAt(m.choice.best, m.j.W)
	switch {
	case m.choice.limited != "":
		return ReasonLimit
	case math.Abs(best-star) >= m.j.gain:
		return ReasonStep
	case m.offset():
		return ReasonOffset
	}
	return ReasonStep
}

// Flag of section 7: b − 1.3·sd(b) > 0.3·q.
const offsetSDs, offsetFlag = 1.3, 0.3

func (m *Model) offset() bool {
	return m.f.b-offsetSDs*math.Sqrt(m.f.Vbb) > offsetFlag*m.j.q
}
