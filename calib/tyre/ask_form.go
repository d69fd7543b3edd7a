package tyre

import "strings"

// The forms below are recognised to be asked about: they have no formula, or
// something is missing.

// allMillimetres reads 1300x700-24: mm without an aspect.
func allMillimetres(s string, _ bool) (match, bool) {
	g := allMMRE.FindStringSubmatchIndex(s)
	if g == nil {
		return match{}, false
	}
	sub := groups(s, g)
	if value(sub[1]) < 400 || !knownRim(value(sub[3])) || !endsWell(s, g[1], true) {
		return match{}, false
	}
	return match{end: g[1], ask: &Ask{Kind: Millimetres}}, true
}

// noAspect reads 195R14C and 155SR13.
func noAspect(s string, whole bool) (match, bool) {
	g := noAspectRE.FindStringSubmatchIndex(s)
	if g == nil {
		return match{}, false
	}
	sub := groups(s, g)
	section, rimSize := value(sub[2]), value(sub[4])
	if section < 105 || section > 405 || int(section)%5 != 0 || !knownRim(rimSize) || !endsWell(s, g[1], true) {
		return match{}, false
	}
	a := &Ask{Kind: NoAspect}
	a.DiameterMM, a.Source = tableDiameter(sub[2] + "R" + figure(rimSize))
	size := Size{SectionMM: section, RimIn: rimSize, Commercial: sub[5] == "C", Prefix: sub[1]}
	return match{end: tail(s, g[1], &size, whole), ask: a}, true
}

// numeric reads 7.50R16, 11R22.5 and 6.00-13LT.
func numeric(s string, whole bool) (match, bool) {
	g := numericRE.FindStringSubmatchIndex(s)
	if g == nil {
		return match{}, false
	}
	sub := groups(s, g)
	width, rimSize := value(sub[2]), value(sub[5])
	decimal := strings.ContainsAny(sub[2], ".,")
	half := strings.ContainsAny(sub[5], ".,") && truckOrHalf(rimSize)
	if width < 2.5 || width > 18 || !knownRim(rimSize) || rimSize <= width || !endsWell(s, g[1], false) {
		return match{}, false
	}
	switch sub[4] {
	case "R":
		if sub[3] != "" && !decimal && !half && !whole {
			return match{}, false
		}
	case "-":
		if !decimal && !half && sub[6] == "" {
			return match{}, false
		}
	default: // D, B and x between two numbers are used for other things as well
		if !decimal || sub[3] != "" && !whole {
			return match{}, false
		}
	}
	a := &Ask{Kind: NeedsTable}
	if sub[4] == "R" {
		name := figure(width)
		if decimal {
			name = hundredths(width)
		}
		a.DiameterMM, a.Source = tableDiameter(name + "R" + figure(rimSize))
	}
	size := Size{RimIn: rimSize, Prefix: "LT"}
	return match{end: tail(s, g[1], &size, false), ask: a}, true
}

func truckOrHalf(code float64) bool { return code != float64(int(code)) }

// letter reads E78-14: the letter stands for load capacity, not width.
func letter(s string, _ bool) (match, bool) {
	end := len(letterRE.FindString(s))
	if end == 0 || end < len(s) && wordByte(s[end]) {
		return match{}, false
	}
	return match{end: end, ask: &Ask{Kind: NeedsTable}}, true
}

// noRim reads 265/70. Free text has readings too (60/58, even 110/70 with
// km/h on one side), so only widths beyond any speed count there.
func noRim(s string, whole bool) (match, bool) {
	g := noRimRE.FindStringSubmatchIndex(s)
	if g == nil {
		return match{}, false
	}
	sub := groups(s, g)
	section, aspect := value(sub[3]), value(sub[5])
	if int(section)%5 != 0 || int(aspect)%5 != 0 || aspect < 20 || aspect > 105 || section < 60 || section > 455 {
		return match{}, false
	}
	if !whole && (!likelySection(section) || aspect > 95 || strings.TrimSpace(sub[4]) != "/") {
		return match{}, false
	}
	end := g[1]
	for end > 0 && s[end-1] == ' ' {
		end--
	}
	end = plural(s, end)
	if end < len(s) && wordByte(s[end]) || !endsWell(s, end, false) {
		return match{}, false
	}
	if whole && strings.TrimSpace(s[end:]) != "" && strings.TrimSpace(sub[4]) != "/" {
		return match{}, false
	}
	return match{end: end, ask: &Ask{Kind: NoRim}}, true
}

// noRimInch reads 33x12.50.
func noRimInch(s string, _ bool) (match, bool) {
	g := noRimInchRE.FindStringSubmatchIndex(s)
	if g == nil {
		return match{}, false
	}
	sub := groups(s, g)
	overall, width := value(sub[1]), inches(sub[2])
	end := plural(s, g[1])
	if overall < 24 || overall > 54 || width < 7 || width > 20 || !endsWell(s, end, false) || end < len(s) && wordByte(s[end]) {
		return match{}, false
	}
	return match{end: end, ask: &Ask{Kind: NoRim}}, true
}

// overallOnly reads 33s and 35" tyres. In free text 30s may be seconds and 31
// in a stored diameter, so there a mark or the word is wanted.
func overallOnly(s string, whole bool) (match, bool) {
	g := overallRE.FindStringSubmatchIndex(s)
	if g == nil {
		return match{}, false
	}
	sub := groups(s, g)
	inch, unitMark := value(sub[1]), strings.TrimLeft(sub[2], " -")
	end := g[1]
	if inch < 24 || inch > 54 || end < len(s) && wordByte(s[end]) || !endsWell(s, end, false) {
		return match{}, false
	}
	if whole {
		if unitMark == "" && sub[3] == "" && strings.TrimSpace(s) != sub[1] {
			return match{}, false
		}
	} else if sub[3] == "" {
		short := unitMark == "S" || unitMark == "'S" || unitMark == `"` || unitMark == "''"
		if !short || int(inch)%10 == 0 || inch != float64(int(inch)) {
			return match{}, false
		}
	}
	return match{end: end, ask: &Ask{Kind: OverallOnly}}, true
}

// plural steps over the s of "two 265/70s".
func plural(s string, end int) int {
	rest := s[end:]
	for _, mark := range []string{"'S", "S"} {
		if strings.HasPrefix(rest, mark) && (len(rest) == len(mark) || !wordByte(rest[len(mark)])) {
			return end + len(mark)
		}
	}
	return end
}
