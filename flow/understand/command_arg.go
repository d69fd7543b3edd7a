package understand

import (
	"slices"
	"strings"
)

type argKind uint8

const (
	noArg     argKind = iota // nothing but fillers may follow
	anyArg                   // anything may follow
	needArg                  // something must follow
	nameArg                  // "to NAME"
	numberArg                // nothing, or a number or value
	readArg                  // nothing, or a reading, a number, "the last one"
	fieldArg                 // a field and "to" a new answer
	fromTo                   // a reading "to" a reading
	gateArg                  // a gate and a reason
	reasonArg                // nothing, or a reason
	topicArg                 // nothing, or "with …": a topic
	speedArg                 // a speed
	factsArg                 // nothing, or what is worth its own readers: separated by a comma, or "no …", "none"
)

type commandSpec struct {
	name string
	arg  argKind
	echo string
}

// takes checks what follows the command's words and fills the command.
func (s commandSpec) takes(ts []token, j int, c *Command, text string) bool {
	rest := ts[j:]
	empty := onlyTrailing(rest)
	switch s.arg {
	case noArg:
		c.Arg = ""
		return empty
	case anyArg:
		return true
	case needArg:
		return c.Arg != ""
	case nameArg:
		return takeName(rest, c, text)
	case numberArg:
		if empty {
			c.Arg = ""
			return true
		}
		return hasNumber(rest) && wordsBefore(rest, englishWriteGlue)
	case readArg:
		if empty {
			c.Arg = ""
			return true
		}
		if !wordsBefore(rest, englishReadingGlue) {
			return false
		}
		if !hasNumber(withoutOne(rest)) && !hasOrdinal(rest) && !oddOne(rest) { // "swap it round"
			c.Arg = ""
		}
		return true
	case topicArg:
		if empty {
			c.Arg = ""
		}
		return empty || englishTopic[rest[0].text]
	case speedArg:
		return hasNumber(rest) && wordsBefore(rest, englishReadingGlue)
	case fieldArg:
		return takeField(rest, c, text)
	case fromTo:
		return takeFromTo(rest, c, text)
	case gateArg:
		return takeGate(rest, c, text)
	case reasonArg:
		if empty {
			c.Arg = ""
			return true
		}
		c.Reason = reasonIn(rest, text)
		if first := rest[0]; c.Reason == "" && (first.kind == symbol || first.kind == line) {
			c.Reason = c.Arg
		}
		return c.Reason != ""
	case factsArg:
		if empty {
			c.Arg = ""
			return true
		}
		first := rest[0]
		return first.kind != word || englishFactLead[first.text]
	}
	return false
}

// onlyTrailing tells whether nothing follows but fillers and punctuation.
func onlyTrailing(ts []token) bool {
	for i := 0; i < len(ts); {
		if ts[i].kind == line || ts[i].kind == symbol && ts[i].text != "/" && ts[i].text != "%" {
			i++
			continue
		}
		if _, n, ok := englishTrail.find(ts, i); ok {
			i += n
			continue
		}
		return false
	}
	return true
}

// withoutOne drops the pronoun "one".
func withoutOne(ts []token) []token {
	return slices.DeleteFunc(slices.Clone(ts), func(t token) bool { return t.text == "one" })
}

func hasOrdinal(ts []token) bool {
	for _, t := range ts {
		if _, ok := englishOrdinals[t.text]; ok || t.text == "all" && t.kind == word || t.text == "previous" || t.text == "both" {
			return true
		}
	}
	return false
}

// oddOne: "the wrong one", but not "the wrong way round".
func oddOne(ts []token) bool {
	named := false
	for _, t := range ts {
		named = named || englishOddOne[t.text] && t.text != "off"
		if t.text == "way" || t.text == "round" || t.text == "around" {
			return false
		}
	}
	return named
}

func hasNumber(ts []token) bool {
	for _, t := range joinNumbers(ts) {
		if t.kind == number {
			return true
		}
	}
	return false
}

// wordsBefore tells whether all words of the rest are in a set; figures and marks are free.
func wordsBefore(ts []token, allowed map[string]bool) bool {
	for i, t := range ts {
		if t.kind != word || allowed[t.text] || englishFiller[t.text] || t.glued && englishOrdinalEnd[t.text] {
			continue
		}
		if _, _, ok := spoken(ts, i); ok {
			continue
		}
		if _, n := unitAt(ts, i); n > 0 {
			continue
		}
		if _, ok := englishOrdinals[t.text]; ok {
			continue
		}
		if _, ok := ones[t.text]; ok {
			continue
		}
		return false
	}
	return true
}

// argFrom takes all from a token on as the argument, and says whether there is one.
func (c *Command) argFrom(rest []token, k int, text string) bool {
	if k >= len(rest) {
		c.Arg, c.ArgStart = "", len(text)
		return false
	}
	c.ArgStart = rest[k].start
	c.Arg, _ = Clean(text[c.ArgStart:])
	return true
}

func takeName(rest []token, c *Command, text string) bool {
	k := 0
	for k < len(rest) && (englishNameGlue[rest[k].text] || rest[k].kind == symbol && rest[k].text != "@") {
		k++
	}
	if !c.argFrom(rest, k, text) {
		return true
	}
	if r := reasonIn(rest[k:], text); r != "" {
		c.Reason = r
		for i := k; i < len(rest); i++ {
			if _, _, ok := englishBecause.find(rest, i); ok {
				c.Arg, _ = Clean(text[c.ArgStart:rest[i].start])
				break
			}
		}
	}
	c.Arg = strings.TrimRight(strings.TrimSuffix(strings.TrimSuffix(c.Arg, " please"), " now"), " .!,")
	return c.Arg != "" && strings.Count(c.Arg, " ") < 5
}

// takeField reads "the new size to 285/70R17", "my answer to no", "odometer 48211".
func takeField(rest []token, c *Command, text string) bool {
	k := 0
	for k < len(rest) && (englishFieldLead[rest[k].text] || rest[k].kind == symbol) {
		k++
	}
	field, n, ok := englishFields.find(rest, k)
	if !ok {
		return false
	}
	c.Field = field
	k += n
	if next := at(rest, k).text; field == FieldLast && (next == "for" || next == "of" || next == "about" || next == "on") { // "my answer for the size"
		for k < len(rest) && englishFieldLead[rest[k].text] {
			k++
		}
		f, n, ok := englishFields.find(rest, k)
		if !ok {
			return false
		}
		c.Field = f
		k += n
	}
	for k < len(rest) && (englishFieldTo[rest[k].text] || rest[k].kind == symbol && rest[k].text != "-" && rest[k].text != "+" && rest[k].text != ".") {
		k++
	}
	c.argFrom(rest, k, text)
	return true
}

// takeFromTo reads "62/60 to 60/62", "62/60 = 60/62".
func takeFromTo(rest []token, c *Command, text string) bool {
	for i, t := range rest {
		if i > 0 && (t.text == "to" || t.text == ">" || t.text == "=" || t.text == "into" || t.text == "with" || t.text == "by") && i+1 < len(rest) {
			from, _ := Clean(text[rest[0].start:rest[i-1].end])
			c.From = from
			c.ArgStart = rest[i+1].start
			if t.text == "=" && rest[i+1].text == ">" && i+2 < len(rest) {
				c.ArgStart = rest[i+2].start
			}
			c.Arg, _ = Clean(text[c.ArgStart:])
			named := hasNumber(rest[:i]) || hasOrdinal(rest[:i]) && wordsBefore(rest[:i], englishReadingGlue)
			return named && hasNumber(rest[i+1:])
		}
	}
	return false
}

func takeGate(rest []token, c *Command, text string) bool {
	k := 0
	for k < len(rest) && (rest[k].text == "the" || rest[k].text == "gate" || rest[k].kind == symbol) {
		k++
	}
	g, n, ok := englishGates.find(rest, k)
	if !ok {
		return len(rest) == 0
	}
	c.Gate = g
	k += n
	if k < len(rest) {
		c.Reason = reasonIn(rest[k:], text)
		if c.Reason == "" && (rest[k].kind == symbol || rest[k].kind == line) {
			for k < len(rest) && (rest[k].kind == symbol || rest[k].kind == line) {
				k++
			}
			if k < len(rest) {
				c.Reason, _ = Clean(text[rest[k].start:])
			}
		}
	}
	c.Arg = ""
	return true
}

// reasonIn is what follows "because".
func reasonIn(rest []token, text string) string {
	for i := range rest {
		if _, n, ok := englishBecause.find(rest, i); ok && i+n < len(rest) {
			k := i + n
			for k < len(rest) && rest[k].kind == symbol {
				k++
			}
			if k < len(rest) {
				r, _ := Clean(text[rest[k].start:])
				return r
			}
		}
	}
	return ""
}
