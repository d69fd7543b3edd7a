package tyre

import (
	"errors"
	"strings"
	"unicode/utf8"
)

// MaxText is how many bytes of a text are looked at.
const MaxText = 4096

// Found is a size, or part of one, in a longer text.
type Found struct {
	Start, End int   // bytes of the text: text[Start:End]
	Size       Size  // valid where Err is nil
	Err        error // an *Ask
}

// Parse reads a text that is one size, with or without words round it. Figures
// beside the size that are no part of it, or a second size, make it an *Ask:
// use Find for free text.
func Parse(text string) (Size, error) {
	if len(text) > MaxText {
		return Size{}, &Ask{Kind: TooLong}
	}
	text = strings.TrimSpace(text)
	found := scan(text, true)
	if len(found) == 0 {
		return Size{}, notASize(text)
	}
	if len(found) > 1 {
		return several(text, found)
	}
	f := found[0]
	if f.Err != nil {
		return Size{}, f.Err
	}
	if rest := text[:f.Start] + " " + text[f.End:]; strings.ContainsFunc(rest, isFigure) {
		return Size{}, &Ask{Kind: MoreThanASize, What: strings.TrimSpace(rest), Suggest: []string{f.Size.Text}}
	}
	return f.Size, nil
}

// Find reads the sizes, and the parts and markings that want a question, in a
// free text, in their order. It takes nothing that follows a size and does not
// belong to it ("12/12 tread"), and no reading ("60/58"), date or length. Only
// the first MaxText bytes are searched.
func Find(text string) []Found {
	if len(text) > MaxText {
		cut := MaxText
		for cut > 0 && !utf8.RuneStart(text[cut]) {
			cut--
		}
		text = text[:cut]
	}
	return scan(text, false)
}

// AsAsk returns the *Ask behind an error of this package, or nil.
func AsAsk(err error) *Ask {
	var a *Ask
	if errors.As(err, &a) {
		return a
	}
	return nil
}

// scan tries every form at every place where a word or number may start. With
// whole the text is taken to be an answer to "which size?", so that spellings
// too loose for free text are accepted.
func scan(text string, whole bool) []Found {
	n := fold(text)
	var found []Found
	fresh := 0 // where the last size ended: what follows may start right there
	for i := 0; i < len(n.s); {
		if !mayStart(n.s, i, fresh) {
			i++
			continue
		}
		m, ok := matchAt(n.s[i:], whole)
		if !ok {
			i++
			continue
		}
		start, end := n.span(i, i+m.end)
		f := Found{Start: start, End: end, Size: m.size}
		if m.ask != nil {
			m.ask.What = text[start:end]
			f.Size, f.Err = Size{}, m.ask
		} else {
			f.Size.Text = f.Size.canonical()
		}
		found = append(found, f)
		i += m.end
		fresh = i
	}
	return found
}

// mayStart reports whether a size may start at s[i]: not inside a word or a
// number.
func mayStart(s string, i, fresh int) bool {
	if !wordByte(s[i]) || s[i] == otherLetter {
		return false
	}
	if i == fresh {
		return true
	}
	before := s[i-1]
	if wordByte(before) {
		return false
	}
	// A separator straight after a digit: inside a number, a fraction, a date.
	if strings.IndexByte(".,/-", before) >= 0 && i-1 > fresh && digitByte(s[i-2]) {
		return false
	}
	return true
}

// several answers a text with more than one finding: the same size twice is
// one.
func several(text string, found []Found) (Size, error) {
	var names []string
	same := true
	for _, f := range found {
		if f.Err != nil || f.Size != found[0].Size {
			same = false
		}
		if f.Err == nil {
			names = append(names, f.Size.Text)
		}
	}
	if same {
		return found[0].Size, nil
	}
	return Size{}, &Ask{Kind: SeveralSizes, What: text, Suggest: names}
}

// notASize answers a text without a size; digits run together are offered
// apart.
func notASize(text string) error {
	s := strings.Trim(fold(text).s, " ")
	if m := togetherRE.FindStringSubmatch(s); m != nil {
		if size, err := Parse(m[1] + m[2] + "/" + m[3] + "R" + m[4]); err == nil {
			return &Ask{Kind: RunTogether, What: text, Suggest: []string{size.Text}}
		}
	}
	return &Ask{Kind: NotASize, What: text}
}

func isFigure(r rune) bool { return digitByte(foldRune(r)) }
