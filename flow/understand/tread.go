package understand

import "math"

// Tread is the tread depth in mm of the tyres fitted.
type Tread struct {
	New, Now *float64 // nil where not said
	Unworn   bool     // "brand new": now equals new, whatever that is
}

// Treads reads "12/12 tread", "8mm when new now 7", "new 8 now 7", "10/32 now, 12/32 new", "brand new". A bare pair is
// new first, and taken only where both could be a tread. More now than new is asked about.
func Treads(text string) (Match[Tread], bool, *Ask) {
	var m Match[Tread]
	ts := tokens(text)
	named := false
	for i := range ts {
		named = named || englishTread[ts[i].text]
	}
	var ms []measure
	for _, x := range measures(ts) {
		switch x.unit {
		case "", MM, thirtySec, CM, Inch:
			if mm := treadMM(x); x.fig.bad || mm <= 0 || mm > 30 {
				continue
			}
			ms = append(ms, x)
		}
	}
	t := Tread{}
	got := unused
	switch {
	case len(ms) == 0:
		for _, p := range englishUnworn.all(ts) {
			t.Unworn = true
			got.cover(p.from, p.to)
		}
		if !t.Unworn {
			if named && len(measures(ts)) > 0 {
				return m, false, newAsk(AskTread, text)
			}
			return m, false, nil
		}
	default:
		if ok, ask := t.figures(ts, ms, named, text, &got); !ok {
			return m, false, ask
		}
	}
	if t.New == nil && t.Now == nil && !t.Unworn {
		return m, false, nil
	}
	if t.New != nil && t.Now != nil && *t.Now > *t.New {
		return m, false, newAsk(AskTreadOrder, text, "new", plain(*t.New), "now", plain(*t.Now)).
			offer("new " + plain(*t.Now) + " mm now " + plain(*t.New) + " mm")
	}
	if t.New != nil && (*t.New < 1 || *t.New > 30) {
		return m, false, newAsk(AskTread, text)
	}
	got.coverBeside(ts, englishTread) // the word tread beside it is used too
	m.Value = t
	m.Start, m.End = got.span(ts)
	m.Echo = treadEcho(t)
	return m, true, nil
}

// figures takes the depths out of the figures that could be some: by the words new and now, or as a pair.
func (t *Tread) figures(ts []token, ms []measure, named bool, text string, got *reach) (bool, *Ask) {
	thirties := ms[len(ms)-1].unit == thirtySec
	depth := func(x measure) *float64 {
		if x.unit == "" && thirties {
			x.unit = thirtySec
		}
		return ptr(math.Round(round6(treadMM(x))*100) / 100)
	}
	labels := englishWhen.all(ts)
	pairs := [][2]measure{}
	for i := 0; i+1 < len(ms); i++ {
		gap := ts[ms[i].to:ms[i+1].from]
		if len(gap) == 1 && (gap[0].text == "/" || gap[0].text == "and" || gap[0].text == "to" || gap[0].text == ",") && !isWhen(ts, ms[i].from-1) {
			pairs = append(pairs, [2]measure{ms[i], ms[i+1]})
		}
	}
	whens := 0
	for _, p := range labels {
		if tight(ts, ms, p.from) {
			whens++
		}
	}
	switch {
	case whens > 0 && (named || whens > 1 || len(ms) <= 2 && (ms[0].unit != "" || named || len(labels) > 1)):
		assign := whenFigures(ts, ms)
		for i, w := range assign {
			x := ms[i]
			switch {
			case w == "new" && t.New == nil:
				t.New = depth(x)
			case w == "now" && t.Now == nil:
				t.Now = depth(x)
			case w == "":
				continue
			default:
				return false, newAsk(AskTread, text)
			}
			got.cover(x.from, x.to)
		}
		if len(ms) == 2 && (t.New == nil) != (t.Now == nil) && (named || ms[0].unit != "") {
			for i, w := range assign {
				if w == "" && t.New == nil {
					t.New = depth(ms[i])
					got.cover(ms[i].from, ms[i].to)
				} else if w == "" {
					t.Now = depth(ms[i])
					got.cover(ms[i].from, ms[i].to)
				}
			}
		}
	case len(pairs) == 1 && (named || tightSlash(ts, pairs[0])):
		t.New, t.Now = depth(pairs[0][0]), depth(pairs[0][1])
		got.cover(pairs[0][0].from, pairs[0][1].to)
	case len(pairs) > 1 && named:
		return false, newAsk(AskTread, text)
	case len(ms) == 1 && (named || ms[0].unit == thirtySec):
		return false, newAsk(AskTreadWhich, text, "value", plain(round6(treadMM(ms[0]))))
	case named && len(ms) == 2:
		t.New, t.Now = depth(ms[0]), depth(ms[1])
		got.cover(ms[0].from, ms[1].to)
	default:
		return false, nil
	}
	return true, nil
}

func treadEcho(t Tread) string {
	s := ""
	if t.New != nil {
		s = "new " + plain(*t.New) + " mm"
	}
	if t.Now != nil {
		if s != "" {
			s += " "
		}
		s += "now " + plain(*t.Now) + " mm"
	}
	if t.Unworn {
		s = "brand new tyres"
	}
	if s != "" && !t.Unworn {
		s += " tread"
	}
	return s
}

func treadMM(x measure) float64 {
	v := small(x.fig)
	switch x.unit {
	case thirtySec:
		return v * 25.4 / 32
	case CM:
		return v * 10
	case Inch:
		return v * 25.4
	}
	return v
}

func isWhen(ts []token, i int) bool {
	if i < 0 {
		return false
	}
	_, _, ok := englishWhen.find(ts, i)
	return ok
}

// tight tells whether a word stands beside one of the figures.
func tight(ts []token, ms []measure, i int) bool {
	for _, m := range ms {
		if i < m.from && m.from-i <= 3 || i >= m.to && i-m.to <= 3 {
			return true
		}
	}
	return false
}

// tightSlash tells a typed pair "12/12" of small figures from a date or a fraction.
func tightSlash(ts []token, p [2]measure) bool {
	return at(ts, p[0].to).text == "/" && p[0].fig.value >= 2 && p[1].fig.value >= 1 && p[0].unit == "" && at(ts, p[1].to).text != "/"
}

// whenFigures gives each figure the word "new" or "now" that belongs to it: the one before it, or behind it where the
// text starts with a figure.
func whenFigures(ts []token, ms []measure) []string {
	out := make([]string, len(ms))
	ps := englishWhen.all(ts)
	if len(ps) == 0 {
		return out
	}
	used := make([]bool, len(ps))
	wordFirst := ps[0].from < ms[0].from
	for i, m := range ms {
		bestGap, best := 99, -1
		for k, p := range ps {
			if used[k] {
				continue
			}
			gap := m.from - p.to
			if gap < 0 {
				gap = p.from - m.to
				if wordFirst {
					gap += 4
				}
			} else if !wordFirst && i == 0 {
				gap += 4
			}
			if gap < bestGap {
				bestGap, best = gap, k
			}
		}
		if best >= 0 && bestGap < 9 {
			out[i] = ps[best].value
			used[best] = true
		}
	}
	return out
}

var englishTread = set("tread", "treads", "depth", "thread", "treaddepth", "profile", "rubber", "tred")

var englishWhen = newLexicon(false, table(
	row[string]{"new", "new, when new, as new, from new, originally, original, were, started at, start, brand new, were new"},
	row[string]{"now", "now, left, today, currently, worn to, down to, present, remaining, at the moment, at present, measured, current, is now, are now"},
))

var englishUnworn = newLexicon(false, table(
	row[bool]{true, "brand new, brand new tyres, brand new tires, as new, new tyres, new tires, unworn, full tread, not worn, never driven, just fitted, fresh, straight from the shop, no wear, zero miles"},
))
