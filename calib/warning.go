package calib

import (
	"fmt"
	"math"

	"milepost/calib/unit"
)

// Code names a warning; the names are part of the desk commands' contract.
type Code string

// The warnings of sections 2 to 10.
const (
	EntryUnit          Code = "entry_unit"
	EntryMismatch      Code = "entry_mismatch"
	SizeMismatch       Code = "size_mismatch"
	DirectionDown      Code = "direction"
	AtLimit            Code = "limit"
	BetweenSteps       Code = "step"
	AxleRatioChanged   Code = "axle_ratio"
	ReadingDoubtful    Code = "reading_doubtful"
	ReadingsContradict Code = "readings_contradict"
	DidNotTake         Code = "did_not_take"
	BelowTrue          Code = "below_true"
	OffsetSeen         Code = "offset"
	TooSlow            Code = "too_slow"
	TooFew             Code = "too_few"
	Repeats            Code = "repeats"
	UnitMix            Code = "unit_mix"
	Swapped            Code = "swapped"
	SymbolCap          Code = "speed_symbol"
	OdometerDiffers    Code = "odometer_differs"
	OdometerShort      Code = "odometer_short"
	AboveRule          Code = "above_rule" // over 0.1·v + 4 km/h at a test speed: section 5
)

// A Warning must be shown and does not by itself stop the work.
type Warning struct {
	Code Code   `json:"code"`
	Text string `json:"text"`
}

// warnings collects them in the order of sections 2 to 10.
func (m *Model) warnings(d Decision, after setting, target bool) []Warning {
	w := []Warning{}
	add := func(code Code, format string, args ...any) {
		w = append(w, Warning{code, fmt.Sprintf(format, args...)})
	}
	m.warnEntry(add)
	m.warnReadings(add, d, target)
	m.warnValue(add, d, after)
	return w
}

type warner func(code Code, format string, args ...any)

// sizeStep is the size change that is asked about again: section 2, 2.
const sizeStep = 0.15

// warnEntry is sections 2 and 3, and what section 10 says of entries.
func (m *Model) warnEntry(add warner) {
	j := m.j
	switch {
	case j.entryUnit():
		add(EntryUnit, "%s is %s of pi x diameter of the placard size; it would fit as %s", m.print(j.factory), unit.Figure(j.entry.Factor, 3), j.others())
	case !j.entry.Fits:
		add(EntryMismatch, "%s is %s of pi x diameter of the placard size, 0.945 to 0.990 is usual: changed before, mistyped, or another size on the placard?",
			m.print(j.factory), unit.Figure(j.entry.Factor, 3))
	}
	if r := j.D1/j.D0 - 1; math.Abs(r) > sizeStep {
		add(EntryMismatch, "the new size is %s against the placard's: right sizes?", percentSigned(r))
	}
	if m.signs.sourcesApart {
		add(EntryMismatch, "stored value and sizes do not agree with the published revolutions: right tyre, right figures?")
	}
	if m.signs.rolloutOff {
		add(EntryMismatch, "the measured rollout does not agree with sizes and published figures: wheel on the ground, turns counted?")
	}
	if m.signs.far {
		add(EntryMismatch, "the readings are far from what the sizes say: factory value and both sizes right? The readings are followed")
	}
	if !j.pairing.OK {
		add(SizeMismatch, "front and rear differ by %s against the placard, %s at most: this strains the drivetrain and no value fits both axles",
			unit.Percent(math.Abs(j.pairing.Deviation), 1), unit.Percent(j.pairing.Tolerance, 1))
	}
	if q := j.scale.Quantity(); q.Direction == Down {
		add(DirectionDown, "this value goes down for a larger tyre")
	} else if q.Kind == Percent && !j.directionSaid {
		add(DirectionDown, "taken as going up for a larger tyre; some tools count the other way round")
	}
	if j.gearsChanged {
		switch j.speedFrom {
		case SpeedFromGearbox:
			add(AxleRatioChanged, "gears changed: all values scaled by %s", unit.Figure(j.gearFactor, 4))
		case SpeedFromWheels:
			add(AxleRatioChanged, "gears changed: no effect on a speed taken at the wheels")
		default:
			add(AxleRatioChanged, "gears changed and it is not known where speed is taken: the drive has to tell")
		}
	}
	if j.capped {
		add(SymbolCap, "speed symbol %s: not over %s, drives and figures stay below it", j.symbol, m.at(j.symbolCap))
	}
}

// warnReadings is section 10 on pairs and drives.
func (m *Model) warnReadings(add warner, d Decision, target bool) {
	if target {
		return
	}
	for i := range m.obs {
		o := &m.obs[i]
		if !o.counted() || o.z() <= questionedOver {
			continue
		}
		add(ReadingDoubtful, "drive %d: %s on the dash at %s does not fit the others (about %s): keep, correct or strike?", o.drive+1,
			plainText(o.I), plainText(o.G), unit.Figure(m.f.b+o.m*o.G, 0))
		if m.fitsReversed(o) {
			add(Swapped, "drive %d: %s and %s fit the other way round: swapped?", o.drive+1, plainText(o.I), plainText(o.G))
		}
	}
	if m.signs.repeats > 0 {
		add(Repeats, "%d pairs are the same as an earlier one of their drive and count once: cruise holds the same digit", m.signs.repeats)
	}
	if m.signs.unitMix {
		add(UnitMix, "dash in one unit and phone in the other?")
	}
	if m.signs.didNotTake {
		add(DidNotTake, "the last write did not take: the drive counts at %s", m.print(m.now))
	}
	if m.signs.contradict {
		add(ReadingsContradict, "these readings can't all be right")
	}
	if n := m.countedAt(m.now); n < fewest {
		add(TooFew, "%d counted at %s: %d more, the fastest first", n, m.print(m.now), fewest-n)
	}
	if m.f.n > 0 && m.tooSlow() {
		_, sd := m.f.errorAt(m.now, m.j.W)
		add(TooSlow, "the fastest reading is %s: at %s that leaves ± %s", m.at(m.fastest()), m.at(m.j.W), unit.Figure(m.f.kappa*sd, 1))
	}
	if m.offset() {
		add(OffsetSeen, "about %s at every speed: the stored value can't take this out, it is probably on purpose", unit.Signed(m.f.b, 1))
	}
	mean, _ := m.f.errorAt(m.now, m.j.W)
	left := math.Abs(mean-m.choice.aim) >= m.j.gain && m.choice.limited == ""
	if (d.Do == Done || d.Do == CannotFix) && (d.Reason == ReasonStep || left) {
		add(BetweenSteps, "with %s %s, with %s %s: the next step is no better", m.print(m.now), m.left(m.now), m.print(m.choice.best), m.left(m.choice.best))
	}
}

// warnValue is section 5 and the limits.
func (m *Model) warnValue(add warner, d Decision, after setting) {
	j := m.j
	if !j.pairing.OK {
		return
	}
	if m.choice.limited != "" {
		add(AtLimit, "the %simum holds the value at %s, which leaves %s", m.choice.limited, m.print(m.choice.best), m.left(m.choice.best))
	}
	if j.rule == RuleNeverUnder || j.policy == PolicyNeverUnder {
		at, by := j.belowTrue(m.f, m.now)
		shown := m.now
		if next, more := j.belowTrue(m.f, after); by == 0 && more < 0 {
			at, by, shown = next, more, after
		}
		if by < 0 {
			add(BelowTrue, "with %s the dash is %s under true at %s; the rule says never under", m.print(shown), m.speed(-by), m.at(at))
		}
		m.warnAboveRule(add, after)
	}
	if j.policy == PolicyDistance {
		return
	}
	if m.odometer.Comparisons == 0 {
		if m.f.n > 0 && m.f.u < m.f.uMean-odometerUnder {
			add(OdometerShort, "the odometer may come to count less than driven: compare it with a track over at least 10 units before the write")
		}
		return
	}
	short := m.odometerShortBy()
	dash, _ := m.f.errorAt(setting{S: m.odometer.CircumferenceMM}, j.W)
	if math.Abs(short) > odometerDiffers {
		add(OdometerDiffers, "with the dash right the odometer is off by %s; with the odometer right the dash is %s at %s",
			percentSigned(-short/(1+short)), unit.Signed(dash, 1), m.at(j.W))
	}
	if short > odometerShortAt {
		add(OdometerShort, "with the dash right the odometer counts %s less than driven: dash right or distance right?", unit.Percent(short/(1+short), 1))
	}
}

// The upper end of the UN R39 kind of rule: e ≤ 0.1·v + 4 km/h (section 5).
const upperShare, upperKMH = 0.1, 4.0

func (m *Model) warnAboveRule(add warner, after setting) {
	for _, v := range m.j.testSpeeds() {
		if e, _ := m.f.errorAt(after, v); e > upperShare*v+m.j.unit.FromKMH(upperKMH) {
			add(AboveRule, "with %s the dash is %s over true at %s, more than the rule allows", m.print(after), m.speed(e), m.at(v))
			return
		}
	}
}

func percentSigned(fraction float64) string { return unit.Signed(100*fraction, 1) + " %" }

// plainText prints a speed as it was typed.
func plainText(v float64) string { return unit.Figure(v, unit.Decimals(plain(v))) }
