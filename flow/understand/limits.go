package understand

// Limits are the smallest step and the lowest and highest value a tool offers, nil where not said.
type Limits struct {
	Step, Min, Max *float64
	Unit           string // the unit named with them, or empty
	StepUnknown    bool   // said to be not known or not shown
	LimitsUnknown  bool
}

// Any tells whether anything was said of step or limits.
func (l Limits) Any() bool {
	return l.Step != nil || l.Min != nil || l.Max != nil || l.StepUnknown || l.LimitsUnknown
}

// FindLimits reads "step 1, 1800 to 3000", "in 5 mm steps, min 1800 max 3000", "goes up to 3000", "limits not known".
// Lengths come in mm. The second result is false where nothing of the kind is said.
func FindLimits(text string) (Match[Limits], bool, *Ask) {
	ts := joinThousands(tokens(text))
	l, used, ask := limits(ts)
	var m Match[Limits]
	if ask != nil {
		return m, false, ask
	}
	if !l.Any() {
		return m, false, nil
	}
	m.Start, m.End = usedSpan(ts, used)
	unit := l.Unit
	m.Value = l.in(unit)
	m.Echo = limitsEcho(m.Value)
	return m, true, nil
}

// in converts lengths typed in unit to mm; other units stay.
func (l Limits) in(unit string) Limits {
	f, ok := toMM[unit]
	if !ok {
		l.Unit = unit
		return l
	}
	for _, p := range []**float64{&l.Step, &l.Min, &l.Max} {
		if *p != nil {
			*p = ptr(round6(**p * f))
		}
	}
	l.Unit = MM
	return l
}

func limitsEcho(l Limits) string {
	s := ""
	add := func(t string) {
		if s != "" {
			s += ", "
		}
		s += t
	}
	u := ""
	if l.Unit != "" {
		u = " " + l.Unit
	}
	if l.Step != nil {
		add("step " + plain(*l.Step) + u)
	} else if l.StepUnknown {
		add("step not known")
	}
	if l.Min != nil {
		add("min " + plain(*l.Min) + u)
	}
	if l.Max != nil {
		add("max " + plain(*l.Max) + u)
	}
	if l.LimitsUnknown {
		add("limits not known")
	}
	return s
}

// limits finds step and limits; used marks the tokens they took.
func limits(ts []token) (Limits, []bool, *Ask) {
	var l Limits
	used := make([]bool, len(ts))
	take := func(from, to int) {
		for i := max(0, from); i < min(to, len(ts)); i++ {
			used[i] = true
		}
	}
	ms := measures(ts)
	byFrom := map[int]measure{}
	byTo := map[int]measure{}
	for _, m := range ms {
		byFrom[m.from], byTo[m.to] = m, m
	}
	setUnit := func(u string) {
		if u != "" && l.Unit == "" {
			l.Unit = u
		}
	}
	for _, p := range englishNoLimit.all(ts) {
		l.LimitsUnknown = l.LimitsUnknown || p.value != "step"
		l.StepUnknown = l.StepUnknown || p.value != "limits"
		take(p.from, p.to)
	}
	for i, t := range ts {
		if used[i] || t.kind != word || !englishStep[t.text] {
			continue
		}
		if m, ok := byTo[skipBack(ts, i, "-")]; ok && m.fig.value > 0 && !used[m.from] && !fits(byFrom, ts, i) { // "5 mm steps"
			l.Step = ptr(m.fig.value)
			setUnit(m.unit)
			take(m.from, i+1)
			take(m.from-1, m.from) // "in 5 mm steps"
			continue
		}
		if m, ok := ahead(byFrom, ts, i+1, 3); ok && !used[m.from] { // "step 1", "steps of 0.5"
			l.Step = ptr(m.fig.value)
			setUnit(m.unit)
			take(i, m.to)
		}
	}
	for _, m := range ms { // "goes up in 5s", "1 at a time"
		if l.Step == nil && at(ts, m.to).text == "at" && at(ts, m.to+1).text == "a" && at(ts, m.to+2).text == "time" {
			l.Step = ptr(m.fig.value)
			setUnit(m.unit)
			take(m.from, m.to+3)
			continue
		}
		if g := at(ts, m.to); l.Step == nil && g.glued && g.text == "s" && at(ts, m.from-1).text == "in" {
			l.Step = ptr(m.fig.value)
			take(m.from-1, m.to+1)
		} else if l.Step == nil && m.unit == second && m.to == m.from+2 && ts[m.from+1].glued && at(ts, m.from-1).text == "in" {
			l.Step = ptr(m.fig.value)
			take(m.from-1, m.to)
		}
	}
	for i := 0; i+1 < len(ms); i++ { // "1800 to 3000", "between 1800 and 3000", "1800-3000"
		a, b := ms[i], ms[i+1]
		if used[a.from] || used[b.from] || !rangeBetween(ts, a, b) {
			continue
		}
		lo, hi := sized(a.fig, b.fig), sized(b.fig, a.fig)
		if lo >= hi {
			continue
		}
		l.Min, l.Max = ptr(lo), ptr(hi)
		setUnit(a.unit)
		setUnit(b.unit)
		take(a.from, b.to)
		for j := a.from - 1; j >= 0 && ts[j].kind == word && englishRangeLead[ts[j].text]; j-- {
			used[j] = true
		}
	}
	one := func(lex lexicon[bool], to **float64) {
		for _, p := range lex.all(ts) {
			if used[p.from] || *to != nil {
				continue
			}
			if m, ok := ahead(byFrom, ts, p.to, 2); ok && !used[m.from] {
				*to = ptr(m.fig.whole())
				setUnit(m.unit)
				take(p.from, m.to)
			} else if m, ok := byTo[p.from]; ok && !used[m.from] && ts[p.from].text != "from" && ts[p.from].text != "top" {
				*to = ptr(m.fig.whole())
				setUnit(m.unit)
				take(m.from, p.to)
			}
		}
	}
	one(englishMin, &l.Min)
	one(englishMax, &l.Max)
	if l.Step != nil && *l.Step <= 0 {
		return l, used, newAsk(AskStep, plain(*l.Step))
	}
	if l.Min != nil && l.Max != nil && *l.Min >= *l.Max {
		return l, used, newAsk(AskLimits, plain(*l.Min)+" / "+plain(*l.Max), "min", plain(*l.Min), "max", plain(*l.Max))
	}
	return l, used, nil
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

var englishLink = set("of", "is", "are", "in", "size", "it", "its", "at", "the", "value", "was", "a", "by", "says", "shows", "s")

func usedSpan(ts []token, used []bool) (int, int) {
	from, to := -1, 0
	for i, u := range used {
		if u {
			if from < 0 {
				from = ts[i].start
			}
			to = ts[i].end
		}
	}
	return max(from, 0), to
}

func ptr(v float64) *float64 { return &v }
