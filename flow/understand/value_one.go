package understand

import (
	"math"
	"strings"
)

// foreign figures are no stored value: volts, pressures, weights, distances driven.
func foreign(m measure, ts []token) bool {
	switch m.unit {
	case volt, psi, bar, kpa, kilogram, pound, Mile, Km, second, MPH, KmH, thirtySec, feet, turn:
		return true
	}
	switch at(ts, m.from-1).text {
	case "unit", "job", "bay", "#", "line":
		return true
	}
	return m.fig.spoken && m.fig.value <= 1
}

// stored works out value, unit and quantity of one figure.
func stored(text string, ts []token, m measure, lim Limits) (Stored, *Ask) {
	said := text[ts[m.from].start:ts[m.to-1].end]
	if m.fig.bad {
		return Stored{}, newAsk(AskValueNumber, said)
	}
	s := Stored{Typed: m.fig.value, TypedIn: m.unit, Decimals: m.fig.decimals}
	qty := ""
	for _, p := range quantitiesOf(ts, m) {
		if qty != "" && qty != p.value && p.value != Percent {
			return s, newAsk(AskValueQuantity, text)
		}
		qty = p.value
	}
	if m.unit == "" {
		s.TypedIn = looseUnit(ts, m)
	}
	unit := s.TypedIn
	if unit == "" && lim.Unit != "" {
		if _, ok := toMM[lim.Unit]; ok {
			unit, s.TypedIn = lim.Unit, lim.Unit
		}
	}
	pick(&s, m.fig, unit, qty)
	if ask := s.measured(text, said, ts, m, unit, qty); ask != nil {
		return s, ask
	}
	if s.Value <= 0 || s.Value > 1e7 || math.IsNaN(s.Value) || m.sign == "-" && unit != percent {
		return s, newAsk(AskValueNumber, said)
	}
	u := lim.Unit
	if u == "" {
		u = s.TypedIn
	}
	if lim.Any() {
		s.Limits = lim.in(u)
	}
	return s, contradiction(s, m.fig.value, lim)
}

// measured fills in value, unit and quantity from the unit, or from the quantity where there is none.
func (s *Stored) measured(text, said string, ts []token, m measure, unit, qty string) *Ask {
	v := s.Typed
	switch unit {
	case perMile, perKm:
		return newAsk(AskValuePer, said, "value", plain(v), "per", strings.TrimPrefix(unit, "per "))
	case rpm, revsOfWhat:
		if u := namedRevs(ts); u != "" { // "655 rpm (revs per mile)"
			s.Value, s.Unit, s.TypedIn = v, u, u
			s.Quantity = map[string]string{revMile: RevsPerMile, revKm: RevsPerKm}[u]
			return nil
		}
		return newAsk(AskValueRevs, said, "value", plain(v)).offer(plain(v) + " rev/mile")
	case pulsesOf:
		return newAsk(AskValuePulses, said, "value", plain(v))
	case revMile:
		s.Value, s.Unit, s.Quantity = v, revMile, RevsPerMile
	case revKm:
		s.Value, s.Unit, s.Quantity = v, revKm, RevsPerKm
	case pulseMile:
		s.Value, s.Unit, s.Quantity = v, pulseMile, PulsesPerMile
	case pulseKm:
		s.Value, s.Unit, s.Quantity = v, pulseKm, PulsesPerKm
	case RatioTo1:
		s.Value, s.Quantity, s.TypedIn = v, AxleRatio, ""
	case percent:
		if ask := s.percentage(ts, m, said); ask != nil {
			return ask
		}
	case MM, CM, M, Inch:
		s.Value, s.Unit, s.Quantity = round6(v*toMM[unit]), MM, qty
		if qty == "" {
			s.Quantity = lengthKind(s.Value)
			s.Inferred = s.Quantity != ""
		}
		if qty == AxleRatio || qty == Percent {
			return newAsk(AskValueQuantity, text)
		}
		if s.Quantity == "" {
			return newAsk(AskValueLength, said, "value", plain(v), "unit", unit)
		}
	default:
		s.Value = v
		switch qty {
		case AxleRatio:
			s.Quantity = AxleRatio
		case Percent:
			if ask := s.percentage(ts, m, said); ask != nil {
				return ask
			}
		default:
			s.Quantity = qty
			s.Might = might(v, qty)
			if m.fig.twoWay && m.fig.sep == '.' {
				return newAsk(AskValueMark, said, "one", plain(m.fig.value), "other", plain(m.fig.other))
			}
		}
	}
	return nil
}

// contradiction asks about a value that lies outside its own limits, as typed, or a
// step that is longer than their range.
func contradiction(s Stored, typed float64, lim Limits) *Ask {
	l := s.Limits
	const rounded = 1e-6 // of the conversion
	if l.Min != nil && s.Value < *l.Min*(1-rounded) || l.Max != nil && s.Value > *l.Max*(1+rounded) {
		span := make([]string, 2)
		for i, x := range []*float64{lim.Min, lim.Max} {
			if span[i] = "?"; x != nil {
				span[i] = plain(*x)
			}
		}
		return newAsk(AskOutside, plain(typed), "value", plain(typed), "min", span[0], "max", span[1])
	}
	if l.Step != nil && l.Min != nil && l.Max != nil && *l.Step > *l.Max-*l.Min {
		return newAsk(AskStep, plain(*lim.Step))
	}
	return nil
}

// namedRevs finds "revs per mile" or "per km" spelled out anywhere, if only one of them is.
func namedRevs(ts []token) string {
	out := ""
	for _, p := range englishUnits.all(ts) {
		if p.value == revMile || p.value == revKm {
			if out != "" && out != p.value {
				return ""
			}
			out = p.value
		}
	}
	return out
}

// quantitiesOf finds the quantities named in the figure's part of the sentence or, where that part names none, in parts
// that have no figure.
func quantitiesOf(ts []token, m measure) []phrase[string] {
	all := englishQuantities.all(ts)
	part := parts(ts)
	var out []phrase[string]
	for _, p := range all {
		if part[p.from] == part[m.from] {
			out = append(out, p)
		}
	}
	if len(out) > 0 {
		return out
	}
	taken := map[int]bool{}
	for _, x := range measures(ts) {
		taken[part[x.from]] = true
	}
	for _, p := range all {
		if !taken[part[p.from]] {
			out = append(out, p)
		}
	}
	return out
}

// percentage takes 106.5 %, +6.5 %, 3 % less; a bare small percentage is asked about.
func (s *Stored) percentage(ts []token, m measure, said string) *Ask {
	v := s.Typed
	sign := m.sign
	if a, n, ok := englishAmount.find(ts, m.to); ok && n > 0 && sign == "" {
		sign = a
	} else if a, _, ok := englishAmount.find(ts, m.from-1); ok && sign == "" && (a == "+" && at(ts, m.from-1).text == "plus" || at(ts, m.from-1).text == "minus") {
		sign = a
	}
	switch {
	case sign == "+" && v < 50:
		v = 100 + v
	case sign == "-" && v < 50:
		v = 100 - v
	case sign != "" || v < 50 || v > 250:
		return newAsk(AskValuePercent, said, "value", plain(v)).offer(plain(round6(100+v)) + " %")
	}
	s.Value, s.Unit, s.Quantity = round6(v), percent, Percent
	return nil
}
