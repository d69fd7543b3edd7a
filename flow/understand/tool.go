package understand

// ToolWord is what the service tool said after a write.
type ToolWord struct {
	Word   string // took, refused, broke_off, no_answer, not_sure
	Reason string // of refused: access, conditions, value, not_supported; empty where not said
	Said   string // the words, cleaned
}

// The tool's five words and the reasons of a refusal.
const (
	Took     = "took"
	Refused  = "refused"
	BrokeOff = "broke_off"
	NoAnswer = "no_answer"
	Unsure   = "not_sure"

	Access       = "access"
	Conditions   = "conditions"
	ValueRefused = "value"
	NotSupported = "not_supported"
)

// ToolSays reads the tool's word: "took", "it worked now", "access denied", "it stopped halfway", "nothing happens".
// Several words that disagree ("it worked and then stopped halfway") are asked about.
func ToolSays(text string) (Match[ToolWord], *Ask) {
	ts := tokens(text)
	said := shorten(text)
	var m Match[ToolWord]
	var found []phrase[string]
	for _, p := range englishToolWords.all(ts) {
		if p.value == Took && denied(ts, p.from) {
			return m, newAsk(AskTool, text) // "not yet done", "never worked": which of the others it is was not said
		}
		if p.value != "" {
			found = append(found, p)
		}
	}
	if supposes(ts) {
		return m, newAsk(AskTool, text)
	}
	reason, hasReason := englishRefusals.first(ts)
	words := map[string]bool{}
	for _, p := range found {
		words[p.value] = true
	}
	if len(words) == 0 && hasReason && len(measures(ts)) == 0 && len(ts) < 9 {
		words[Refused] = true
	}
	// Breaking off and silence outweigh "refused"; took beside anything else is a contradiction.
	var w string
	switch {
	case len(words) == 1:
		for k := range words {
			w = k
		}
	case len(words) == 0:
		if a, ok := YesNo(text); ok && onlyFillers(text, a.End) {
			if a.Value != NotSure {
				return m, newAsk(AskTool, text) // yes to what? it is no word of a tool
			}
			w = Unsure
		}
	case words[Took]:
	case words[BrokeOff]:
		w = BrokeOff
	case words[NoAnswer]:
		w = NoAnswer
	case words[Refused]:
		w = Refused
	}
	if w == "" || (w == Took || w == Refused) && isQuestion(ts) {
		return m, newAsk(AskTool, text)
	}
	m.Value = ToolWord{Word: w, Said: said}
	if w == Refused && hasReason {
		m.Value.Reason = reason.value
	}
	m.Start, m.End = bounds(ts)
	m.Echo = englishToolEcho[w]
	return m, nil
}

// denied tells whether a "not" stands right before a word.
func denied(ts []token, i int) bool {
	for i > 0 && (at(ts, i-1).text == "yet" || at(ts, i-1).text == "really" || at(ts, i-1).text == "quite" || at(ts, i-1).text == "been") {
		i--
	}
	switch at(ts, i-1).text {
	case "not", "never", "isnt", "wasnt", "hasnt", "havent", "didnt", "doesnt", "aint":
		return true
	}
	return false
}

// supposes tells whether a text begins as a question about what may come.
func supposes(ts []token) bool {
	i := 0
	for i < len(ts) && (ts[i].kind != word || englishFiller[ts[i].text] || ts[i].text == "and") {
		i++
	}
	_, _, ok := englishWhatIf.find(ts, i)
	return ok
}

// isQuestion tells whether a text ends as a question.
func isQuestion(ts []token) bool {
	return at(ts, len(ts)-1).text == "?"
}

// bounds are the bytes from the first to the last token.
func bounds(ts []token) (int, int) {
	if len(ts) == 0 {
		return 0, 0
	}
	return ts[0].start, ts[len(ts)-1].end
}
