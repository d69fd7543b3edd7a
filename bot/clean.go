package bot

import (
	"strings"
	"unicode"
)

// Printable takes out of a text what a terminal or client would act on or show in
// another order than it stands: control characters (line ends stay, tabs become
// spaces), marks of direction, and letters that nobody sees. The joiners within
// words of some scripts stay.
func Printable(s string) string {
	s = strings.ToValidUTF8(s, "\uFFFD")
	return strings.Map(func(r rune) rune {
		switch {
		case r == '\n':
			return r
		case r == '\t':
			return ' '
		case r == '\u2028', r == '\u2029', r == '\u0085':
			return '\n'
		case r == '\u200c', r == '\u200d':
			return r
		case unicode.IsControl(r), unicode.Is(unicode.Cf, r), unicode.Is(unicode.Co, r):
			return -1
		}
		return r
	}, s)
}
