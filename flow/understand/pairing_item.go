package understand

import "slices"

type itemKind uint8

const (
	figureItem itemKind = iota + 1
	labelItem
	joinItem // "/", "at", "vs": ties two figures
	softItem // comma, "and", full stop
	hardItem // end of line, semicolon
)

type item struct {
	kind       itemKind
	role       role
	weak       bool // a verb: gives way to nouns
	fwd, back  bool // the label belongs to the figure behind, before it
	value      float64
	decimals   int
	unit       string
	short      bool // the unit is "km" or "miles", a speed only beside a label
	pairComma  bool // "66,70": may be two figures
	left       float64
	right      float64
	truth      bool // "at 70": the true speed unless a label says otherwise
	doubt      bool
	slash      bool
	start, end int
}

func only(items []item, k itemKind) []item {
	var out []item
	for _, it := range items {
		if it.kind == k {
			out = append(out, it)
		}
	}
	return out
}

func hasRole(items []item, r role) bool {
	return slices.ContainsFunc(items, func(it item) bool { return it.kind == labelItem && it.role == r })
}

func split(items []item, k itemKind) [][]item {
	var out [][]item
	var cur []item
	for _, it := range items {
		if it.kind == k {
			if len(cur) > 0 {
				out = append(out, cur)
			}
			cur = nil
			continue
		}
		cur = append(cur, it)
	}
	if len(cur) > 0 {
		out = append(out, cur)
	}
	return out
}

func trimJoins(items []item) []item {
	for len(items) > 0 && items[0].kind == joinItem {
		items = items[1:]
	}
	return items
}

// dropWeak removes verbs where nouns name the same role.
func dropWeak(items []item) []item {
	var nouns [odometer + 1]int
	for _, it := range items {
		if it.kind == labelItem && !it.weak {
			nouns[it.role]++
		}
	}
	out := items[:0:0]
	for _, it := range items {
		if it.kind == labelItem && it.weak && (nouns[it.role] > 0 || nouns[onDash] > 0 && nouns[onGPS] > 0) {
			continue
		}
		out = append(out, it)
	}
	return out
}
