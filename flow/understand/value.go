package understand

import (
	"math"
	"slices"
	"strings"
)

// Quantities a module may hold, as the contract spells them.
const (
	Circumference = "circumference"
	Diameter      = "diameter"
	Radius        = "radius"
	RevsPerMile   = "revs_per_mile"
	RevsPerKm     = "revs_per_km"
	PulsesPerMile = "pulses_per_mile"
	PulsesPerKm   = "pulses_per_km"
	AxleRatio     = "axle_ratio"
	Percent       = "percent"
	SizeList      = "size_list"
)

// Stored is a value as a module holds it.
type Stored struct {
	Value    float64 // lengths in mm, percentages as 106.5
	Label    string  // of a size_list, in place of the value
	Unit     string  // mm, rev/mile, rev/km, pulses/mile, pulses/km, %; empty for a ratio, a label, or where not known
	Quantity string  // empty where not known
	Inferred bool    // the quantity was not named; only one fits the figure and its unit
	Typed    float64 // the figure as typed
	TypedIn  string  // its unit as typed: mm, cm, m, in …
	Decimals int     // decimals typed
	Which    string  // "factory" or "as_found" where the words say so
	Module   string  // engine, gearbox …; empty where not named
	Limits   Limits  // in the value's unit
	Might    []string
	// Might lists, for a bare figure, the quantities and units that a road vehicle's figure could be ("circumference cm"),
	// so that the entry check can be asked about each.
}

// Known tells whether unit and quantity are known.
func (s Stored) Known() bool { return s.Quantity != "" }

var toMM = map[string]float64{MM: 1, CM: 10, M: 1000, Inch: 25.4}

// StoredValues reads what a module holds: one value, or one for each module named. A bare figure comes without unit.
func StoredValues(text string, ctx Context) ([]Match[Stored], *Ask) {
	if m, ok := label(text, ctx); ok {
		return []Match[Stored]{m}, nil
	}
	ts := joinThousands(tokens(maskSizes(text)))
	lim, used, ask := limits(ts)
	if ask != nil {
		return nil, ask
	}
	var ms []measure
	for _, m := range measures(ts) {
		if !used[m.from] && !foreign(m, ts) {
			ms = append(ms, m)
		}
	}
	if len(ms) == 0 {
		if n := countSizes(text); n > 1 || n == 0 && saysList(ts) {
			return nil, newAsk(AskListChosen, text)
		}
		return nil, newAsk(AskValueNone, text)
	}
	ms = oneLength(ms)
	mods := englishModules.all(ts)
	if len(ms) == 1 {
		return one(text, ts, ms[0], lim, mods)
	}
	if w := whens(ts, ms); w[0] != "" && len(ms) == 2 && w[1] != "" && w[0] != w[1] && len(mods) < 2 { // "factory 2438 mm, now 2440"
		return twoTimes(text, ts, ms, lim, mods, w)
	}
	// Several figures: one for each module, and every module named has its own.
	owner := owners(ts, ms, mods)
	var out []Match[Stored]
	for _, p := range mods {
		if !slices.Contains(owner, p.value) {
			return nil, newAsk(AskValueSeveral, text)
		}
	}
	seen := map[string]bool{}
	for i, m := range ms {
		if owner[i] == "" || seen[owner[i]] {
			return nil, newAsk(AskValueSeveral, text)
		}
		seen[owner[i]] = true
		s, ask := stored(text, ts, m, lim)
		if ask != nil {
			return nil, ask
		}
		s.Module = owner[i]
		out = append(out, Match[Stored]{Value: s, Start: ts[m.from].start, End: ts[m.to-1].end, Echo: storedEcho(s)})
	}
	shareUnit(out)
	return out, nil
}

// shareUnit gives figures without a unit that of the others, where those agree ("engine 2438 mm, abs 2440").
func shareUnit(out []Match[Stored]) {
	var ref *Stored
	for i := range out {
		if out[i].Value.Known() {
			if ref != nil && (ref.Unit != out[i].Value.Unit || ref.Quantity != out[i].Value.Quantity) {
				return
			}
			ref = &out[i].Value
		}
	}
	if ref == nil || ref.TypedIn == "" {
		return
	}
	for i := range out {
		if s := &out[i].Value; !s.Known() && s.TypedIn == "" && s.Typed > ref.Typed/2 && s.Typed < ref.Typed*2 {
			s.Unit, s.Quantity, s.Inferred, s.TypedIn, s.Might = ref.Unit, ref.Quantity, true, ref.TypedIn, nil
			if f, ok := toMM[ref.TypedIn]; ok {
				s.Value = round6(s.Typed * f)
			}
			out[i].Echo = storedEcho(*s)
		}
	}
}

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
	v := s.Typed
	switch unit {
	case perMile, perKm:
		return s, newAsk(AskValuePer, said, "value", plain(v), "per", strings.TrimPrefix(unit, "per "))
	case rpm, revsOfWhat:
		if u := namedRevs(ts); u != "" { // "655 rpm (revs per mile)"
			s.Value, s.Unit, s.TypedIn = v, u, u
			s.Quantity = map[string]string{revMile: RevsPerMile, revKm: RevsPerKm}[u]
			break
		}
		return s, newAsk(AskValueRevs, said, "value", plain(v)).offer(plain(v) + " rev/mile")
	case pulsesOf:
		return s, newAsk(AskValuePulses, said, "value", plain(v))
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
			return s, ask
		}
	case MM, CM, M, Inch:
		s.Value, s.Unit, s.Quantity = round6(v*toMM[unit]), MM, qty
		if qty == "" {
			s.Quantity = lengthKind(s.Value)
			s.Inferred = s.Quantity != ""
		}
		if qty == AxleRatio || qty == Percent {
			return s, newAsk(AskValueQuantity, text)
		}
		if s.Quantity == "" {
			return s, newAsk(AskValueLength, said, "value", plain(v), "unit", unit)
		}
	default:
		s.Value = v
		switch qty {
		case AxleRatio:
			s.Quantity = AxleRatio
		case Percent:
			if ask := s.percentage(ts, m, said); ask != nil {
				return s, ask
			}
		default:
			s.Quantity = qty
			s.Might = might(v, qty)
			if m.fig.twoWay && m.fig.sep == '.' {
				return s, newAsk(AskValueMark, said, "one", plain(m.fig.value), "other", plain(m.fig.other))
			}
		}
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

// pick decides a figure in doubt ("2.438", "2,438") by what its unit makes plausible.
func pick(s *Stored, f figure, unit, qty string) {
	if !f.twoWay {
		return
	}
	ok := func(v float64) bool { return plausible(v, unit, qty) }
	if !ok(f.value) && ok(f.other) {
		s.Typed = f.other
		s.Decimals = 3 - f.decimals
	}
}

func plausible(v float64, unit, qty string) bool {
	switch unit {
	case MM, CM, M, Inch:
		mm := v * toMM[unit]
		return mm > 200 && mm < 5000
	case revMile, revKm:
		return v > 150 && v < 2000
	case pulseMile, pulseKm:
		return v > 200
	case percent:
		return v > 20 && v < 400
	}
	if qty == AxleRatio {
		return v > 1 && v < 12
	}
	return v > 20
}

// looseUnit finds a unit not directly behind the figure: before it ("rev/km 455") or after a word ("455 and rev/km").
func looseUnit(ts []token, m measure) string {
	j := m.to
	for j < len(ts) && j < m.to+6 && ts[j].kind == word && englishUnitLink[ts[j].text] {
		j++
	}
	if j > m.to {
		if u, n := unitAt(ts, j); n > 0 && ts[j].text != "in" && ts[j].text != "m" && ts[j].text != "s" {
			return u
		}
	}
	from := m.from
	for from > max(0, m.from-6) { // a unit behind another figure is that figure's
		if t := ts[from-1]; t.kind == number || t.kind == line || t.text == ";" || t.text == "," || t.text == "." {
			break
		}
		from--
	}
	for k := from; k < m.from; k++ {
		if u, n := unitAt(ts, k); n > 0 && ts[k].kind == word && !ts[k].glued && ts[k].text != "in" && ts[k].text != "s" && ts[k].text != "m" && k+n <= m.from {
			return u
		}
	}
	return ""
}

var englishUnitLink = set("and", "unit", "units", "is", "its", "it", "says", "the", "of", "as", "with", "that", "thats", "are", "in", "measured")

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

// lengthKind is the one quantity that a length in mm can be on a road vehicle, or empty where two fit. Bands: rolling
// circumference from the smallest scooter to the largest truck tyre, diameter and radius of the same.
func lengthKind(mm float64) string {
	switch {
	case mm >= 1300 && mm <= 4200:
		return Circumference
	case mm > 560 && mm < 1300:
		return Diameter
	case mm >= 200 && mm < 480:
		return Radius
	}
	return ""
}

// might lists what a bare figure could be, most usual first.
func might(v float64, qty string) []string {
	var out []string
	for _, q := range []struct {
		quantity, unit string
		low, high      float64
	}{
		{Circumference, MM, 1300, 4200}, {Circumference, CM, 130, 420}, {Circumference, Inch, 51, 165}, {Circumference, M, 1.3, 4.2},
		{Diameter, MM, 480, 1300}, {Diameter, Inch, 19, 51}, {Diameter, CM, 48, 130},
		{Radius, MM, 200, 560}, {Radius, Inch, 8, 22}, {Radius, CM, 20, 56},
		{RevsPerMile, revMile, 380, 1240}, {RevsPerKm, revKm, 238, 770},
		{AxleRatio, "", 1.5, 8}, {Percent, percent, 50, 200}, {PulsesPerKm, pulseKm, 1000, 60000}, {PulsesPerMile, pulseMile, 1600, 99000},
	} {
		if v >= q.low && v <= q.high && (qty == "" || qty == q.quantity) {
			s := q.quantity
			if q.unit != "" {
				s += " " + q.unit
			}
			out = append(out, s)
		}
	}
	return out
}

func round6(v float64) float64 { return math.Round(v*1e6) / 1e6 }

var englishQuantityEcho = map[string]string{Circumference: "circumference", Diameter: "diameter", Radius: "radius", AxleRatio: "axle ratio"}

func storedEcho(s Stored) string {
	e := s.Label
	if e == "" {
		e = plain(s.Value)
		if s.Unit != "" {
			e += " " + s.Unit
		}
	} else {
		e = "list: " + e
	}
	if q := englishQuantityEcho[s.Quantity]; q != "" {
		e += " " + q
	}
	if s.Which != "" {
		e = map[string]string{"factory": "factory ", "as_found": "as found "}[s.Which] + e
	}
	if s.Module != "" {
		e += " " + englishModuleEcho[s.Module]
	}
	if s.Limits.Any() {
		e += ", " + limitsEcho(s.Limits)
	}
	return e
}
