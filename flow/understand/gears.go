package understand

import (
	"math"
	"strconv"
)

// Gears says whether axle gears, gearbox or transfer case were changed.
type Gears struct {
	Unchanged bool
	Unknown   bool    // don't know
	Factory   float64 // axle ratio it left the factory with; 0 where not said
	Now       float64 // axle ratio now; 0 where not said
}

// FindGears reads "gears unchanged", "3.73 to 4.10", "regeared 4.56, was 3.73", "stock gears".
func FindGears(text string) (Match[Gears], bool, *Ask) {
	var m Match[Gears]
	ts := tokens(maskSizes(text))
	named := -1
	for i := range ts {
		if englishGears[ts[i].text] {
			named = i
			break
		}
	}
	var ms []measure
	for _, x := range measures(ts) {
		if (x.unit == "" || x.unit == RatioTo1) && !x.fig.bad && small(x.fig) >= 1.5 && small(x.fig) <= 8 && (x.fig.decimals > 0 || x.unit == RatioTo1 || x.fig.twoWay) {
			ms = append(ms, x)
		}
	}
	state, ok := gearState(ts, named)
	if named < 0 && !(len(ms) == 2 && rangeBetween(ts, ms[0], ms[1])) {
		return m, false, nil
	}
	g := Gears{}
	got := reach{named, named + 1}
	if named < 0 {
		got = reach{ms[0].from, ms[1].to}
	}
	switch len(ms) {
	case 0:
		if !ok {
			return m, false, newAsk(AskGears, text)
		}
		got.cover(state.from, state.to)
		switch state.value {
		case "same":
			g.Unchanged = true
		case "unknown":
			g.Unknown = true
		default:
			return m, false, newAsk(AskGears, text)
		}
	case 1:
		v := small(ms[0].fig)
		got.cover(ms[0].from, ms[0].to)
		if ok {
			got.cover(state.from, state.to)
		}
		switch {
		case ok && state.value == "same":
			g.Unchanged, g.Factory, g.Now = true, v, v
		case ok && state.value == "was":
			g.Factory = v
		case ok && state.value == "changed" || at(ts, ms[0].from-1).text == "now":
			g.Now = v
		default:
			return m, false, newAsk(AskGearsWhich, text, "value", plain(v))
		}
	case 2:
		a, b := small(ms[0].fig), small(ms[1].fig)
		got.cover(ms[0].from, ms[0].to)
		got.cover(ms[1].from, ms[1].to)
		g.Factory, g.Now = a, b
		// "4.56 now, was 3.73": the word before the second figure, or behind the first, turns the order round
		mid := ts[ms[0].to:ms[1].from]
		for _, t := range mid {
			if englishWas[t.text] {
				g.Factory, g.Now = b, a
			}
		}
		if before := at(ts, ms[0].from-1).text; englishWas[before] && before != "from" {
			g.Factory, g.Now = a, b
		}
		if g.Factory == g.Now {
			g.Unchanged = true
		}
	default:
		return m, false, newAsk(AskGears, text)
	}
	m.Value = g
	m.Start, m.End = got.span(ts)
	m.Echo = gearsEcho(g)
	return m, true, nil
}

func gearsEcho(g Gears) string {
	switch {
	case g.Unknown:
		return "gears not known"
	case g.Unchanged && g.Now == 0:
		return "gears unchanged"
	case g.Unchanged:
		return "gears unchanged " + ratio(g.Now)
	case g.Factory == 0:
		return "gears changed to " + ratio(g.Now)
	case g.Now == 0:
		return "gears were " + ratio(g.Factory)
	}
	return "gears " + ratio(g.Factory) + " to " + ratio(g.Now)
}

// gearState finds what is said of the gears: of several words the ones behind
// their name, as others belong to other things: "8 mm now, gears unchanged".
func gearState(ts []token, named int) (phrase[string], bool) {
	all := englishGearState.all(ts)
	for _, p := range all {
		if named >= 0 && p.to > named && p.from <= named+2 {
			return p, true
		}
	}
	return englishGearState.first(ts)
}

// ratio prints an axle ratio with two decimals at least, as they are marked.
func ratio(v float64) string {
	if v == math.Round(v*10)/10 {
		return strconv.FormatFloat(v, 'f', 2, 64)
	}
	return plain(v)
}

var englishGears = set("gears", "gear", "gearing", "geared", "regeared", "regear", "axle", "axles", "diff", "diffs", "ratio", "ratios", "differential", "gearbox", "gearset", "pinion", "transfer")

var englishWas = set("was", "were", "from", "originally", "original", "factory", "stock", "before", "old", "used", "instead", "not")

var englishGearState = newLexicon(false, table(
	row[string]{"same", "built, stock, standard, original, factory, unchanged, not changed, never changed, no change, no changes, same, as original, as it left the factory, untouched, not touched, as delivered, havent changed, hasnt changed, have not been changed, not been changed, arent changed, werent changed, oem, all original, all stock, as new, like factory, no regear, not regeared, havent been changed, hasnt been changed, didnt change, no gear change, no gears changed"},
	row[string]{"unknown", "dont know, not known, unknown, not sure, no idea, dunno, cant say"},
	row[string]{"was", "was, were, originally, factory was, stock was, used to be"},
	row[string]{"changed", "changed, regeared, regear, new, swapped, replaced, now, different, lower, shorter, taller, to, fitted, upgraded, put in, installed, went to"},
))

// Where a vehicle takes its speed from.
const (
	FromWheels  = "wheels"
	FromGearbox = "gearbox"
	FromUnknown = "unknown"
)

// SpeedFrom reads where speed is taken: "wheel sensors", "gearbox output", "don't know".
func SpeedFrom(text string) (Match[string], bool, *Ask) {
	ts := tokens(text)
	ps := englishSpeedFrom.all(ts)
	var m Match[string]
	if len(ps) == 0 {
		if a, ok := YesNo(text); ok && a.Value == NotSure {
			return Match[string]{FromUnknown, a.Start, a.End, FromUnknown}, true, nil
		}
		return m, false, nil
	}
	v := ps[0]
	for _, p := range ps[1:] {
		if p.value == FromUnknown {
			v = p
		} else if p.value != v.value && v.value != FromUnknown {
			return m, false, newAsk(AskSpeedFrom, text)
		}
	}
	return Match[string]{v.value, ts[v.from].start, ts[v.to-1].end, v.value}, true, nil
}

var englishSpeedFrom = newLexicon(false, table(
	row[string]{FromWheels, "wheels, wheel, wheel sensors, wheel sensor, wheel speed sensors, wheel speed, abs sensors, abs sensor, abs, hub, hubs, each wheel, at the wheels, from the wheels"},
	row[string]{FromGearbox, "gearbox, gearbox output, transmission, trans, output shaft, tail shaft, tailshaft, gearbox sensor, transmission output, transfer case, transfer box, propshaft, prop shaft, drive shaft, driveshaft, cable, speedo cable, speedo drive, tailhousing, output, vss"},
	row[string]{FromUnknown, "dont know, not known, unknown, not sure, no idea, dunno, idk, cant say, no clue"},
))

// LoadMark is the load in kg marked on the sidewall, per tyre; Dual is 0 where not marked.
type LoadMark struct{ Single, Dual float64 }

// Load reads "1450 kg", "max load 3195 lb single 2910 lb dual", "1450/1320 kg".
func Load(text string) (Match[LoadMark], bool, *Ask) {
	var m Match[LoadMark]
	ts := tokens(text)
	var kg []float64
	from, to := -1, 0
	all := measures(ts)
	for i, x := range all {
		f := 1.0
		switch x.unit {
		case kilogram:
		case pound:
			f = 0.45359237
		case "":
			// the first of "1450/1320 kg"
			if i+1 < len(all) && all[i+1].from == x.to+1 && at(ts, x.to).text == "/" && (all[i+1].unit == kilogram || all[i+1].unit == pound) {
				if all[i+1].unit == pound {
					f = 0.45359237
				}
				break
			}
			continue
		default:
			continue
		}
		v := x.fig.whole() * f
		if x.fig.bad || v < 150 || v > 9000 {
			return m, false, newAsk(AskLoad, text)
		}
		kg = append(kg, v)
		if from < 0 {
			from = x.from
		}
		to = x.to
	}
	if len(kg) == 0 {
		return m, false, nil
	}
	// a sidewall prints the same load in kg and lb
	if len(kg) >= 2 && kg[0]/kg[1] < 1.01 && kg[1]/kg[0] < 1.01 {
		kg = append(kg[:1], kg[2:]...)
	}
	if len(kg) >= 3 && kg[1]/kg[2] < 1.01 && kg[2]/kg[1] < 1.01 {
		kg = kg[:2]
	}
	if len(kg) > 2 {
		return m, false, newAsk(AskLoad, text)
	}
	v := LoadMark{Single: round6(kg[0])}
	m.Echo = plain(v.Single) + " kg"
	if len(kg) == 2 {
		v.Dual = round6(kg[1])
		if v.Dual > v.Single {
			v.Single, v.Dual = v.Dual, v.Single
		}
		m.Echo = plain(v.Single) + " kg single " + plain(v.Dual) + " kg dual"
	}
	m.Value, m.Start, m.End = v, ts[from].start, ts[to-1].end
	return m, true, nil
}
