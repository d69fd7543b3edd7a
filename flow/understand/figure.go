package understand

import (
	"math"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"
)

// figure is a number as written. Where a separator could mean two things ("2.438", "48,210") value is the commoner
// reading and other the second; twoWay says so.
type figure struct {
	value    float64
	decimals int     // digits after the decimal mark
	digits   int     // digits before it, as typed
	sep      byte    // the decimal or thousands mark in doubt: '.' or ','
	after    string  // the digits behind a single mark, for "66,70" meant as two figures
	other    float64 // the second reading of a twoWay figure
	twoWay   bool
	spoken   bool // made of number words
	fraction bool // a lone fraction sign
	bad      bool // too long or with marks in odd places: never a value
}

// whole is the value where a group of three behind a mark is taken as thousands ("48.210" on an odometer).
func (f figure) whole() float64 {
	if f.twoWay {
		return math.Max(f.value, f.other)
	}
	return f.value
}

// scanFigure reads digits of any script with the separators in use: 2,438  2.438,5  2 438 (narrow or no-break space)
// 2'438  80,5  .5 is left to its context.
func scanFigure(text string, i int) token {
	var parts []string // runs of digits
	var seps []byte
	var run strings.Builder
	j := i
	for j < len(text) {
		r, n := utf8.DecodeRuneInString(text[j:])
		if d := digit(r); d >= 0 {
			run.WriteByte(byte('0' + d))
			j += n
			continue
		}
		if skipped(r) && digitAt(text[j+n:]) {
			j += n
			continue
		}
		sep := separator(r)
		if sep == 0 || !digitAt(text[j+n:]) {
			break
		}
		// A no-break space or apostrophe separates only groups of three.
		if (sep == ' ' || sep == '\'') && !groupOfThree(text[j+n:]) {
			break
		}
		parts, seps = append(parts, run.String()), append(seps, sep)
		run.Reset()
		j += n
	}
	parts = append(parts, run.String())
	f := weigh(parts, seps)
	return token{kind: number, text: strings.Join(parts, "."), num: f, start: i, end: j}
}

// weigh decides what the separators mean.
func weigh(parts []string, seps []byte) figure {
	total := 0
	for _, p := range parts {
		total += len(p)
	}
	if total > 15 {
		return figure{bad: true}
	}
	if len(seps) == 0 {
		return figure{value: parse(parts[0]), digits: len(parts[0])}
	}
	last := seps[len(seps)-1]
	if len(seps) == 1 {
		after := parts[1]
		if last == ' ' || last == '\'' {
			return figure{value: parse(parts[0] + after), digits: len(parts[0]) + 3}
		}
		dec := parse(parts[0] + "." + after)
		f := figure{value: dec, decimals: len(after), digits: len(parts[0]), sep: last, after: after}
		if len(after) == 3 && len(parts[0]) <= 3 && parts[0][0] != '0' {
			f.twoWay, f.other = true, parse(parts[0]+after)
			if last == ',' {
				f.value, f.other = f.other, dec
				f.decimals, f.digits = 0, len(parts[0])+3
			}
		}
		return f
	}
	same := true
	for _, s := range seps[:len(seps)-1] {
		same = same && s == seps[0]
	}
	if !same {
		return figure{bad: true}
	}
	groups := parts[1:]
	if last != seps[0] {
		groups = parts[1 : len(parts)-1]
	}
	for _, g := range groups {
		if len(g) != 3 {
			return figure{bad: true}
		}
	}
	if last == seps[0] {
		return figure{value: parse(strings.Join(parts, "")), digits: total}
	}
	if last == ' ' || last == '\'' {
		return figure{bad: true}
	}
	frac := parts[len(parts)-1]
	return figure{value: parse(strings.Join(parts[:len(parts)-1], "") + "." + frac), decimals: len(frac), digits: total - len(frac)}
}

func parse(s string) float64 {
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		return math.NaN()
	}
	return v
}

func separator(r rune) byte {
	switch r {
	case '.', '٫', '．', '·':
		return '.'
	case ',', '٬', '，':
		return ','
	case '\u00a0', '\u202f', '\u2009', '\u2007':
		return ' '
	case '\'', '’':
		return '\''
	}
	return 0
}

func digitAt(s string) bool {
	r, _ := utf8.DecodeRuneInString(s)
	return digit(r) >= 0
}

func groupOfThree(s string) bool {
	n := 0
	for _, r := range s {
		if digit(r) < 0 {
			break
		}
		n++
	}
	return n == 3
}

// digit is the value of a decimal digit of any script, or -1. Every decimal-digit range of Unicode starts at a zero.
func digit(r rune) int {
	if r >= '0' && r <= '9' {
		return int(r - '0')
	}
	if r < 0x80 || !unicode.Is(unicode.Nd, r) {
		return -1
	}
	for _, g := range unicode.Nd.R16 {
		if lo, hi := rune(g.Lo), rune(g.Hi); r >= lo && r <= hi {
			return int(r-lo) % 10
		}
	}
	for _, g := range unicode.Nd.R32 {
		if lo, hi := rune(g.Lo), rune(g.Hi); r >= lo && r <= hi {
			return int(r-lo) % 10
		}
	}
	return -1
}

func fraction(r rune) float64 {
	switch r {
	case '½':
		return 1. / 2
	case '¼':
		return 1. / 4
	case '¾':
		return 3. / 4
	case '⅛':
		return 1. / 8
	case '⅜':
		return 3. / 8
	case '⅝':
		return 5. / 8
	case '⅞':
		return 7. / 8
	case '⅓':
		return 1. / 3
	case '⅔':
		return 2. / 3
	}
	return 0
}

// plain prints a number for people and for the readers: a decimal point, no exponent, no trailing zeros, save one where
// three decimals could be taken for thousands.
func plain(v float64) string {
	s := strconv.FormatFloat(math.Round(v*1e6)/1e6, 'f', -1, 64)
	if i := strings.IndexByte(s, '.'); i > 0 && len(s)-i == 4 && s[0] != '0' {
		s += "0"
	}
	return s
}

// Bare reads a text that is one plain figure and nothing else.
func Bare(text string) (float64, bool) {
	ts := tokens(text)
	ms := measures(ts)
	if len(ms) != 1 || ms[0].unit != "" || ms[0].fig.bad || ms[0].sign == "-" || !wholeMessage(ts, ms[0]) {
		return 0, false
	}
	return ms[0].fig.value, true
}
