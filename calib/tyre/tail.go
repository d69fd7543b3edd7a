package tyre

import (
	"regexp"
	"strconv"
	"strings"
)

// The marks that may follow the rim, each tried at the place reached, until
// none fits. What fits none is left for whoever reads on.
var (
	loadRangeRE = regexp.MustCompile(`^[ ,]*(?:L/?R|LOAD(?: ?RANGE)?:?)[ -]?([B-HJ-N]|XL|SL|LL)`)
	extraRE     = regexp.MustCompile(`^[ ,]*(XL|EXTRA ?LOAD|REINFORCED|SL|LL)`)
	plyRE       = regexp.MustCompile(`^[ ,]*([1-9]\d?) ?-?(?:PR|PLY)`)
	runFlatRE   = regexp.MustCompile(`^[ ,]*(?:RFT|RUN[ -]?FLATS?)`)
	skipRE      = regexp.MustCompile(`^[ ,]*(?:M ?[+&] ?S|3PMSF|M/C|TL|TT)`)
	serviceRE   = regexp.MustCompile(`^[ ,;]*((?:LOAD ?INDEX|LI):? ?)?(\(?)(\d{2,3})(?: ?/ ?(\d{2,3}))?` +
		`(?:( ?)(?:SPEED (?:SYMBOL |RATING |INDEX )?)?(A[1-8]|[A-Z])|(\([WY]\)))?`)
	suffixRE    = regexp.MustCompile(`^( ?)(LT|C)`)
	rangeMarkRE = regexp.MustCompile(`^( ?)(/?)([B-HJ-N])`)
	// The load range behind a suffix: 35x12.50R20LT/E.
	rangeFollowsRE = regexp.MustCompile(`^/[B-HJ-N]\b`)
	alternateRE    = regexp.MustCompile(`^ ?(?:= ?)?\( ?`)
)

// tail reads the marks after the rim into size and returns where they end.
func tail(s string, end int, size *Size, whole bool) int {
	end = suffix(s, end, size)
	for {
		next := end
		for _, mark := range []func(string, int, *Size, bool) int{alternate, rangeMark, words, service} {
			if next = mark(s, end, size, whole); next > end {
				break
			}
		}
		if next == end {
			return plural(s, end)
		}
		end = next
	}
}

// suffix reads C (commercial) and LT right after the rim.
func suffix(s string, end int, size *Size) int {
	g := suffixRE.FindStringSubmatch(s[end:])
	if g == nil {
		return end
	}
	stop := end + len(g[0])
	if !closes(s, stop, g[1] == "") && !rangeFollowsRE.MatchString(s[stop:]) {
		return end
	}
	switch {
	case g[2] == "LT":
		size.Prefix = "LT"
	case size.Prefix == "LT" || size.Flotation: // LT245/75R16C is load range C
		size.LoadRange = "C"
	case size.Prefix == "":
		size.Commercial = true
	default:
		return end
	}
	return stop
}

// rangeMark reads the load range as a lone letter: /E, E, and E apart where the
// tyre is a light-truck one.
func rangeMark(s string, end int, size *Size, whole bool) int {
	g := rangeMarkRE.FindStringSubmatch(s[end:])
	if g == nil || size.LoadRange != "" || !closes(s, end+len(g[0]), false) {
		return end
	}
	if g[1] != "" && g[2] == "" && !whole && !(size.LightTruck() && strings.Contains("DEFG", g[3])) {
		return end
	}
	size.LoadRange = g[3]
	return end + len(g[0])
}

// words reads what is said in words or abbreviations.
func words(s string, end int, size *Size, _ bool) int {
	rest := s[end:]
	if g := loadRangeRE.FindStringSubmatch(rest); g != nil && closes(s, end+len(g[0]), false) {
		size.LoadRange = g[1]
		return end + len(g[0])
	}
	if g := extraRE.FindStringSubmatch(rest); g != nil && closes(s, end+len(g[0]), false) {
		size.LoadRange = g[1]
		if len(g[1]) > 2 {
			size.LoadRange = "XL"
		}
		return end + len(g[0])
	}
	if g := plyRE.FindStringSubmatch(rest); g != nil && closes(s, end+len(g[0]), false) {
		if size.LoadRange == "" {
			size.LoadRange = g[1] + "PR"
		}
		return end + len(g[0])
	}
	if m := runFlatRE.FindString(rest); m != "" && closes(s, end+len(m), false) {
		size.RunFlat = true
		return end + len(m)
	}
	if m := skipRE.FindString(rest); m != "" && closes(s, end+len(m), false) {
		return end + len(m)
	}
	return end
}

// service reads the load index and speed symbol: 121/118S, 152/148 M, (95Y).
// Without its letter a pair counts on a light-truck tyre only, and a single
// number only at the end of a text that is nothing but a size: tread, pressure
// and readings look the same.
func service(s string, end int, size *Size, whole bool) int {
	g := serviceRE.FindStringSubmatch(s[end:])
	if g == nil || size.LoadIndex != "" {
		return end
	}
	named, bracket, single, dual, gap, symbol := g[1] != "", g[2] != "", g[3], g[4], g[5], g[6]+g[7]
	stop := end + len(g[0])
	if bracket {
		if stop >= len(s) || s[stop] != ')' || symbol == "" {
			return end
		}
		stop++
	}
	if !closes(s, stop, false) || !likelyIndices(single, dual, size) {
		return end
	}
	switch {
	case symbol == "" && named: // said in words
	case symbol == "" && dual != "":
		if !size.LightTruck() || len(single) < 3 {
			return end
		}
	case symbol == "":
		if !whole || strings.Trim(s[stop:], " ") != "" {
			return end
		}
	case len(symbol) < 3:
		if _, ok := SpeedKmh(symbol); !ok || gap != "" && symbol < "J" {
			return end
		}
		if bracket && (symbol == "Y" || symbol == "W" && size.Construction == "ZR") {
			symbol = "(" + symbol + ")"
		}
	}
	size.LoadIndex = single
	if dual != "" {
		size.LoadIndex += "/" + dual
	}
	if symbol != "" {
		size.SpeedSymbol = symbol
	}
	return stop
}

// likelyIndices keeps readings and tread depths out: a road tyre's index is
// above 60 (a motorcycle's above 30), and dual is a little under single.
func likelyIndices(single, dual string, size *Size) bool {
	floor := 60
	if !size.Flotation && size.SectionMM < 200 {
		floor = 30
	}
	a, err := strconv.Atoi(single)
	if _, ok := LoadKg(a); err != nil || !ok || a < floor {
		return false
	}
	if dual == "" {
		return true
	}
	b, err := strconv.Atoi(dual)
	return err == nil && b <= a && a-b <= 12 && b >= floor
}

// alternate reads the second name some tyres carry: LT285/75R16 (33X11.50R16).
func alternate(s string, end int, size *Size, _ bool) int {
	lead := len(alternateRE.FindString(s[end:]))
	if lead == 0 || size.Flotation || size.Alternate != "" {
		return end
	}
	m, ok := flotation(s[end+lead:], false)
	if !ok || m.ask != nil || m.size.RimIn != size.RimIn || m.size.Alternate != "" {
		return end
	}
	stop := end + lead + m.end
	if stop >= len(s) || s[stop] != ')' {
		return end
	}
	size.Alternate = m.size.canonical()
	return stop + 1
}

// closes reports whether a mark may end at s[end]: no letter or digit follows,
// nor a hyphen that makes it part of a word. After a suffix right at the rim a
// digit may follow (225/75R16C121/120R).
func closes(s string, end int, digitMayFollow bool) bool {
	if end >= len(s) {
		return true
	}
	if digitMayFollow && digitByte(s[end]) {
		return true
	}
	if wordByte(s[end]) || s[end] == '+' {
		return false
	}
	return !(end+1 < len(s) && strings.IndexByte("-/.,'", s[end]) >= 0 && wordByte(s[end+1]))
}
