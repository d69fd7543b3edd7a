package tyre

import (
	"strconv"
	"unicode"
	"unicode/utf8"
)

// normal is a text folded to upper-case ASCII, so that one grammar serves all
// keyboards, with the place each byte came from.
type normal struct {
	s  string
	at []int // at[i] is where s[i] began in the text; at[len(s)] is the text's end
}

// Bytes that stand for characters outside the grammar.
const (
	otherLetter = '_'
	otherMark   = '\x01'
)

// fold maps the ways people type a size to ASCII: full-width and Arabic-Indic
// digits, the multiplication sign, curly quotes, dashes, no-break spaces. Runs
// of spaces become one.
func fold(text string) normal {
	n := normal{at: make([]int, 0, len(text)+1)}
	b := make([]byte, 0, len(text))
	for i, r := range text {
		c := foldRune(r)
		if c == ' ' && len(b) > 0 && b[len(b)-1] == ' ' {
			continue
		}
		b = append(b, c)
		n.at = append(n.at, i)
	}
	n.s = string(b)
	n.at = append(n.at, len(text))
	return n
}

// span gives the bytes of the text that s[start:end] came from.
func (n normal) span(start, end int) (int, int) {
	if end > start && n.s[end-1] == ' ' {
		end--
	}
	return n.at[start], n.at[end]
}

func foldRune(r rune) byte {
	if r >= '！' && r <= '～' { // full-width forms
		r -= '！' - '!'
	}
	switch {
	case r >= 'a' && r <= 'z':
		return byte(r - 'a' + 'A')
	case r == '\n' || r == '\r':
		return '\n'
	case r == '_' || r == otherMark:
		return otherMark
	case r == '\\':
		return '/'
	case r < utf8.RuneSelf && r >= ' ':
		return byte(r)
	case r >= '٠' && r <= '٩':
		return byte(r-'٠') + '0'
	case r >= '۰' && r <= '۹':
		return byte(r-'۰') + '0'
	}
	switch r {
	case '×', '✕', '✖', '╳', '⨯', 'х', 'Х':
		return 'X'
	case '⁄', '∕', '÷':
		return '/'
	case '‐', '‑', '‒', '–', '—', '−':
		return '-'
	case '’', '‘', '′':
		return '\''
	case '“', '”', '″':
		return '"'
	case '،', '٫':
		return ','
	}
	switch {
	case unicode.IsSpace(r):
		return ' '
	case unicode.In(r, unicode.Han, unicode.Hiragana, unicode.Katakana, unicode.Thai):
		return otherMark // written without spaces between words
	case unicode.IsLetter(r) || unicode.IsDigit(r):
		return otherLetter
	}
	return otherMark
}

// wordByte reports whether c belongs to a word or a number.
func wordByte(c byte) bool {
	return c >= 'A' && c <= 'Z' || c >= '0' && c <= '9' || c == otherLetter
}

func digitByte(c byte) bool { return c >= '0' && c <= '9' }

func quote(text string) string { return strconv.Quote(text) }
