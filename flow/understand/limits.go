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
	r := limitReader{ts: ts, ms: measures(ts), used: make([]bool, len(ts)), byFrom: map[int]measure{}, byTo: map[int]measure{}}
	for _, m := range r.ms {
		r.byFrom[m.from], r.byTo[m.to] = m, m
	}
	l := &r.found
	for _, p := range englishNoLimit.all(ts) {
		l.LimitsUnknown = l.LimitsUnknown || p.value != "step"
		l.StepUnknown = l.StepUnknown || p.value != "limits"
		r.take(p.from, p.to)
	}
	r.steps()
	r.countedUp()
	r.ranges()
	r.end(englishMin, &l.Min)
	r.end(englishMax, &l.Max)
	if l.Step != nil && *l.Step <= 0 {
		return *l, r.used, newAsk(AskStep, plain(*l.Step))
	}
	if l.Min != nil && l.Max != nil && *l.Min >= *l.Max {
		return *l, r.used, newAsk(AskLimits, plain(*l.Min)+" / "+plain(*l.Max), "min", plain(*l.Min), "max", plain(*l.Max))
	}
	return *l, r.used, nil
}

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
