package understand

// clearly tells whether what stands beside "all yes" leaves it standing. A loose phrase ("all good", "everything") may
// have only words of the list beside it; a plain "all yes" anything but a denial.
func clearly(ts []token, end int) (sure, denied bool) {
	loose := true
	for i := max(0, end-4); i < end; i++ {
		loose = loose && !(ts[i].text == "yes" || ts[i].text == "confirmed" || ts[i].text == "confirm" || ts[i].text == "checked")
	}
	for i, t := range ts {
		if t.kind == word && englishExcept[t.text] {
			return true, false // the line numbers behind it say which
		}
		if i < end || t.kind != word || lineNumber(t) > 0 {
			continue
		}
		a, _, ok := englishAnswers.find(ts, i)
		ofLine := lineNumber(at(ts, i-1)) > 0 || lineNumber(at(ts, i+1)) > 0 || englishToLines[at(ts, i+1).text]
		if englishDenial[t.text] && !ofLine {
			return false, true
		}
		if loose && !(ok && (a == Yes || a == No)) && !englishFiller[t.text] && !englishBeside[t.text] && !englishLink[t.text] {
			return false, false
		}
	}
	return true, false
}

// answers tells whether a text says yes, no or why to anything.
func answers(ts []token) bool {
	for i, t := range ts {
		if t.text == "why" || t.text == "✓" || t.text == "✗" || t.text == "?" {
			return true
		}
		if a, _, ok := englishAnswers.find(ts, i); ok && (a == Yes || a == No || a == NotSure) {
			return true
		}
	}
	return false
}

// strangers tells whether a text has words that belong to no answer of a list.
func strangers(ts []token) bool {
	for _, t := range ts {
		if t.text == "/" || t.kind == word && lineNumber(t) == 0 && !englishFiller[t.text] && !englishBeside[t.text] && !englishToLines[t.text] && !englishExcept[t.text] && !englishLink[t.text] {
			return true
		}
	}
	return false
}

// voltsAreLines tells whether a figure that is no voltage is a line number.
func voltsAreLines(text string, n int) bool {
	ts := tokens(text)
	for _, x := range measures(ts) {
		if x.unit == volt || x.fig.value != float64(int(x.fig.value)) || x.fig.value > float64(n) {
			return false
		}
	}
	return true
}

func inAll(ts []token, i, end int) bool {
	for j := max(0, end-6); j < end; j++ {
		if _, k, ok := englishAll.find(ts, j); ok && i >= j && i < j+k {
			return true
		}
	}
	return false
}

func onlyFillers(text string, from int) bool {
	for _, t := range scan(text) {
		if t.start < from || t.kind == line || t.kind == symbol || englishFiller[t.text] {
			continue
		}
		return false
	}
	return true
}

// lineNumber is the number of a line at a token: figure, word or keycap; 0 for none.
func lineNumber(t token) int {
	switch t.kind {
	case number:
		if t.num.sep == 0 && !t.num.bad && !t.num.fraction && !t.glued && t.num.value >= 1 && t.num.value < 100 {
			return int(t.num.value)
		}
	case word:
		if v, ok := ones[t.text]; ok && v > 0 {
			return v
		}
		if v, ok := teens[t.text]; ok {
			return v
		}
	}
	return 0
}

func ticksEcho(t Ticks) string {
	s := ""
	add := func(x string) {
		if s != "" {
			s += ", "
		}
		s += x
	}
	if t.All {
		add("all yes")
	}
	list := func(ls []int, w string) {
		for _, l := range ls {
			add(plain(float64(l)) + w)
		}
	}
	list(t.Yes, " yes")
	list(t.No, " no")
	list(t.Why, " why")
	if t.All && len(t.Open) > 0 {
		x := "all yes but"
		for _, l := range t.Open {
			x += " " + plain(float64(l))
		}
		s = x
		list(t.Yes, " yes")
		list(t.No, " no")
		list(t.Why, " why")
	} else {
		list(t.Open, "")
	}
	if t.Volts != nil {
		add(plain(*t.Volts) + " V")
	}
	return s
}
