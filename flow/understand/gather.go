package understand

import "slices"

// gathering is a text of readings on its way from tokens to items.
type gathering struct {
	*pairing
	ts         []token
	units      []string
	lastFigure int  // token index of the last figure
	truth      bool // "at" or "@" stands before what comes: the true speed
	doubt      bool // "about" stands before it
	bind       bool // "on", "by" stand behind a figure: the label to come is its own
}

// gather turns tokens into items and notes units, source and conditions on the way.
func (p *pairing) gather(ts []token) {
	g := gathering{pairing: p, ts: ts, lastFigure: -9}
	p.letters = dashAndGPS(ts)
	for i := 0; i < len(ts); {
		n := 1
		switch ts[i].kind {
		case line:
			g.push(item{kind: hardItem})
			g.bind, g.truth = false, false
		case symbol:
			p.mark(ts, i, &g.truth)
		case number:
			g.figure(i)
		case word:
			n = g.word(i)
		}
		if p.ask != nil {
			return
		}
		i += n
	}
	if len(g.units) == 1 {
		p.unit = g.units[0]
	}
}

func (g *gathering) push(it item) { g.items = append(g.items, it) }

// last is the item before, an empty one where there is none.
func (g *gathering) last() *item {
	if n := len(g.items); n > 0 {
		return &g.items[n-1]
	}
	return &item{}
}

// figure adds a figure that may be a speed.
func (g *gathering) figure(i int) {
	t := g.ts[i]
	if g.notSpeed(g.ts, i) {
		return
	}
	f := t.num
	if f.bad || negative(g.ts, i) {
		g.ask = newAsk(AskReadingNumber, g.text[max(0, t.start-1):t.end])
		return
	}
	v := f.value
	if f.twoWay {
		v = min(f.value, f.other)
	}
	it := item{kind: figureItem, value: v, decimals: f.decimals, truth: g.truth, doubt: g.doubt, start: t.start, end: t.end}
	if f.sep == ',' && len(f.after) == 2 {
		left, right := float64(int(f.value)), parse(f.after)
		if right > 0 && left/right > minRatio && left/right < maxRatio {
			it.pairComma, it.left, it.right = true, left, right
		}
	}
	g.push(it)
	g.lastFigure, g.truth, g.doubt, g.bind = i, false, false, false
}

// word reads what a word, or several, say at a token, and gives how many tokens that was.
func (g *gathering) word(i int) int {
	ts, t := g.ts, g.ts[i]
	if u, n, ok := englishSpeedUnits.find(ts, i); ok {
		if !slices.Contains(g.units, u) {
			g.units = append(g.units, u)
		}
		g.attach(u, ts[i+n-1].end, i-g.lastFigure <= 2)
		return n
	}
	if u, n, ok := englishShortSpeedUnits.find(ts, i); ok && i-g.lastFigure == 1 && g.last().kind == figureItem {
		l := g.last()
		l.unit, l.short, l.end = u, true, ts[i+n-1].end
		return n
	}
	if c, n, ok := englishConditions.find(ts, i); ok {
		if !slices.Contains(g.conditions, c) {
			g.conditions = append(g.conditions, c)
		}
		return n
	}
	if g.letters && (t.text == "d" || t.text == "g") {
		g.noun(ts, i, 1, map[string]role{"d": onDash, "g": onGPS}[t.text], g.bind)
		return 1
	}
	if s, _, ok := englishSource.find(ts, i); ok && g.source == "" && s != "tool" {
		g.source = s
	}
	if r, n, ok := englishNouns.find(ts, i); ok {
		if r == odometer {
			return skipFigure(ts, i+n) - i
		}
		g.noun(ts, i, n, r, g.bind)
		g.bind = false
		return n
	}
	if r, n, ok := englishVerbs.find(ts, i); ok {
		if l := g.last(); l.kind == labelItem && !l.back && t.text != "it" {
			l.fwd, l.back = true, false
		} else {
			g.push(item{kind: labelItem, role: r, weak: true, fwd: true, start: t.start, end: ts[i+n-1].end})
		}
		return n
	}
	if r, n, ok := englishBack.find(ts, i); ok && g.last().kind == figureItem {
		g.push(item{kind: labelItem, role: r, back: true, start: t.start, end: ts[i+n-1].end})
		return n
	}
	if d, n, ok := englishDoubt.find(ts, i); ok {
		g.doubted(i, n, d)
		return n
	}
	g.link(i)
	return 1
}

// doubted reads a word that takes certainty from a figure: about, ish, not, between.
func (g *gathering) doubted(i, n int, what string) {
	ts, t := g.ts, g.ts[i]
	next, prev := at(ts, i+n).kind == number, at(ts, i-1).kind == number
	switch {
	case what == "range" && next && (prev || t.text == "between"):
		from := t.start
		if prev {
			from = ts[i-1].start
		}
		g.ask = newAsk(AskReadingRangeOf, g.text[from:ts[i+n].end])
	case what == "not" && next:
		g.ask = newAsk(AskReadingNot, g.text[t.start:ts[i+n].end])
	case what == "about" && next:
		g.doubt = true
	case t.text == "ish" && prev && g.last().kind == figureItem:
		g.last().doubt = true
	}
}

// link reads a word that ties or parts figures and labels. A letter stuck to a figure ("60g") says nothing certain.
func (g *gathering) link(i int) {
	ts, t := g.ts, g.ts[i]
	between := at(ts, i-1).kind == number && at(ts, i+1).kind == number
	switch {
	case englishAnd[t.text]:
		g.push(item{kind: softItem})
	case englishJoiners[t.text]:
		g.push(item{kind: joinItem, slash: t.text == "slash" || t.text == "over"})
		g.truth = t.text == "at"
	case t.text == "to" && between:
		g.ask = newAsk(AskReadingRangeOf, g.text[ts[i-1].start:ts[i+1].end])
	case englishBind[t.text] && t.text == "on" && between:
		g.push(item{kind: joinItem})
	case englishBind[t.text]:
		g.bind = g.last().kind == figureItem
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
