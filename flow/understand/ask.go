package understand

import (
	"strings"
	"unicode/utf8"
)

// Ask is what to ask back when a text was not understood for certain.
type Ask struct {
	Code  string            // one of the codes of english_ask.go, for the caller's own words
	Said  string            // the words in doubt, cleaned and shortened
	Args  map[string]string // figures and words the sentence needs, by name
	Offer string            // what a plain "yes" would mean, as text the same reader understands; or empty
}

func newAsk(code, said string, args ...string) *Ask {
	a := &Ask{Code: code, Said: shorten(said)}
	if len(args) > 1 {
		a.Args = make(map[string]string, len(args)/2)
		for i := 0; i+1 < len(args); i += 2 {
			a.Args[args[i]] = args[i+1]
		}
	}
	return a
}

func (a *Ask) offer(text string) *Ask {
	a.Offer = text
	return a
}

// Text is the question in plain English: what was understood and what to type instead.
func (a *Ask) Text() string {
	if a == nil {
		return ""
	}
	s, ok := englishAsk[a.Code]
	if !ok {
		s = "I can't read {said}. Please type it another way."
	}
	said := a.Said
	if said == "" {
		said = "that"
	} else {
		said = "\"" + said + "\""
	}
	pairs := []string{"{said}", said, "{offer}", a.Offer}
	for k, v := range a.Args {
		pairs = append(pairs, "{"+k+"}", v)
	}
	return strings.NewReplacer(pairs...).Replace(s)
}

const maxSaid = 60

func shorten(s string) string {
	s, _ = Clean(s)
	s = strings.Join(strings.Fields(s), " ")
	if utf8.RuneCountInString(s) <= maxSaid {
		return s
	}
	r := []rune(s)
	return strings.TrimSpace(string(r[:maxSaid])) + "…"
}
