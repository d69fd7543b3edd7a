package understand

import (
	"strings"
	"unicode"
	"unicode/utf8"
)

type kind uint8

const (
	word   kind = iota + 1 // folded letters
	number                 // figures or number words
	symbol                 // one mark, folded to ASCII where it has a twin
	line                   // end of a line
)

// token is a piece of text with the bytes it came from. Words are lower case without apostrophes.
type token struct {
	kind       kind
	text       string
	num        figure
	start, end int
	spaceAfter bool // white space before the next token
	glued      bool // a figure right behind a letter ("P0300", "R17") or a word right behind a figure ("60mph")
}

// tokens cuts a text. It never fails: what it does not know is a symbol.
func tokens(text string) []token {
	return joinNumbers(scan(text))
}

// scan cuts without joining number words.
func scan(text string) []token {
	if len(text) > MaxRead {
		text = text[:MaxRead] // half a character at the cut is skipped like any invalid byte
	}
	out := make([]token, 0, min(len(text)/3+4, 512))
	mark := func(space bool) {
		if n := len(out); n > 0 && space {
			out[n-1].spaceAfter = true
		}
	}
	for i := 0; i < len(text); {
		r, n := utf8.DecodeRuneInString(text[i:])
		switch {
		case r == '\n' || r == '\u2028' || r == '\u2029' || r == '\u0085' || r == '\v' || r == '\f':
			mark(true)
			out = append(out, token{kind: line, text: "\n", start: i, end: i + n})
			i += n
		case unicode.IsSpace(r):
			mark(true)
			i += n
		case r == '<':
			if e := tagEnd(text, i); e > i {
				mark(true)
				i = e
				continue
			}
			out = append(out, token{kind: symbol, text: "<", start: i, end: i + n})
			i += n
		case skipped(r):
			i += n
		case digit(r) >= 0:
			t := scanFigure(text, i)
			if k := len(out); k > 0 && out[k-1].kind == word && out[k-1].end == i {
				t.glued = true
			}
			out = append(out, t)
			i = t.end
		case fraction(r) > 0:
			out = append(out, token{kind: number, text: string(r), num: figure{value: fraction(r), decimals: 2, fraction: true}, start: i, end: i + n})
			i += n
		case unicode.IsLetter(r):
			t := scanWord(text, i)
			if k := len(out); k > 0 && out[k-1].kind == number && out[k-1].end == i {
				t.glued = true
			}
			out = append(out, t)
			i = t.end
		default:
			out = append(out, token{kind: symbol, text: foldMark(r), start: i, end: i + n})
			i += n
		}
	}
	return out
}

// tagEnd finds the end of something that looks like a markup tag at i; markup is never read as words or figures.
func tagEnd(text string, i int) int {
	if i+1 >= len(text) {
		return i
	}
	if c := text[i+1]; c != '/' && c != '!' && !(c >= 'a' && c <= 'z') && !(c >= 'A' && c <= 'Z') {
		return i
	}
	end := min(len(text), i+400)
	if j := strings.IndexByte(text[i:end], '>'); j > 0 {
		return i + j + 1
	}
	return i
}

func scanWord(text string, i int) token {
	if j := plainWord(text, i); j > i {
		return token{kind: word, text: text[i:j], start: i, end: j}
	}
	var b strings.Builder
	j := i
	for j < len(text) {
		r, n := utf8.DecodeRuneInString(text[j:])
		switch {
		case unicode.IsLetter(r):
			b.WriteRune(unicode.ToLower(foldWide(r)))
		case skipped(r) || unicode.Is(unicode.Mn, r):
		case apostrophe(r) && nextLetter(text[j+n:]):
		default:
			return token{kind: word, text: b.String(), start: i, end: j}
		}
		j += n
	}
	return token{kind: word, text: b.String(), start: i, end: j}
}

// plainWord finds the end of a word of small ASCII letters that ends in a space, a
// figure or a plain mark, as most do; i where there may be more to it.
func plainWord(text string, i int) int {
	j := i
	for j < len(text) && text[j] >= 'a' && text[j] <= 'z' {
		j++
	}
	if j < len(text) && strings.IndexByte(" ,.;:/-0123456789\n", text[j]) < 0 {
		return i
	}
	return j
}

func nextLetter(s string) bool {
	r, _ := utf8.DecodeRuneInString(s)
	return unicode.IsLetter(r)
}

func apostrophe(r rune) bool {
	return r == '\'' || r == '’' || r == '‘' || r == '`' || r == 'ʼ' || r == '´'
}

// skipped runes are read over as if they were not there: controls, format characters, bidi overrides, selectors.
func skipped(r rune) bool {
	if r >= ' ' && r < 0x7f {
		return false
	}
	if unicode.IsSpace(r) {
		return false
	}
	return r == utf8.RuneError || unicode.In(r, unicode.Cc, unicode.Cf, unicode.Co, unicode.Cs) || invisible(r) || unicode.Is(unicode.Mn, r)
}

// foldWide turns full-width ASCII twins into ASCII.
func foldWide(r rune) rune {
	if r >= 0xFF01 && r <= 0xFF5E {
		return r - 0xFEE0
	}
	return r
}

// foldMark turns the many dashes, slashes, signs and quotes people's keyboards make into one each.
func foldMark(r rune) string {
	switch r {
	case '‐', '‑', '‒', '–', '—', '―', '−', '﹣', '➖':
		return "-"
	case '∕', '⁄', '╱', '÷':
		return "/"
	case '×', '✕', '✖', '⨯':
		return "x"
	case '″', '”', '“', '„', '＂':
		return "\""
	case '、', '،', '‚':
		return ","
	case '。':
		return "."
	case '؛':
		return ";"
	case '→', '➜', '➔', '⇒':
		return ">"
	case '٪':
		return "%"
	case '│', '┃', '¦':
		return "|"
	case '➕':
		return "+"
	case '✅', '✔', '☑', '👍':
		return "✓"
	case '❌', '✗', '✘', '👎':
		return "✗"
	}
	return string(foldWide(r))
}
