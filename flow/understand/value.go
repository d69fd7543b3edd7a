package understand

import (
	"math"
	"slices"
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
