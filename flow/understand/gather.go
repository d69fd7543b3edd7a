package understand

import "slices"

// gather turns tokens into items and notes units, source and conditions on the way.
func (p *pairing) gather(ts []token) {
	var units []string
	lastFigure := -9 // token index of the last figure
	truth, doubt := false, false
	bind := false
	p.letters = dashAndGPS(ts)
	push := func(it item) { p.items = append(p.items, it) }
	last := func() *item {
		if n := len(p.items); n > 0 {
			return &p.items[n-1]
		}
		return &item{}
	}
	for i := 0; i < len(ts); i++ {
		t := ts[i]
		switch t.kind {
		case line:
			push(item{kind: hardItem})
			bind, truth = false, false
		case symbol:
			p.mark(ts, i, &truth)
		case number:
			if p.notSpeed(ts, i) {
				continue
			}
			f := t.num
			if f.bad || negative(ts, i) {
				p.ask = newAsk(AskReadingNumber, p.text[max(0, t.start-1):t.end])
				return
			}
			v := f.value
			if f.twoWay {
				v = min(f.value, f.other)
			}
			it := item{kind: figureItem, value: v, decimals: f.decimals, truth: truth, doubt: doubt, start: t.start, end: t.end}
			if f.sep == ',' && len(f.after) == 2 {
				left, right := float64(int(f.value)), parse(f.after)
				if right > 0 && left/right > minRatio && left/right < maxRatio {
					it.pairComma, it.left, it.right = true, left, right
				}
			}
			push(it)
			lastFigure, truth, doubt, bind = i, false, false, false
		case word:
			if u, n, ok := englishSpeedUnits.find(ts, i); ok {
				if !slices.Contains(units, u) {
					units = append(units, u)
				}
				p.attach(u, ts[i+n-1].end, i-lastFigure <= 2)
				i += n - 1
				continue
			}
			if u, n, ok := englishShortSpeedUnits.find(ts, i); ok && i-lastFigure == 1 && last().kind == figureItem {
				last().unit, last().short, last().end = u, true, ts[i+n-1].end
				i += n - 1
				continue
			}
			if c, n, ok := englishConditions.find(ts, i); ok {
				if !slices.Contains(p.conditions, c) {
					p.conditions = append(p.conditions, c)
				}
				i += n - 1
				continue
			}
			if p.letters && (t.text == "d" || t.text == "g") {
				p.noun(ts, i, 1, map[string]role{"d": onDash, "g": onGPS}[t.text], bind)
				continue
			}
			if s, _, ok := englishSource.find(ts, i); ok {
				if p.source == "" && s != "tool" {
					p.source = s
				}
			}
			if r, n, ok := englishNouns.find(ts, i); ok {
				if r == odometer {
					i = skipFigure(ts, i+n) - 1
					continue
				}
				p.noun(ts, i, n, r, bind)
				bind = false
				i += n - 1
				continue
			}
			if r, n, ok := englishVerbs.find(ts, i); ok {
				if l := last(); l.kind == labelItem && !l.back && t.text != "it" {
					l.fwd, l.back = true, false
				} else {
					push(item{kind: labelItem, role: r, weak: true, fwd: true, start: t.start, end: ts[i+n-1].end})
				}
				i += n - 1
				continue
			}
			if r, n, ok := englishBack.find(ts, i); ok && last().kind == figureItem {
				push(item{kind: labelItem, role: r, back: true, start: t.start, end: ts[i+n-1].end})
				i += n - 1
				continue
			}
			if d, n, ok := englishDoubt.find(ts, i); ok {
				next, prev := at(ts, i+n).kind == number, at(ts, i-1).kind == number
				switch {
				case d == "range" && next && (prev || t.text == "between"):
					from := t.start
					if prev {
						from = ts[i-1].start
					}
					p.ask = newAsk(AskReadingRangeOf, p.text[from:ts[i+n].end])
					return
				case d == "not" && next:
					p.ask = newAsk(AskReadingNot, p.text[t.start:ts[i+n].end])
					return
				case d == "about" && next:
					doubt = true
				case t.text == "ish" && prev && last().kind == figureItem:
					last().doubt = true
				}
				i += n - 1
				continue
			}
			switch {
			case englishAnd[t.text]:
				push(item{kind: softItem})
			case englishJoiners[t.text]:
				push(item{kind: joinItem, slash: t.text == "slash" || t.text == "over"})
				truth = t.text == "at"
			case t.text == "to" && at(ts, i-1).kind == number && at(ts, i+1).kind == number:
				p.ask = newAsk(AskReadingRangeOf, p.text[ts[i-1].start:ts[i+1].end])
				return
			case englishBind[t.text]:
				if t.text == "on" && at(ts, i-1).kind == number && at(ts, i+1).kind == number {
					push(item{kind: joinItem})
				} else {
					bind = last().kind == figureItem
				}
			case t.glued && len(t.text) <= 2 && last().kind == figureItem && i-lastFigure == 1:
				// "60g": a letter stuck to a figure says nothing certain
			}
		}
	}
	if len(units) == 1 {
		p.unit = units[0]
	}
}

// noun adds a label; a noun right behind another of the same role is part of it ("the dash display").
func (p *pairing) noun(ts []token, i, n int, r role, bind bool) {
	end := ts[i+n-1].end
	if k := len(p.items); k > 0 && p.items[k-1].kind == labelItem && p.items[k-1].role == r && !p.items[k-1].weak {
		p.items[k-1].end = end
		return
	}
	if r == onTool {
		p.tool = true
	}
	it := item{kind: labelItem, role: r, back: bind, start: ts[i].start, end: end}
	if nx := at(ts, i+n); nx.text == ":" || nx.text == "=" || nx.text == "is" || nx.text == "was" {
		it.fwd, it.back = true, false
	}
	if k := len(p.items); k > 0 && p.items[k-1].kind == figureItem {
		if _, _, ok := englishBack.find(ts, i); ok && (ts[i].text == "indicated" || ts[i].text == "ind") && !it.fwd {
			it.back = true
		}
		if ts[i-1].kind == number && ts[i-1].end == ts[i].start || opens(ts[i-1].text) && closes(at(ts, i+n).text) { // "60gps", "60 (gps)"
			it.back = true
		}
	}
	if opens(at(ts, i-1).text) && at(ts, i+n).kind == number { // "66 (gps 70)"
		it.fwd, it.back = true, false
	}
	p.items = append(p.items, it)
}

func opens(s string) bool  { return s == "(" || s == "[" || s == "{" }
func closes(s string) bool { return s == ")" || s == "]" || s == "}" }

// attach gives a unit to the figure or label before it.
func (p *pairing) attach(u string, end int, near bool) {
	n := len(p.items)
	if n == 0 {
		return
	}
	l := &p.items[n-1]
	if l.kind == figureItem && near || l.kind == labelItem {
		l.unit, l.short = u, false
		if l.kind == figureItem {
			l.end = end
		}
	}
}

// mark reads a symbol.
func (p *pairing) mark(ts []token, i int, truth *bool) {
	t := ts[i]
	prev, next := at(ts, i-1), at(ts, i+1)
	switch t.text {
	case ";":
		p.items = append(p.items, item{kind: hardItem})
	case ",", ".", "&", "+", "•", "*", "!", "?":
		p.items = append(p.items, item{kind: softItem})
	case "@":
		p.items = append(p.items, item{kind: joinItem})
		*truth = true
	case "/", "\\", "=", ">", "~":
		if t.text == "~" && prev.kind != number {
			return
		}
		p.items = append(p.items, item{kind: joinItem, slash: true})
	case "-":
		// a dash between figures ties them; between words, or after a label, it says nothing
		if next.kind == number && (prev.kind == number || prev.kind == word) {
			p.items = append(p.items, item{kind: joinItem, slash: prev.kind == number})
		} else if next.kind == word && t.spaceAfter && (prev.kind == word || prev.kind == number) {
			p.items = append(p.items, item{kind: softItem})
		}
	case ":":
		if prev.kind == number && next.kind == number {
			p.items = append(p.items, item{kind: joinItem, slash: true})
		}
	}
}

// negative tells whether a minus sign belongs to the figure.
func negative(ts []token, i int) bool {
	m := at(ts, i-1)
	if m.text != "-" || m.spaceAfter {
		return false
	}
	before := at(ts, i-2)
	return i == 1 || before.kind == line || before.kind == symbol || before.kind == word && before.spaceAfter
}

// notSpeed tells whether the figure is something else: with another unit, glued to letters, a time, a number in a list.
func (p *pairing) notSpeed(ts []token, i int) bool {
	t, next, prev := ts[i], at(ts, i+1), at(ts, i-1)
	if t.glued && !(prev.text == "x" && at(ts, i-2).kind == number) && !(p.letters && (prev.text == "d" || prev.text == "g")) {
		if _, _, ok := englishNouns.find(ts, i-1); !ok {
			return true
		}
	}
	if t.num.spoken && t.num.value <= 2 {
		return true
	}
	if next.text == "%" || next.text == "\"" && !quoted(ts, i) || prev.text == "#" || prev.text == "$" || prev.text == "£" || prev.text == "€" {
		return true
	}
	if next.kind == word && otherUnits[next.text] {
		if next.text == "in" || next.text == "s" || next.text == "h" || next.text == "c" || next.text == "f" || next.text == "m" {
			return next.glued
		}
		return true
	}
	if next.text == ":" && at(ts, i+2).kind == number && clock(t, ts[i+2]) || prev.text == ":" && at(ts, i-2).kind == number && clock(ts[i-2], t) {
		return true
	}
	// "1) 66/70", "2. 57/60"
	if t.num.sep == 0 && t.num.value < 21 && (i == 0 || prev.kind == line || prev.text == ";") {
		if next.text == ")" || next.text == "." && (next.spaceAfter || at(ts, i+2).kind == word) || next.text == ":" && next.spaceAfter {
			return true
		}
	}
	if prev.text == "reading" && t.num.value < 21 && (next.text == ":" || next.text == ")") {
		return true
	}
	if next.text == "/" || t.num.sep != 0 { // "second run 56/60"
		return false
	}
	switch prev.text {
	case "unit", "job":
		return true
	case "drive", "run", "pass", "bay", "no", "number", "nr", "line", "code", "module":
		return t.num.value < 21 && !(prev.text == "no" && t.num.spoken)
	}
	return false
}

// dashAndGPS tells whether the letters d and g stand for dash and GPS: both occur beside figures.
func dashAndGPS(ts []token) bool {
	seen := map[string]bool{}
	for i, t := range ts {
		if t.kind == word && (t.text == "d" || t.text == "g") && (at(ts, i+1).kind == number || at(ts, i-1).kind == number || at(ts, i+1).text == ":" || at(ts, i+1).text == "=") {
			seen[t.text] = true
		}
	}
	return seen["d"] && seen["g"]
}

// quoted tells whether a quote mark was opened before token i, so that the next closes it.
func quoted(ts []token, i int) bool {
	open := false
	for _, t := range ts[:i] {
		if t.text == "\"" && t.kind == symbol {
			open = !open
		}
	}
	return open
}

// clock tells whether two figures around a colon are a time of day.
func clock(h, m token) bool {
	return h.num.sep == 0 && m.num.sep == 0 && len(m.text) == 2 && h.num.value < 24 && m.num.value < 60 && m.num.value >= 0 && len(h.text) <= 2
}

// skipFigure passes the figure that belongs to an odometer, and its unit.
func skipFigure(ts []token, i int) int {
	for j := i; j < len(ts) && j < i+4; j++ {
		if ts[j].kind == number {
			return j + 1
		}
		if ts[j].kind == line {
			break
		}
	}
	return i
}
