package understand

// Answer is what a person says to a question.
type Answer string

// The answers.
const (
	Yes     Answer = "yes"
	No      Answer = "no"
	NotSure Answer = "not_sure" // don't know, no idea
	None    Answer = "none"     // nothing there: "none", "nil"
)

// YesNo reads an answer at the start of a message: "yep", "no, it's mm", "don't know". Rest of the message (behind the
// match) may carry more: "yes, cm". What only begins with such a word ("no codes", "no help needed") is not an answer.
func YesNo(text string) (Match[Answer], bool) {
	ts := tokens(text)
	i := 0
	for i < len(ts) && (ts[i].kind == line || ts[i].kind == symbol && ts[i].text != "✓" && ts[i].text != "✗" || englishFiller[ts[i].text]) {
		i++
	}
	if i == len(ts) {
		return Match[Answer]{}, false
	}
	switch ts[i].text {
	case "✓":
		return answer(ts, i, i+1, Yes), true
	case "✗":
		return answer(ts, i, i+1, No), true
	}
	a, n, ok := englishAnswers.find(ts, i)
	if !ok {
		return Match[Answer]{}, false
	}
	j := i + n
	// "yes yes", "yes please": the same again and fillers belong to it
	for j < len(ts) && (englishFiller[ts[j].text] || ts[j].text == ts[i].text) {
		j++
	}
	next := at(ts, j)
	if c := at(ts, j).text; c == "and" || c == "or" || c == "/" { // "yes and no"
		if b, _, ok := englishAnswers.find(ts, j+1); ok && b != a {
			return Match[Answer]{}, false
		}
	}
	loose := next.kind == word || next.kind == number
	if loose && a == No && !englishAfterNo[next.text] {
		return Match[Answer]{}, false
	}
	if loose && a == None && !englishAfterNone[next.text] {
		return Match[Answer]{}, false
	}
	if loose && a == Yes && englishAfterYesNot[next.text] {
		return Match[Answer]{}, false
	}
	return answer(ts, i, j, a), true
}

func answer(ts []token, from, to int, a Answer) Match[Answer] {
	return Match[Answer]{Value: a, Start: ts[from].start, End: ts[to-1].end, Echo: englishAnswerEcho[a]}
}
