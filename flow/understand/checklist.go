package understand

import "strings"

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
	all, allEnd := "", -1
	from, to := -1, 0
	cover := func(a, b int) {
		if from < 0 || a < from {
			from = a
		}
		to = max(to, b)
	}
	for i := range ts {
		if v, k, ok := englishAll.find(ts, i); ok {
			all, allEnd = v, i+k
			if p := at(ts, i-1).text; p == "not" || p == "nearly" || p == "almost" || p == "isnt" || p == "arent" {
				all = "no"
			}
			cover(i, i+k)
			break
		}
	}
	if all == "" && !answers(ts) && strangers(ts) { // another message: its figures are no line numbers
		return m, false, nil
	}
	var pending []int
	said := map[int]string{}
	flush := func(what string) *Ask {
		for _, l := range pending {
			if p, ok := said[l]; ok && p != what {
				return newAsk(AskLineTwice, text, "line", plain(float64(l)))
			}
			said[l] = what
		}
		pending = nil
		return nil
	}
	except := false
	mode := "" // "yes to 1 and 2": the answer before its numbers
	for i := 0; i < len(ts); i++ {
		if i < allEnd && all != "" && i >= allEnd-6 && inAll(ts, i, allEnd) {
			continue
		}
		tk := ts[i]
		line := lineNumber(tk)
		if parts := strings.Split(tk.text, "."); tk.kind == number && len(parts) > 1 && !tk.num.fraction { // "1,2,4" without spaces
			for _, v := range parts {
				l := 0
				if len(v) < 3 {
					l = int(parse(v))
				}
				if l < 1 || l > n {
					return m, false, newAsk(AskLine, text, "n", plain(float64(n)))
				}
				pending = append(pending, l)
			}
			cover(i, i+1)
			continue
		}
		if line > 0 {
			if at(ts, i+1).text == "-" && lineNumber(at(ts, i+2)) > line { // "1-4 yes"
				hi := lineNumber(ts[i+2])
				if hi > n {
					return m, false, newAsk(AskLine, text, "n", plain(float64(n)))
				}
				for l := line; l <= hi; l++ {
					pending = append(pending, l)
				}
				cover(i, i+3)
				i += 2
				continue
			}
			if line > n {
				if tk.kind == word || tk.glued || line > 20 { // no line number
					continue
				}
				return m, false, newAsk(AskLine, text, "n", plain(float64(n)))
			}
			if except {
				said[line] = "no?"
				if a := at(ts, i+1).text; a == "no" || a == "nope" || a == "not" {
					said[line] = "no"
				}
			} else {
				pending = append(pending, line)
			}
			cover(i, i+1)
			continue
		}
		if tk.kind == word && englishExcept[tk.text] {
			if all != "" || mode != "" || len(said) > 0 {
				except = true
			}
			cover(i, i+1)
			continue
		}
		if tk.text == ";" && len(pending) > 0 && mode == "" && !except {
			if ask := flush("open"); ask != nil {
				return m, false, ask
			}
			continue
		}
		if tk.text == "why" || tk.text == "?" {
			if len(pending) > 0 {
				if ask := flush("why"); ask != nil {
					return m, false, ask
				}
			}
			continue
		}
		a, k, ok := englishAnswers.find(ts, i)
		if !ok {
			switch tk.text {
			case "✓":
				a, k, ok = Yes, 1, true
			case "✗":
				a, k, ok = No, 1, true
			}
		}
		if ok && (a == Yes || a == No || a == NotSure) {
			what := string(a)
			leads := lineNumber(at(ts, i+k)) > 0 || englishToLines[at(ts, i+k).text] // "no to 3", "no 3"
			if mode != "" && len(pending) > 0 {
				if !leads { // "yes 1, 2 no": of 2 both are said
					return m, false, newAsk(AskLines, text, "n", plain(float64(n)))
				}
				if ask := flush(mode); ask != nil {
					return m, false, ask
				}
			}
			if len(pending) > 0 {
				if ask := flush(what); ask != nil {
					return m, false, ask
				}
			} else if leads {
				mode = what
			}
			cover(i, i+k)
			i += k - 1
			continue
		}
	}
	for _, l := range pending {
		switch {
		case except:
			said[l] = "no?"
		case mode != "":
			said[l] = mode
		case said[l] == "":
			said[l] = "open"
		}
	}
	if all == "yes" {
		sure, denied := clearly(ts, allEnd)
		if !sure && !denied && len(said) == 0 { // "36 psi all round"
			return m, false, nil
		}
		if !sure || except && len(said) == 0 {
			return m, false, newAsk(AskLines, text, "n", plain(float64(n)))
		}
		t.All = true
	}
	for l := 1; l <= n; l++ {
		switch said[l] {
		case "yes":
			t.Yes = append(t.Yes, l)
		case "no":
			t.No = append(t.No, l)
		case "why":
			t.Why = append(t.Why, l)
		case "open", "no?", "not_sure":
			t.Open = append(t.Open, l)
		}
	}
	if !t.All && all != "no" && len(said) == 0 {
		a, ok := YesNo(rest)
		whole := ok && onlyFillers(rest, a.End)
		switch {
		case whole && a.Value == Yes: // one "yes" to a list confirms the list
			t.All = true
			from, to = 0, len(ts)
		case whole && (a.Value == No || a.Value == NotSure):
			return m, false, newAsk(AskLines, text, "n", plain(float64(n)))
		case t.Volts != nil:
			m.Value, m.Start, m.End = t, 0, len(clean)
			m.Echo = plain(*t.Volts) + " V"
			return m, true, nil
		default:
			return m, false, nil
		}
	}
	if all == "no" {
		return m, false, newAsk(AskLines, text, "n", plain(float64(n)))
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
