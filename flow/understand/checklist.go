package understand

// Ticks is how a checklist was answered.
type Ticks struct {
	All   bool  // "all yes": every line but those in No and Open
	Yes   []int // lines said yes to
	No    []int // lines said no to
	Why   []int // lines whose reason is asked: "3 why"
	Open  []int // lines opened by their number alone, to be answered apart
	Rest  string
	Volts *float64
}

// Checklist reads the answer to n numbered lines: "all yes", "all yes 13.4", "all yes but 3", "2 no", "1 2 4 yes, 3 no",
// "3". The voltage may ride along. What is neither is in Rest. A number that is no line is asked about.
func Checklist(text string, n int) (Match[Ticks], bool, *Ask) {
	var m Match[Ticks]
	var t Ticks
	clean, _ := Clean(text)
	rest := clean
	if v, ok, ask := Voltage(rest); ok {
		t.Volts = &v.Value
		rest = Mask(rest, v.Start, v.End)
	} else if ask != nil && !voltsAreLines(rest, n) {
		return m, false, ask
	}
	if c, ok, _ := Codes(rest); ok && len(c.Value.List) > 0 { // "2 P0300": the code stays for its own reader
		rest = Mask(rest, c.Start, c.End)
	}
	ts := scan(rest)
	r := ticking{text: text, n: n, ts: ts, said: map[int]string{}}
	r.findAll()
	if r.all == "" && !answers(ts) && strangers(ts) { // another message: its figures are no line numbers
		return m, false, nil
	}
	if ask := r.read(); ask != nil {
		return m, false, ask
	}
	if r.all == "yes" {
		sure, denied := clearly(ts, r.allEnd)
		if !sure && !denied && len(r.said) == 0 { // "36 psi all round"
			return m, false, nil
		}
		if !sure || r.except && len(r.said) == 0 {
			return m, false, r.askWhich()
		}
		t.All = true
	}
	r.tick(&t)
	if !t.All && r.all != "no" && len(r.said) == 0 {
		a, ok := YesNo(rest)
		whole := ok && onlyFillers(rest, a.End)
		switch {
		case whole && a.Value == Yes: // one "yes" to a list confirms the list
			t.All = true
		case whole && (a.Value == No || a.Value == NotSure):
			return m, false, r.askWhich()
		case t.Volts != nil:
			m.Value, m.Start, m.End = t, 0, len(clean)
			m.Echo = plain(*t.Volts) + " V"
			return m, true, nil
		default:
			return m, false, nil
		}
	}
	if r.all == "no" {
		return m, false, r.askWhich()
	}
	m.Value = t
	m.Start, m.End = 0, len(text)
	m.Echo = ticksEcho(t)
	return m, true, nil
}

// Checklisted tells whether a text answers several lines at once rather than
// the one that was opened.
func Checklisted(text string) bool {
	m, ok, _ := Checklist(text, 9)
	t := m.Value
	return ok && (t.All || len(t.Yes)+len(t.No)+len(t.Open) > 1)
}
