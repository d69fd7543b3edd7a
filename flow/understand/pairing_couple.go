package understand

// couple decides which of two figures is the dash.
func (p *pairing) couple(items []item) (pair, *Ask) {
	var before, between, after []item
	var figs []item
	sepBefore, sepAfter := false, false // a separator before, behind the label between the figures
	joined := false
	for _, it := range items {
		switch it.kind {
		case figureItem:
			figs = append(figs, it)
		case labelItem:
			switch len(figs) {
			case 0:
				before = append(before, it)
			case 1:
				between = append(between, it)
			default:
				after = append(after, it)
			}
		case joinItem, softItem:
			if len(figs) == 1 {
				joined = joined || it.kind == joinItem
				if len(between) == 0 {
					sepBefore = true
				} else {
					sepAfter = true
				}
			}
		}
	}
	said := p.said(figs)
	a, b := figs[0], figs[1]
	if a.pairComma && b.pairComma && len(before)+len(between)+len(after) == 0 && !joined {
		return pair{}, newAsk(AskReadingComma, said)
	}
	var ra, rb role
	give := func(to *role, f *item, l item) {
		*to = l.role
		if f.unit == "" {
			f.unit = l.unit
		}
	}
	switch len(before) {
	case 0:
	case 1:
		give(&ra, &a, before[0])
	default:
		if len(between)+len(after) == 0 && len(before) == 2 {
			give(&ra, &a, before[0])
			give(&rb, &b, before[1])
		} else {
			give(&ra, &a, before[len(before)-1])
		}
	}
	switch len(after) {
	case 0:
	case 1:
		give(&rb, &b, after[0])
	default:
		if len(before)+len(between) == 0 && len(after) == 2 {
			give(&ra, &a, after[0])
			give(&rb, &b, after[1])
		} else {
			give(&rb, &b, after[0])
		}
	}
	switch {
	case len(between) == 1 && ra != noRole && rb == noRole:
		give(&rb, &b, between[0])
	case len(between) == 1 && rb != noRole && ra == noRole:
		give(&ra, &a, between[0])
	case len(between) == 1 && ra == noRole:
		l := between[0]
		back, fwd := l.back || sepAfter && !l.fwd, l.fwd || sepBefore && !l.back
		switch {
		case back && !fwd:
			give(&ra, &a, l)
		case fwd && !back:
			give(&rb, &b, l)
		case p.ahead:
			give(&rb, &b, l)
		default:
			return pair{}, newAsk(AskReadingWhich, said, "label", roleName(l.role))
		}
	case len(between) >= 2:
		if ra == noRole {
			give(&ra, &a, between[0])
		}
		if rb == noRole {
			give(&rb, &b, between[len(between)-1])
		}
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
	p.ahead = p.ahead || len(before) == 1 && len(between) == 1 && len(after) == 0
	q := pair{dash: a, gps: b, doubt: a.doubt || b.doubt, start: p.from(items), end: p.to(items)}
	if ra == onGPS {
		q.dash, q.gps = b, a
	}
	return q, nil
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
