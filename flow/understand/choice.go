package understand

// Choice reads one of n numbered choices: "2", "2)", "#2", "option 2", "second", "the second one", "last". It is nil
// where the message is not a choice; the ask says that the number is not on the list.
func Choice(text string, n int) (Match[int], bool, *Ask) {
	ts := scan(text)
	var body []token
	for _, t := range ts {
		if v, ok := ones[t.text]; ok && t.kind == word && (t.text != "one" || len(body) == 0 && !ordinalIn(ts)) {
			t.kind, t.num = number, figure{value: float64(v)}
		} else if t.kind == line || englishFiller[t.text] || englishChoiceNoise[t.text] || t.kind == symbol && t.text != "-" && t.text != "/" && t.text != "%" {
			continue
		}
		body = append(body, t)
	}
	if len(body) == 0 {
		return Match[int]{}, false, nil
	}
	v := 0
	first := body[0]
	ord, isOrd := englishOrdinals[first.text]
	switch {
	case len(body) == 1 && first.kind == number && first.num.sep == 0 && first.num.decimals == 0 && !first.num.bad:
		v = int(first.num.value)
	case len(body) == 2 && first.kind == number && englishOrdinalEnd[body[1].text] && first.num.sep == 0:
		v = int(first.num.value)
	case len(body) == 1 && isOrd && ord < 0:
		v = n
	case len(body) == 1 && isOrd:
		v = ord
	default:
		return Match[int]{}, false, nil
	}
	m := Match[int]{Value: v, Start: first.start, End: body[len(body)-1].end, Echo: plain(float64(v))}
	if v < 1 || v > n {
		return m, false, newAsk(AskChoice, text, "n", plain(float64(n)))
	}
	return m, true, nil
}

func ordinalIn(ts []token) bool {
	for _, t := range ts {
		if _, ok := englishOrdinals[t.text]; ok || t.kind == number {
			return true
		}
	}
	return false
}

var englishOrdinals = map[string]int{"first": 1, "second": 2, "third": 3, "fourth": 4, "fifth": 5, "sixth": 6, "seventh": 7, "eighth": 8, "ninth": 9, "tenth": 10, "last": -1, "bottom": -1, "top": 1}

var englishOrdinalEnd = set("st", "nd", "rd", "th")

var englishChoiceNoise = set("the", "one", "option", "number", "nr", "choice", "answer", "its", "it", "is", "that", "take", "pick", "choose", "select", "i", "ill", "go", "for", "with", "line")
