package journal

import (
	"encoding/json"
	"errors"
	"slices"
	"unicode/utf16"
	"unicode/utf8"

	"github.com/gowebpki/jcs"
)

// canonical gives JSON in the form of RFC 8785. Text that is plainly in that form
// already is returned as it is.
func canonical(data json.RawMessage) ([]byte, error) {
	if len(data) == 0 {
		return nil, errors.New("empty")
	}
	if n, ok := plain(data, 0); ok && n == len(data) {
		return data, nil
	}
	return jcs.Transform(data)
}

// maxPlainDepth bounds the recursion of plain; deeper text goes the long way.
const maxPlainDepth = 16

// plain reports whether b begins with a JSON value that is canonical beyond doubt
// and where it ends. It knows numbers up to 15 digits, printable ASCII
// strings without escapes and objects whose keys ascend; all else is false, which
// says nothing.
func plain(b []byte, depth int) (end int, ok bool) {
	if len(b) == 0 || depth > maxPlainDepth {
		return 0, false
	}
	switch c := b[0]; {
	case c == '"':
		return plainString(b)
	case c == '-' || '0' <= c && c <= '9':
		return plainNumber(b)
	case c == '{':
		return plainObject(b, depth)
	case c == '[':
		return plainArray(b, depth)
	}
	for _, word := range []string{"true", "false", "null"} {
		if len(b) >= len(word) && string(b[:len(word)]) == word {
			return len(word), true
		}
	}
	return 0, false
}

func plainString(b []byte) (int, bool) {
	if len(b) == 0 || b[0] != '"' {
		return 0, false
	}
	for i := 1; i < len(b); i++ {
		switch c := b[i]; {
		case c == '"':
			return i + 1, true
		case c < 0x20 || c > 0x7e || c == '\\':
			return 0, false
		}
	}
	return 0, false
}

// plainNumber knows whole numbers and decimals of at most 15 digits. No two such
// decimals are the same double, so the shortest text of the double, which RFC
// 8785 asks for, is the decimal itself, without zeros at its end; and from 1e-6
// up it is written without an exponent.
func plainNumber(b []byte) (int, bool) {
	i := 0
	if b[0] == '-' {
		i++
	}
	first := i
	for i < len(b) && '0' <= b[i] && b[i] <= '9' {
		i++
	}
	whole := i - first
	if whole == 0 || whole > 15 || b[first] == '0' && whole > 1 {
		return 0, false // none, too long, leading zero
	}
	zero := b[first] == '0'
	if i < len(b) && b[i] == '.' {
		point := i
		for i++; i < len(b) && '0' <= b[i] && b[i] <= '9'; i++ {
		}
		decimals := i - point - 1
		if decimals == 0 || whole+decimals > 15 || b[i-1] == '0' {
			return 0, false
		}
		if zero && decimals > 5 {
			return 0, false // may be below 1e-6
		}
		zero = false
	}
	if zero && first > 0 || i < len(b) && (b[i] == 'e' || b[i] == 'E') {
		return 0, false // minus zero, exponent
	}
	return i, true
}

func plainObject(b []byte, depth int) (int, bool) {
	if len(b) > 1 && b[1] == '}' {
		return 2, true
	}
	last := ""
	for i, n := 1, 0; i < len(b); n++ {
		end, ok := plainString(b[i:])
		if !ok {
			return 0, false
		}
		key := string(b[i+1 : i+end-1])
		if n > 0 && key <= last {
			return 0, false
		}
		last, i = key, i+end
		if i >= len(b) || b[i] != ':' {
			return 0, false
		}
		if end, ok = plain(b[i+1:], depth+1); !ok {
			return 0, false
		}
		if i += 1 + end; i >= len(b) {
			return 0, false
		}
		switch b[i] {
		case '}':
			return i + 1, true
		case ',':
			i++
		default:
			return 0, false
		}
	}
	return 0, false
}

func plainArray(b []byte, depth int) (int, bool) {
	if len(b) > 1 && b[1] == ']' {
		return 2, true
	}
	for i := 1; i < len(b); {
		end, ok := plain(b[i:], depth+1)
		if !ok {
			return 0, false
		}
		if i += end; i >= len(b) {
			return 0, false
		}
		switch b[i] {
		case ']':
			return i + 1, true
		case ',':
			i++
		default:
			return 0, false
		}
	}
	return 0, false
}

func appendField(b []byte, key, value string) []byte {
	return appendString(append(b, key...), value)
}

// appendString writes valid UTF-8 as RFC 8785 section 3.2.2.2 wants it: only the
// quote, the backslash and control characters are escaped.
func appendString(b []byte, s string) []byte {
	const digits = "0123456789abcdef"
	b = append(b, '"')
	for i := 0; i < len(s); i++ {
		switch c := s[i]; c {
		case '"', '\\':
			b = append(b, '\\', c)
		case '\b':
			b = append(b, '\\', 'b')
		case '\t':
			b = append(b, '\\', 't')
		case '\n':
			b = append(b, '\\', 'n')
		case '\f':
			b = append(b, '\\', 'f')
		case '\r':
			b = append(b, '\\', 'r')
		default:
			if c < 0x20 {
				b = append(b, '\\', 'u', '0', '0', digits[c>>4], digits[c&15])
			} else {
				b = append(b, c)
			}
		}
	}
	return append(b, '"')
}

// sortedLabels gives the keys in the order of RFC 8785 section 3.2.3, by UTF-16
// code unit.
func sortedLabels(items map[string]string) []string {
	labels := make([]string, 0, len(items))
	ascii := true
	for label := range items {
		labels = append(labels, label)
		for i := 0; i < len(label); i++ {
			ascii = ascii && label[i] < utf8.RuneSelf
		}
	}
	if ascii {
		slices.Sort(labels)
		return labels
	}
	slices.SortFunc(labels, func(a, b string) int {
		return slices.Compare(utf16.Encode([]rune(a)), utf16.Encode([]rune(b)))
	})
	return labels
}
