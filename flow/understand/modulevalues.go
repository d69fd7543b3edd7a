package understand

import "math"

func one(text string, ts []token, m measure, lim Limits, mods []phrase[string]) ([]Match[Stored], *Ask) {
	s, ask := stored(text, ts, m, lim)
	if ask != nil {
		return nil, ask
	}
	s.Which = whens(ts, []measure{m})[0]
	start, end := ts[m.from].start, ts[m.to-1].end
	var names []string
	for _, p := range mods {
		if len(names) == 0 || names[len(names)-1] != p.value {
			names = append(names, p.value)
		}
	}
	if len(names) > 1 && !enumerated(ts, mods) {
		return nil, newAsk(AskValueSeveral, text)
	}
	if len(names) == 0 {
		names = []string{""}
	}
	var out []Match[Stored]
	for _, n := range names {
		s.Module = n
		out = append(out, Match[Stored]{Value: s, Start: start, End: end, Echo: storedEcho(s)})
	}
	return out, nil
}

// enumerated tells whether modules are named in one row: "in the engine, gearbox and abs".
func enumerated(ts []token, mods []phrase[string]) bool {
	for _, t := range ts {
		if t.kind == word && englishLacks[t.text] {
			return false
		}
	}
	for i := 1; i < len(mods); i++ {
		for _, t := range ts[mods[i-1].to:mods[i].from] {
			switch t.text {
			case "and", ",", "&", "the", "module", "in", "+", "/", "also", "modules":
			default:
				return false
			}
		}
	}
	return true
}

var englishLacks = set("none", "no", "not", "nothing", "without", "isnt", "doesnt", "hasnt", "empty", "except", "different", "differs")

// oneLength drops the second of two figures that are the same length in two units ("2438 mm / 96 in").
func oneLength(ms []measure) []measure {
	if len(ms) != 2 {
		return ms
	}
	a, okA := toMM[ms[0].unit]
	b, okB := toMM[ms[1].unit]
	if r := ms[0].fig.value * a / (ms[1].fig.value * b); okA && okB && ms[0].unit != ms[1].unit && math.Abs(r-1) < 0.003 {
		return ms[:1]
	}
	return ms
}

// twoTimes reads the factory value and the one found, of one module.
func twoTimes(text string, ts []token, ms []measure, lim Limits, mods []phrase[string], which []string) ([]Match[Stored], *Ask) {
	var out []Match[Stored]
	for i, m := range ms {
		s, ask := stored(text, ts, m, lim)
		if ask != nil {
			return nil, ask
		}
		s.Which = which[i]
		if len(mods) == 1 {
			s.Module = mods[0].value
		}
		out = append(out, Match[Stored]{Value: s, Start: ts[m.from].start, End: ts[m.to-1].end, Echo: storedEcho(s)})
	}
	shareUnit(out)
	return out, nil
}

// whens tells of each figure whether the words of its part of the sentence call it the factory's or the one found.
func whens(ts []token, ms []measure) []string {
	part := parts(ts)
	out := make([]string, len(ms))
	for i, m := range ms {
		for _, p := range englishStoredWhich.all(ts) {
			if part[p.from] == part[m.from] {
				if out[i] != "" && out[i] != p.value {
					out[i] = ""
					break
				}
				out[i] = p.value
			}
		}
	}
	return out
}

var englishStoredWhich = newLexicon(false, table(
	row[string]{"factory", "factory, originally, original, from the factory, stock, built, build record, maker says, as delivered"},
	row[string]{"as_found", "as found, found, now, currently, at present, today, at the moment, right now, someone set, it is now, was changed to"},
))

// parts numbers the parts of a sentence.
func parts(ts []token) []int {
	part := make([]int, len(ts)+1)
	n := 0
	for i, t := range ts {
		if t.kind == line || t.text == "," || t.text == ";" || t.text == "and" || t.text == "." || t.text == "but" || t.text == "&" {
			n++
		}
		part[i] = n
	}
	return part
}

// owners finds the module each figure belongs to: the one named in the same part of the sentence.
func owners(ts []token, ms []measure, mods []phrase[string]) []string {
	out := make([]string, len(ms))
	part := parts(ts)
	for i, m := range ms {
		for _, p := range mods {
			if part[p.from] == part[m.from] {
				out[i] = p.value
			}
		}
	}
	return out
}
