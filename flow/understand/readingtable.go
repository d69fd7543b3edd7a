package understand

// columns reads "dash 66 57 47, gps 70 60 50", labels before or behind their figures.
func (p *pairing) columns(items []item) ([]pair, bool) {
	if len(only(items, joinItem)) > 0 {
		return nil, false
	}
	var runs [][]item
	var roles []role
	labelFirst, seen := false, false
	for _, it := range items {
		switch it.kind {
		case labelItem:
			if it.weak && len(roles) > 0 && roles[len(roles)-1] == it.role {
				continue
			}
			if !seen {
				labelFirst, seen = true, true
			}
			roles = append(roles, it.role)
			if labelFirst {
				runs = append(runs, nil)
			}
		case figureItem:
			seen = true
			if labelFirst {
				runs[len(runs)-1] = append(runs[len(runs)-1], it)
			} else {
				for len(runs) <= len(roles) {
					runs = append(runs, nil)
				}
				runs[len(roles)] = append(runs[len(roles)], it)
			}
		}
	}
	if len(roles) != 2 || len(runs) != 2 || len(runs[0]) < 2 || len(runs[0]) != len(runs[1]) {
		return nil, false
	}
	if roles[0] == roles[1] || roles[0] > onGPS || roles[1] > onGPS {
		return nil, false
	}
	var out []pair
	for i := range runs[0] {
		a, b := runs[0][i], runs[1][i]
		q := pair{dash: a, gps: b, doubt: a.doubt || b.doubt, start: a.start, end: a.end}
		if i == len(runs[0])-1 { // the whole text is used; one span can't hold both columns, the last takes the second
			q.end = b.end
		}
		if roles[0] == onGPS {
			q.dash, q.gps = b, a
		}
		out = append(out, q)
	}
	return out, true
}

// table reads figures under (or over) a heading that names both columns once.
func (p *pairing) table() ([]pair, *Ask, bool) {
	var head, tail []item
	first, last := -1, -1
	for i, it := range p.items {
		if it.kind == figureItem {
			if first < 0 {
				first = i
			}
			last = i
		}
	}
	for i, it := range p.items {
		if it.kind == labelItem && !it.weak {
			switch {
			case i < first:
				head = append(head, it)
			case i > last:
				tail = append(tail, it)
			default:
				return nil, nil, false
			}
		}
	}
	order := head
	if len(head) == 0 {
		order = tail
	} else if len(tail) > 0 {
		return nil, nil, false
	}
	if len(order) != 2 || order[0].role == order[1].role || order[0].role > onGPS || order[1].role > onGPS {
		return nil, nil, false
	}
	figs := columnsOf(p.items[first : last+1])
	if len(figs)%2 == 1 {
		return nil, newAsk(AskReadingOdd, p.said(figs)), true
	}
	var out []pair
	for i := 0; i+1 < len(figs); i += 2 {
		a, b := figs[i], figs[i+1]
		if a.unit == "" {
			a.unit = order[0].unit
		}
		if b.unit == "" {
			b.unit = order[1].unit
		}
		q := pair{dash: a, gps: b, doubt: a.doubt || b.doubt, start: a.start, end: b.end}
		if order[0].role == onGPS {
			q.dash, q.gps = b, a
		}
		out = append(out, q)
	}
	if len(out) > 0 {
		out[0].start = min(out[0].start, order[0].start)
		out[len(out)-1].end = max(out[len(out)-1].end, order[1].end)
	}
	return out, nil, true
}

// columnsOf lists the figures of a table's body, row by row. A row number in front is left out; "70,66" in a row of its
// own is two figures.
func columnsOf(body []item) []item {
	rows := split(body, hardItem)
	var out []item
	numbered, single := true, true
	for i, r := range rows {
		f := only(r, figureItem)
		numbered = numbered && len(f) == 3 && f[0].value == float64(i+1) && f[0].decimals == 0
		single = single && len(f) == 1 && f[0].pairComma
	}
	for _, r := range rows {
		f := only(r, figureItem)
		switch {
		case numbered:
			f = f[1:]
		case single:
			a, b := f[0], f[0]
			a.value, a.decimals, b.value, b.decimals = f[0].left, 0, f[0].right, 0
			f = []item{a, b}
		}
		out = append(out, f...)
	}
	return out
}
