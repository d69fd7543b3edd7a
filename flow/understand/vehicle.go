package understand

import (
	"regexp"
	"strings"
)

// vehicleWords is what is left of an opening once the facts are masked: pieces between separators, without words that
// say nothing of a vehicle.
func vehicleWords(rest string) string {
	var out []string
	for _, piece := range strings.FieldsFunc(rest, func(r rune) bool { return r == ';' || r == ',' || r == '\n' }) {
		words := strings.Fields(englishGreeting.ReplaceAllString(piece, ""))
		for len(words) > 0 && englishIntro[bare(words[0])] {
			words = words[1:]
		}
		for len(words) > 0 && englishOutro[bare(words[len(words)-1])] && !(len(words) > 1 && words[len(words)-1] == "A") { // "unit A"
			words = words[:len(words)-1]
		}
		s := strings.Trim(strings.Join(words, " "), " .:;,-–")
		if s != "" {
			out = append(out, s)
		}
	}
	s := strings.Join(out, ", ")
	if len(s) > 120 {
		s = strings.TrimSpace(strings.ToValidUTF8(s[:120], ""))
	}
	return s
}

func bare(w string) string {
	return strings.ToLower(strings.Trim(w, ".,:;!?-–'\""))
}

// englishGreeting is a greeting of more than one word, at the beginning.
var englishGreeting = regexp.MustCompile(`(?i)^\s*(?:(?:hi|hello|hey)\s+there|good\s+(?:morning|afternoon|evening|day))\b[!.\s]*`)

var englishIntro = set("it", "its", "it's", "is", "this", "that's", "thats", "the", "a", "an", "for", "on", "vehicle", "hi", "hello", "hey", "i", "i've", "have", "we", "got", "please", "with", "at", "and", "odo", "odometer", "mileage", "of", "vin", "in", "has", "about")

var englishOutro = set("with", "at", "has", "and", "on", "is", "the", "please", "thanks", "odometer", "odo", "mileage", "in", "clock", "it", "a", "done", "vin", "of", "showing", "shows")
