package understand

// labels are two figures and the labels around them, by where they stand.
type labels struct {
	figs, before, between, after []item

	sepBefore, sepAfter bool // a separator before, behind the label between the figures
	joined              bool
}

// labelsOf sorts the items of a group of two figures.
func labelsOf(items []item) (l labels) {
	for _, it := range items {
		switch it.kind {
		case figureItem:
			l.figs = append(l.figs, it)
		case labelItem:
			switch len(l.figs) {
			case 0:
				l.before = append(l.before, it)
			case 1:
				l.between = append(l.between, it)
			default:
				l.after = append(l.after, it)
			}
		case joinItem, softItem:
			if len(l.figs) == 1 {
				l.joined = l.joined || it.kind == joinItem
				if len(l.between) == 0 {
					l.sepBefore = true
				} else {
					l.sepAfter = true
				}
			}
		}
	}
	return l
}

// couple decides which of two figures is the dash.
func (p *pairing) couple(items []item) (pair, *Ask) {
	l := labelsOf(items)
	said := p.said(l.figs)
	a, b := l.figs[0], l.figs[1]
	if a.pairComma && b.pairComma && len(l.before)+len(l.between)+len(l.after) == 0 && !l.joined {
		return pair{}, newAsk(AskReadingComma, said)
	}
	ra, rb, ask := p.roles(l, &a, &b)
	if ask != nil {
		return pair{}, ask
	}
	if ra == onTool || rb == onTool {
		p.tool = true
		return pair{}, newAsk(AskReadingTool, said)
	}
	if ra == noRole && rb == noRole {
		ra, rb = onDash, onGPS
		if a.truth && !b.truth { // "at 60 it is 58"
			return pair{}, newAsk(AskReadingWhich, said)
		}
	}
	if ra == noRole {
		ra = other(rb)
	}
	if rb == noRole {
		rb = other(ra)
	}
	if ra == rb {
		return pair{}, newAsk(AskReadingTwice, said, "label", roleName(ra))
	}
	if len(only(items, labelItem)) == 0 {
		a.unit, b.unit = speedUnitOf(a), speedUnitOf(b)
		if a.short && b.short {
			return pair{}, newAsk(AskReadingNone, said)
		}
	}
	p.ahead = p.ahead || len(l.before) == 1 && len(l.between) == 1 && len(l.after) == 0
	q := pair{dash: a, gps: b, doubt: a.doubt || b.doubt, start: p.from(items), end: p.to(items)}
	if ra == onGPS {
		q.dash, q.gps = b, a
	}
	return q, nil
}

// roles gives each figure the label that belongs to it, and a label's unit where it has none.
func (p *pairing) roles(l labels, a, b *item) (ra, rb role, ask *Ask) {
	give := func(to *role, f *item, label item) {
		*to = label.role
		if f.unit == "" {
			f.unit = label.unit
		}
	}
	switch len(l.before) {
	case 0:
	case 1:
		give(&ra, a, l.before[0])
	default:
		if len(l.between)+len(l.after) == 0 && len(l.before) == 2 {
			give(&ra, a, l.before[0])
			give(&rb, b, l.before[1])
		} else {
			give(&ra, a, l.before[len(l.before)-1])
		}
	}
	switch len(l.after) {
	case 0:
	case 1:
		give(&rb, b, l.after[0])
	default:
		if len(l.before)+len(l.between) == 0 && len(l.after) == 2 {
			give(&ra, a, l.after[0])
			give(&rb, b, l.after[1])
		} else {
			give(&rb, b, l.after[0])
		}
	}
	switch {
	case len(l.between) == 1 && ra != noRole && rb == noRole:
		give(&rb, b, l.between[0])
	case len(l.between) == 1 && rb != noRole && ra == noRole:
		give(&ra, a, l.between[0])
	case len(l.between) == 1 && ra == noRole:
		x := l.between[0]
		back, fwd := x.back || l.sepAfter && !x.fwd, x.fwd || l.sepBefore && !x.back
		switch {
		case back && !fwd:
			give(&ra, a, x)
		case fwd && !back:
			give(&rb, b, x)
		case p.ahead:
			give(&rb, b, x)
		default:
			return ra, rb, newAsk(AskReadingWhich, p.said(l.figs), "label", roleName(x.role))
		}
	case len(l.between) >= 2:
		if ra == noRole {
			give(&ra, a, l.between[0])
		}
		if rb == noRole {
			give(&rb, b, l.between[len(l.between)-1])
		}
	}
	return ra, rb, nil
}

func speedUnitOf(it item) string {
	if it.short {
		return ""
	}
	return it.unit
}

func other(r role) role {
	if r == onDash {
		return onGPS
	}
	return onDash
}

// from and to are the bytes of a group, labels and units included.
func (p *pairing) from(items []item) int {
	for _, it := range items {
		if it.kind == figureItem || it.kind == labelItem {
			return it.start
		}
	}
	return 0
}

func (p *pairing) to(items []item) int {
	for i := len(items) - 1; i >= 0; i-- {
		if it := items[i]; it.kind == figureItem || it.kind == labelItem {
			return it.end
		}
	}
	return 0
}
