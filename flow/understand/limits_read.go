package understand

// limitReader is the reading of step and limits out of a text.
type limitReader struct {
	ts     []token
	ms     []measure
	byFrom map[int]measure // by the token they begin at
	byTo   map[int]measure // by the token behind them
	used   []bool
	found  Limits
}

func (r *limitReader) take(from, to int) {
	for i := max(0, from); i < min(to, len(r.ts)); i++ {
		r.used[i] = true
	}
}

func (r *limitReader) unit(u string) {
	if u != "" && r.found.Unit == "" {
		r.found.Unit = u
	}
}

// steps reads a step beside its word.
func (r *limitReader) steps() {
	ts := r.ts
	for i, t := range ts {
		if r.used[i] || t.kind != word || !englishStep[t.text] {
			continue
		}
		if m, ok := r.byTo[skipBack(ts, i, "-")]; ok && m.fig.value > 0 && !r.used[m.from] && !fits(r.byFrom, ts, i) { // "5 mm steps"
			r.found.Step = ptr(m.fig.value)
			r.unit(m.unit)
			r.take(m.from, i+1)
			r.take(m.from-1, m.from) // "in 5 mm steps"
			continue
		}
		if m, ok := ahead(r.byFrom, ts, i+1, 3); ok && !r.used[m.from] { // "step 1", "steps of 0.5"
			r.found.Step = ptr(m.fig.value)
			r.unit(m.unit)
			r.take(i, m.to)
		}
	}
}

// countedUp reads a step that is said without its word: "goes up in 5s", "1 at a time".
func (r *limitReader) countedUp() {
	ts := r.ts
	for _, m := range r.ms {
		if r.found.Step != nil {
			return
		}
		g := at(ts, m.to)
		switch {
		case g.text == "at" && at(ts, m.to+1).text == "a" && at(ts, m.to+2).text == "time":
			r.found.Step = ptr(m.fig.value)
			r.unit(m.unit)
			r.take(m.from, m.to+3)
		case g.glued && g.text == "s" && at(ts, m.from-1).text == "in":
			r.found.Step = ptr(m.fig.value)
			r.take(m.from-1, m.to+1)
		case m.unit == second && m.to == m.from+2 && ts[m.from+1].glued && at(ts, m.from-1).text == "in":
			r.found.Step = ptr(m.fig.value)
			r.take(m.from-1, m.to)
		}
	}
}

// ranges reads both limits at once: "1800 to 3000", "between 1800 and 3000", "1800-3000".
func (r *limitReader) ranges() {
	ts := r.ts
	for i := 0; i+1 < len(r.ms); i++ {
		a, b := r.ms[i], r.ms[i+1]
		if r.used[a.from] || r.used[b.from] || !rangeBetween(ts, a, b) {
			continue
		}
		lo, hi := sized(a.fig, b.fig), sized(b.fig, a.fig)
		if lo >= hi {
			continue
		}
		r.found.Min, r.found.Max = ptr(lo), ptr(hi)
		r.unit(a.unit)
		r.unit(b.unit)
		r.take(a.from, b.to)
		for j := a.from - 1; j >= 0 && ts[j].kind == word && englishRangeLead[ts[j].text]; j-- {
			r.used[j] = true
		}
	}
}

// end reads one limit beside its word: "min 1800", "3000 at most".
func (r *limitReader) end(lex lexicon[bool], to **float64) {
	for _, p := range lex.all(r.ts) {
		if r.used[p.from] || *to != nil {
			continue
		}
		if m, ok := ahead(r.byFrom, r.ts, p.to, 2); ok && !r.used[m.from] {
			*to = ptr(m.fig.whole())
			r.unit(m.unit)
			r.take(p.from, m.to)
		} else if m, ok := r.byTo[p.from]; ok && !r.used[m.from] && r.ts[p.from].text != "from" && r.ts[p.from].text != "top" {
			*to = ptr(m.fig.whole())
			r.unit(m.unit)
			r.take(m.from, p.to)
		}
	}
}

// sized reads a figure in doubt ("1.800") in the way that fits its neighbour.
func sized(f, beside figure) float64 {
	if !f.twoWay {
		return f.value
	}
	w := beside.value
	if beside.twoWay {
		return f.whole()
	}
	if f.whole() > 100*w {
		return min(f.value, f.other)
	}
	return f.whole()
}

// fits tells whether a figure follows the step word at i directly, so that the one before is something else.
func fits(byFrom map[int]measure, ts []token, i int) bool {
	_, ok := ahead(byFrom, ts, i+1, 2)
	return ok
}

func skipBack(ts []token, i int, mark string) int {
	if at(ts, i-1).text == mark {
		return i - 1
	}
	return i
}

// ahead finds a measure within n small words or marks of token i.
func ahead(byFrom map[int]measure, ts []token, i, n int) (measure, bool) {
	for j := i; j <= i+n; j++ {
		if m, ok := byFrom[j]; ok {
			return m, true
		}
		t := at(ts, j)
		if !(t.kind == word && englishLink[t.text]) && t.text != ":" && t.text != "=" && t.text != "." {
			break
		}
	}
	return measure{}, false
}

func rangeBetween(ts []token, a, b measure) bool {
	gap := ts[a.to:b.from]
	switch len(gap) {
	case 1:
		switch gap[0].text {
		case "to", "till", "until", "thru", "through", "-", "~", "…":
			return true
		case "and":
			return at(ts, a.from-1).text == "between"
		}
	case 2:
		return gap[0].text == "." && gap[1].text == "." || gap[0].text == "up" && gap[1].text == "to"
	case 3:
		return gap[0].text == "." && gap[1].text == "." && gap[2].text == "."
	}
	return false
}

var englishRangeLead = set("from", "between", "range", "limits", "limit", "goes", "is", "are", "ranges")
