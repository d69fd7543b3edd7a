package understand

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
