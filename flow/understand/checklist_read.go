package understand

import "strings"

// ticking is the reading of an answer to n numbered lines, token by token.
type ticking struct {
	text string
	n    int
	ts   []token

	all     string // "yes" or "no" where the whole list is answered by a phrase
	allEnd  int    // token behind it
	pending []int  // lines named whose answer is still to come
	said    map[int]string
	except  bool   // "all yes but": the numbers to come are not so
	mode    string // "yes to 1 and 2": the answer before its numbers
}

// askWhich asks back which lines are meant.
func (r *ticking) askWhich() *Ask { return newAsk(AskLines, r.text, "n", plain(float64(r.n))) }

// askLine asks back about a number that is no line.
func (r *ticking) askLine() *Ask { return newAsk(AskLine, r.text, "n", plain(float64(r.n))) }

// findAll finds a phrase that answers the whole list.
func (r *ticking) findAll() {
	for i := range r.ts {
		if v, k, ok := englishAll.find(r.ts, i); ok {
			r.all, r.allEnd = v, i+k
			if p := at(r.ts, i-1).text; p == "not" || p == "nearly" || p == "almost" || p == "isnt" || p == "arent" {
				r.all = "no"
			}
			return
		}
	}
}

// read goes through the tokens; what is pending at the end is what was said before it, or opened.
func (r *ticking) read() *Ask {
	for i := 0; i < len(r.ts); {
		n, ask := r.next(i)
		if ask != nil {
			return ask
		}
		i += n
	}
	for _, l := range r.pending {
		switch {
		case r.except:
			r.said[l] = "no?"
		case r.mode != "":
			r.said[l] = r.mode
		case r.said[l] == "":
			r.said[l] = "open"
		}
	}
	return nil
}

// next reads what stands at a token and says how many tokens that was.
func (r *ticking) next(i int) (int, *Ask) {
	if r.all != "" && i < r.allEnd && i >= r.allEnd-6 && inAll(r.ts, i, r.allEnd) {
		return 1, nil
	}
	t := r.ts[i]
	if parts := strings.Split(t.text, "."); t.kind == number && len(parts) > 1 && !t.num.fraction { // "1,2,4" without spaces
		return 1, r.row(parts)
	}
	switch line := lineNumber(t); {
	case line > 0:
		return r.line(i, line)
	case t.kind == word && englishExcept[t.text]:
		r.except = r.except || r.all != "" || r.mode != "" || len(r.said) > 0
		return 1, nil
	case t.text == ";" && len(r.pending) > 0 && r.mode == "" && !r.except:
		return 1, r.flush("open")
	case t.text == "why" || t.text == "?":
		return 1, r.flush("why")
	}
	return r.answer(i)
}

// row takes line numbers typed without spaces.
func (r *ticking) row(parts []string) *Ask {
	for _, v := range parts {
		l := 0
		if len(v) < 3 {
			l = int(parse(v))
		}
		if l < 1 || l > r.n {
			return r.askLine()
		}
		r.pending = append(r.pending, l)
	}
	return nil
}

// line takes a line number, or a range of them: "1-4 yes".
func (r *ticking) line(i, line int) (int, *Ask) {
	t, behind := r.ts[i], at(r.ts, i+1).text
	if hi := lineNumber(at(r.ts, i+2)); behind == "-" && hi > line {
		if hi > r.n {
			return 0, r.askLine()
		}
		for l := line; l <= hi; l++ {
			r.pending = append(r.pending, l)
		}
		return 3, nil
	}
	switch {
	case line > r.n && (t.kind == word || t.glued || line > 20): // no line number
	case line > r.n:
		return 0, r.askLine()
	case r.except && (behind == "no" || behind == "nope" || behind == "not"):
		r.said[line] = "no"
	case r.except:
		r.said[line] = "no?"
	default:
		r.pending = append(r.pending, line)
	}
	return 1, nil
}

// answer takes a yes, a no or a doubt: for the lines before it, or for those to come.
func (r *ticking) answer(i int) (int, *Ask) {
	a, k, ok := englishAnswers.find(r.ts, i)
	if !ok {
		switch r.ts[i].text {
		case "✓":
			a, k, ok = Yes, 1, true
		case "✗":
			a, k, ok = No, 1, true
		}
	}
	if !ok || a != Yes && a != No && a != NotSure {
		return 1, nil
	}
	leads := lineNumber(at(r.ts, i+k)) > 0 || englishToLines[at(r.ts, i+k).text] // "no to 3", "no 3"
	if r.mode != "" && len(r.pending) > 0 {
		if !leads { // "yes 1, 2 no": of 2 both are said
			return 0, r.askWhich()
		}
		if ask := r.flush(r.mode); ask != nil {
			return 0, ask
		}
	}
	switch {
	case len(r.pending) > 0:
		return k, r.flush(string(a))
	case leads:
		r.mode = string(a)
	}
	return k, nil
}

// flush gives the pending lines their answer. A line with two is asked about.
func (r *ticking) flush(what string) *Ask {
	for _, l := range r.pending {
		if p, ok := r.said[l]; ok && p != what {
			return newAsk(AskLineTwice, r.text, "line", plain(float64(l)))
		}
		r.said[l] = what
	}
	r.pending = nil
	return nil
}

// tick sorts the lines by what was said of them.
func (r *ticking) tick(t *Ticks) {
	for l := 1; l <= r.n; l++ {
		switch r.said[l] {
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
}
