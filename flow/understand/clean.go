package understand

import (
	"strings"
	"unicode"
	"unicode/utf8"
)

// Clean makes a text safe to keep and to show: valid UTF-8 without control, format, bidirectional-override, private-use
// and unassigned characters; runs of spaces become one, runs of blank lines one; at most MaxRead bytes. The second
// result is true where the text was longer. Letters, symbols and emoji stay. It is idempotent.
func Clean(text string) (string, bool) {
	cut := false
	if len(text) > 4*MaxRead { // what is stripped must not hide what follows for ever, but the work stays bounded
		text, cut = text[:4*MaxRead], true
	}
	var b strings.Builder
	b.Grow(min(len(text), MaxRead))
	space, lines := false, 0
	for _, r := range text {
		switch {
		case r == '\n' || r == '\r' || r == '\v' || r == '\f' || r == '\u2028' || r == '\u2029' || r == '\u0085':
			if r == '\r' { // CR LF is one line end
				continue
			}
			lines, space = lines+1, false
			continue
		case unicode.IsSpace(r):
			space = true
			continue
		case r == utf8.RuneError || !shown(r):
			continue
		}
		gap := ""
		if b.Len() > 0 {
			switch {
			case lines > 1:
				gap = "\n\n"
			case lines == 1:
				gap = "\n"
			case space:
				gap = " "
			}
		}
		if b.Len()+len(gap)+utf8.RuneLen(r) > MaxRead {
			return b.String(), true
		}
		b.WriteString(gap)
		b.WriteRune(r)
		space, lines = false, 0
	}
	return b.String(), cut
}

// shown tells whether a rune may be kept. ZWJ and variation selectors hold emoji together and do no harm alone, but a
// zero-width character inside a word would make two different texts look the same, so they go too.
func shown(r rune) bool {
	if unicode.In(r, unicode.Cc, unicode.Cf, unicode.Co, unicode.Cs) {
		return false
	}
	if invisible(r) {
		return false
	}
	return unicode.IsGraphic(r)
}

// invisible are characters that print nothing and are no space: variation selectors, fillers, the keycap frame.
func invisible(r rune) bool {
	switch {
	case r >= 0xFE00 && r <= 0xFE0F, r >= 0xE0100 && r <= 0xE01EF, r == 0x20E3, r == 0x034F,
		r == 0x115F, r == 0x1160, r == 0x3164, r == 0xFFA0, r == 0x17B4, r == 0x17B5:
		return true
	}
	return false
}
