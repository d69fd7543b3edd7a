package tyre

import (
	"regexp"
	"slices"
	"strconv"
	"strings"
)

// match is one form recognised at the start of a string.
type match struct {
	end  int
	size Size
	ask  *Ask
}

// reach is how far ahead a form looks: longer than any marking.
const reach = 120

// Pieces of the grammar, on folded text.
const (
	prefix = `(?:(HL|LT|ST|P)[ -]?|([TS]))?`
	// The construction with the speed letter that old marks carry before it.
	construction = `([QSTUHVWYZ]?)RF?|D|B`
	joint        = `( ?(?:[/-] ?)?(?:` + construction + `) ?-? ?| ?[-/X*] ?| BY | )`
	rim          = `(\d{3,4}|\d{1,2}(?:[.,][05])?)`
	number       = `(\d{1,2}(?:[.,]\d{1,2})?)`
)

var (
	metricRE    = regexp.MustCompile(`^` + prefix + `(\d{2,4})( ?[/X] ?| ?- ?| )(\d{2,3}(?:[.,]0)?)` + joint + rim)
	flotationRE = regexp.MustCompile(`^(?:(LT)[ -]?)?` + number + `(?:"|'')?( ?[X*/] ?| ?- ?| BY | )(\d{1,4}(?:[.,]\d{1,2})?)(?:"|'')?` + joint + rim)
	noAspectRE  = regexp.MustCompile(`^(?:(P|LT)[ -]?)?(\d{3}) ?([QSTUHV]?)R ?` + rim + ` ?(LT|C)?`)
	numericRE   = regexp.MustCompile(`^(?:(LT)[ -]?)?` + number + `( ?)(R|D|B|-|X) ?` + rim + ` ?(LT|C)?`)
	letterRE    = regexp.MustCompile(`^([A-HJ-N])R?(?:50|60|70|78)[ -](?:1[3-7])(?:LT)?`)
	allMMRE     = regexp.MustCompile(`^(\d{3,4}) ?X ?(\d{3,4}) ?[-R ] ?(\d{2}(?:[.,]5)?)`)
	noRimRE     = regexp.MustCompile(`^` + prefix + `(\d{2,3})( ?/ ?| ?- ?| )(\d{2,3}) ?R?`)
	noRimInchRE = regexp.MustCompile(`^` + number + `(?:"|'')? ?[X*] ?(\d{1,4}(?:[.,]\d{1,2})?)(?:"|'')?`)
	overallRE   = regexp.MustCompile(`^(\d{2}(?:[.,]5)?)('?S|"|''| ?-?INCH(?:ES)?| ?IN|)( ?(?:TYRE|TIRE)S?)?`)
	togetherRE  = regexp.MustCompile(`^(LT|P)? ?(\d{3})(\d{2})R?(\d{2})$`)
)

// forms in the order tried: the fuller marking before the part of one.
var forms = []func(s string, whole bool) (match, bool){
	flotation, metric, allMillimetres, noAspect, numeric, letter, noRim, noRimInch, overallOnly,
}

func matchAt(s string, whole bool) (match, bool) {
	if len(s) > reach {
		s = s[:reach]
	}
	for _, form := range forms {
		if m, ok := form(s, whole); ok {
			return m, true
		}
	}
	return match{}, false
}

// metric reads 265/70R17 and its loose spellings.
func metric(s string, whole bool) (match, bool) {
	g := metricRE.FindStringSubmatchIndex(s)
	if g == nil {
		return match{}, false
	}
	sub := groups(s, g)
	end, rimText := endOfRim(s, g[1], sub[8])
	section, aspect, rimSize := value(sub[3]), value(sub[5]), value(rimText)
	first, second := strings.TrimSpace(sub[4]), strings.TrimSpace(sub[6])
	marked := strings.ContainsAny(second, "RDB")
	clear := first == "/" && strings.Contains(second, "R") || first == "X" && section >= 100 && marked
	size := Size{Prefix: sub[1] + sub[2], SectionMM: section, Aspect: aspect, RimIn: rimSize}
	size.join(second, sub[7])
	if second == "-" && first == "/" { // 165/95-14: the hyphen marks a diagonal tyre
		size.Construction = "D"
	}
	if first == "/" && (size.Construction == "B" || size.Construction == "D" && second != "-") && possibleMetric(size) {
		clear = true // 130/90B16, T125/70D16: the letter marks a tyre as R does, where one of these numbers is made
	}
	if !endsWell(s, end, clear) {
		return match{}, false
	}
	if !clear && !looksMetric(section, aspect, rimSize, first, second, whole) {
		return match{}, false
	}
	if aspect >= 400 || rimSize > 100 {
		return millimetre(s, end, size), true
	}
	end = tail(s, end, &size, whole)
	if !possibleMetric(size) {
		return match{end: end, ask: doubtMetric(size)}, true
	}
	return match{end: end, size: size}, true
}

// doubtMetric offers 265/70R17 for 70/265R17; other numbers are just asked.
func doubtMetric(s Size) *Ask {
	s.SectionMM, s.Aspect = s.Aspect, s.SectionMM
	if possibleMetric(s) {
		return &Ask{Kind: Order, Suggest: []string{s.canonical()}}
	}
	return &Ask{Kind: Impossible}
}

// looksMetric is the test for spellings that readings, dates and pressures
// could share: numbers as tyres have them, and stricter the looser the marks.
func looksMetric(section, aspect, rimSize float64, first, second string, whole bool) bool {
	s := Size{SectionMM: section, Aspect: aspect, RimIn: rimSize}
	if !possibleMetric(s) {
		return false
	}
	if whole || first == "/" && second == "-" {
		return true
	}
	return likelySection(section) && aspect <= 95 && rimSize >= 12
}

// likelySection is a section width that no speed reading is confused with.
func likelySection(mm float64) bool { return mm >= 135 && mm <= 455 && int(mm)%5 == 0 }

// possibleMetric reports whether a tyre of these numbers is made: widths and
// aspects step by 5 (82 is the old full profile), the rim has a code.
func possibleMetric(s Size) bool {
	rimOK := s.RimMM > 0 || knownRim(s.RimIn)
	stepped := int(s.SectionMM)%5 == 0 && (int(s.Aspect)%5 == 0 || s.Aspect == 82)
	return rimOK && stepped && s.SectionMM >= 60 && s.SectionMM <= 455 && s.Aspect >= 20 && s.Aspect <= 105
}

// millimetre handles what is marked in mm where inches or percent are usual.
// 190/65R390 is defined; 235/710R460A and 240/640R18 name the diameter and are
// offered; the rest is asked.
func millimetre(s string, end int, size Size) match {
	if end < len(s) && s[end] == 'A' && endsWell(s, end+1, false) {
		end++
	}
	if size.Aspect >= 400 {
		return match{end: end, ask: &Ask{Kind: Millimetres, DiameterMM: size.Aspect, Source: "the diameter named in the marking"}}
	}
	if !slices.Contains(millimetreRims, size.RimIn) {
		return match{end: end, ask: &Ask{Kind: Millimetres}}
	}
	size.RimIn, size.RimMM = 0, size.RimIn
	if !possibleMetric(size) {
		return match{end: end, ask: &Ask{Kind: Impossible}}
	}
	end = tail(s, end, &size, false)
	return match{end: end, size: size}
}

// flotation reads 33x12.50R15LT and its loose spellings.
func flotation(s string, whole bool) (match, bool) {
	g := flotationRE.FindStringSubmatchIndex(s)
	if g == nil {
		return match{}, false
	}
	sub := groups(s, g)
	end, rimText := endOfRim(s, g[1], sub[7])
	first, second := strings.TrimSpace(sub[3]), strings.TrimSpace(sub[5])
	decimal := strings.ContainsAny(sub[4], ".,")
	overall, width, rimSize := value(sub[2]), inches(sub[4]), value(rimText)
	crossed := first == "X" || first == "*" || first == "BY"
	clear := crossed && overall >= 8 ||
		first == "/" && strings.Contains(second, "R") && overall >= 20 && overall < 60 && width >= 7 && width <= 20
	loose := decimal && (first == "-" && second == "-" || whole) && overall >= 20
	if !clear && !loose || !endsWell(s, end, strings.Contains(second, "R")) {
		return match{}, false
	}
	size := Size{Prefix: sub[1], Flotation: true, OverallIn: overall, SectionIn: width, RimIn: rimSize}
	size.join(second, sub[6])
	if second == "-" && crossed {
		size.Construction = "D"
	}
	end = tail(s, end, &size, whole)
	if a := doubtFlotation(size); a != nil {
		return match{end: end, ask: a}, true
	}
	return match{end: end, size: size}, true
}

// doubtFlotation asks where the three numbers can't stand in this order or at
// all. A few makers write the width first.
func doubtFlotation(s Size) *Ask {
	if possibleFlotation(s) {
		return nil
	}
	other := s
	other.OverallIn, other.SectionIn = s.SectionIn, s.OverallIn
	if s.OverallIn < s.SectionIn && possibleFlotation(other) {
		return &Ask{Kind: Order, Suggest: []string{other.canonical()}}
	}
	other = s
	other.OverallIn, other.RimIn = s.RimIn, s.OverallIn
	if s.OverallIn < s.RimIn && possibleFlotation(other) {
		return &Ask{Kind: Order, Suggest: []string{other.canonical()}}
	}
	if other = s; s.SectionIn > 100 && s.SectionIn < 300 { // 33x125R15
		other.SectionIn = s.SectionIn / 10
		if possibleFlotation(other) {
			return &Ask{Kind: Impossible, Suggest: []string{other.canonical()}}
		}
	}
	return &Ask{Kind: Impossible}
}

func possibleFlotation(s Size) bool {
	return knownRim(s.RimIn) && s.OverallIn >= 12 && s.OverallIn <= 60 && s.SectionIn >= 3 && s.SectionIn <= 25 &&
		s.OverallIn > s.SectionIn && s.OverallIn-s.RimIn >= 3
}

// join records the construction from the joint before the rim, with the speed
// letter that old marks carry there.
func (s *Size) join(joint, letter string) {
	switch {
	case strings.Contains(joint, "R"):
		s.Construction = "R"
		s.RunFlat = strings.Contains(joint, "F")
		if letter == "Z" {
			s.Construction = "ZR"
		} else {
			s.SpeedSymbol = letter
		}
	case strings.Contains(joint, "D"):
		s.Construction = "D"
	case strings.Contains(joint, "B") && !strings.Contains(joint, "BY"):
		s.Construction = "B"
	}
}

// endOfRim gives back a decimal that was no part of the rim: "17,5" of "17,55".
func endOfRim(s string, end int, text string) (int, string) {
	if end < len(s) && digitByte(s[end]) {
		if i := strings.IndexAny(text, ".,"); i > 0 {
			return end - (len(text) - i), text[:i]
		}
	}
	return end, text
}

// endsWell reports whether a marking may end at s[end]. Where it is clearly one,
// only a further digit forbids it; otherwise it may not run on into a fraction.
func endsWell(s string, end int, clear bool) bool {
	if end >= len(s) {
		return true
	}
	if digitByte(s[end]) {
		return false
	}
	if clear || end+1 >= len(s) {
		return true
	}
	return !(strings.IndexByte("/.,-:X", s[end]) >= 0 && digitByte(s[end+1]))
}

// groups are the submatches as strings.
func groups(s string, g []int) []string {
	out := make([]string, len(g)/2)
	for i := range out {
		if g[2*i] >= 0 {
			out[i] = s[g[2*i]:g[2*i+1]]
		}
	}
	return out
}

// value reads digits with a point or comma; the forms let nothing else through.
func value(text string) float64 {
	v, err := strconv.ParseFloat(strings.Replace(text, ",", ".", 1), 64)
	if err != nil {
		return 0
	}
	return v
}

// inches reads a flotation width; 1250 without its point is 12.50.
func inches(text string) float64 {
	v := value(text)
	if v >= 700 && v <= 2500 && !strings.ContainsAny(text, ".,") {
		v /= 100
	}
	return v
}
