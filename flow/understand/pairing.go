package understand

import "slices"

// A text of readings is first turned into items (figures, labels, joiners, separators), then cut into groups that make
// pairs: line by line where that works, else as one text; inside a line group by group; columns and headed tables whole.

type pair struct {
	dash, gps  item
	doubt      bool
	start, end int
}

type pairing struct {
	text       string
	ctx        Context
	items      []item
	unit       string // the one unit named in the text
	source     string
	conditions []string
	tool       bool
	letters    bool // d and g stand for dash and GPS
	ahead      bool // a pair with a label before each figure has been read: so are the others labelled
	ask        *Ask
}

func (p *pairing) count() int {
	n := 0
	for _, it := range p.items {
		if it.kind == figureItem {
			n++
		}
	}
	return n
}

func (p *pairing) pairs() ([]pair, *Ask) {
	if q, ok := p.columns(p.items); ok {
		return q, nil
	}
	if q, ask, ok := p.table(); ok {
		return q, ask
	}
	clauses := split(p.items, hardItem)
	var out []pair
	var doubt *Ask
	for _, c := range clauses {
		q, ask := p.clause(c)
		out, doubt = append(out, q...), first(doubt, ask)
	}
	if doubt == nil || len(clauses) < 2 {
		return out, doubt
	}
	all := slices.Clone(p.items)
	for i := range all {
		if all[i].kind == hardItem {
			all[i].kind = softItem
		}
	}
	if q, ask := p.clause(all); ask == nil {
		return q, nil
	}
	return out, doubt
}

// clause reads one line: groups between separators, grown until each makes whole pairs.
func (p *pairing) clause(items []item) ([]pair, *Ask) {
	figures := only(items, figureItem)
	if len(figures) == 0 {
		return nil, nil
	}
	if q, ok := p.columns(items); ok {
		return q, nil
	}
	if len(figures) == 1 && figures[0].pairComma && len(only(items, labelItem)) == 0 {
		f := figures[0]
		a, b := f, f
		a.value, a.decimals, b.value, b.decimals = f.left, 0, f.right, 0
		return []pair{{dash: a, gps: b, doubt: f.doubt, start: f.start, end: f.end}}, nil
	}
	labelled := len(only(items, labelItem)) > 0
	var out []pair
	var cur []item
	var ask *Ask
	for _, seg := range split(items, softItem) {
		if len(cur) > 0 {
			cur = append(cur, item{kind: softItem})
		}
		cur = append(cur, seg...)
		bare := labelled && len(only(cur, labelItem)) == 0 && len(only(cur, joinItem)) == 0
		q, a := p.group(cur)
		if a == nil && len(q) > 0 && !bare {
			out, cur, ask = append(out, q...), nil, nil
			continue
		}
		ask = a
	}
	rest := only(cur, figureItem)
	switch {
	case len(rest) == 0:
		return out, nil
	case ask != nil:
		q, left := p.certain(cur)
		if len(q) == 0 {
			left = ask
		}
		return append(out, q...), left
	case len(rest) == 1:
		return out, newAsk(AskReadingSingle, p.said(rest), "value", plain(rest[0].value))
	}
	if q, a := p.group(cur); a == nil && len(q) > 0 && len(out) == 0 {
		return q, nil
	}
	return out, newAsk(AskReadingWhich, p.said(rest))
}

// certain takes out of a group that makes no whole pairs those that are beyond doubt: two figures tied by a slash. What
// stands between them is read as groups of its own. The ask is about what is left, nil where nothing is.
func (p *pairing) certain(items []item) ([]pair, *Ask) {
	var out []pair
	var ask *Ask
	rest := func(part []item) {
		if len(only(part, figureItem)) == 0 {
			return
		}
		q, a := p.group(trimJoins(part))
		out, ask = append(out, q...), first(ask, a)
	}
	from := 0
	for i := 0; i+2 < len(items); i++ {
		tied := items[i].kind == figureItem && items[i+1].kind == joinItem && items[i+1].slash && items[i+2].kind == figureItem
		if !tied || i > from && items[i-1].kind == joinItem || i+3 < len(items) && items[i+3].kind == joinItem {
			continue
		}
		rest(items[from:i])
		q, a := p.couple(items[i : i+3])
		if a == nil {
			out = append(out, q)
		}
		ask = first(ask, a)
		i, from = i+2, i+3
	}
	if from == 0 {
		_, a := p.group(items)
		return nil, a
	}
	rest(items[from:])
	return out, ask
}

// first is the first of two asks that there is.
func first(a, b *Ask) *Ask {
	if a != nil {
		return a
	}
	return b
}

func (p *pairing) said(figs []item) string {
	return p.text[figs[0].start:figs[len(figs)-1].end]
}

// group makes pairs of one group, or says why it can't (yet).
func (p *pairing) group(items []item) ([]pair, *Ask) {
	items = dropWeak(items)
	figs := only(items, figureItem)
	n := len(figs)
	if n == 0 {
		return nil, nil
	}
	if n == 1 {
		return nil, newAsk(AskReadingSingle, p.said(figs), "value", plain(figs[0].value))
	}
	if n%2 == 1 {
		commas := len(only(items, labelItem)) == 0
		for _, f := range figs {
			commas = commas && f.pairComma
		}
		if commas {
			return nil, newAsk(AskReadingComma, p.said(figs))
		}
		if hasRole(items, onTool) {
			return p.withoutTool(items)
		}
		return nil, newAsk(AskReadingOdd, p.said(figs))
	}
	if n == 2 {
		q, ask := p.couple(items)
		if ask != nil {
			return nil, ask
		}
		return []pair{q}, nil
	}
	return p.series(items)
}

// series pairs four and more figures that no separator divides.
func (p *pairing) series(items []item) ([]pair, *Ask) {
	labelFirst := false
	for _, it := range items {
		if it.kind == labelItem || it.kind == figureItem {
			labelFirst = it.kind == labelItem
			break
		}
	}
	figs := only(items, figureItem)
	bare := len(only(items, labelItem)) == 0
	var out []pair
	var cur []item
	seen := 0
	flush := func() *Ask {
		if seen != 2 { // a label behind the last pair
			return newAsk(AskReadingWhich, p.said(figs))
		}
		q, ask := p.couple(trimJoins(cur))
		if ask == nil {
			out = append(out, q)
		}
		cur, seen = nil, 0
		return ask
	}
	for _, it := range items {
		cut := seen == 2 && (it.kind == figureItem || it.kind == labelItem && labelFirst)
		if seen == 2 && it.kind == joinItem && it.slash {
			return nil, newAsk(AskReadingWhich, p.said(figs))
		}
		if cut {
			if ask := flush(); ask != nil {
				return nil, ask
			}
		}
		if it.kind == figureItem {
			seen++
		}
		cur = append(cur, it)
	}
	if ask := flush(); ask != nil {
		return nil, ask
	}
	if bare && len(only(items, joinItem)) == 0 { // a plain row of figures must make close pairs to be taken so
		for _, q := range out {
			if r := q.dash.value / q.gps.value; r < 0.85 || r > 1.18 {
				return nil, newAsk(AskReadingWhich, p.said(figs))
			}
		}
		for _, f := range figs {
			if f.pairComma {
				return nil, newAsk(AskReadingComma, p.said(figs))
			}
		}
	}
	return out, nil
}

// withoutTool takes the dash and GPS of three figures of which one is from the tool; that one is asked about.
func (p *pairing) withoutTool(items []item) ([]pair, *Ask) {
	p.tool = true
	return nil, newAsk(AskReadingTool, p.said(only(items, figureItem)))
}
