package understand

import "strings"

// Number words of English speech and dictation. "Oh" counts as zero only inside a number.
var (
	ones = map[string]int{"zero": 0, "nought": 0, "naught": 0, "one": 1, "two": 2, "three": 3, "four": 4, "five": 5, "six": 6,
		"seven": 7, "eight": 8, "nine": 9, "niner": 9}
	teens = map[string]int{"ten": 10, "eleven": 11, "twelve": 12, "thirteen": 13, "fourteen": 14, "fifteen": 15, "sixteen": 16,
		"seventeen": 17, "eighteen": 18, "nineteen": 19}
	tens = map[string]int{"twenty": 20, "thirty": 30, "forty": 40, "fourty": 40, "fifty": 50, "sixty": 60, "seventy": 70, "eighty": 80,
		"ninety": 90, "ninty": 90}
)

// joinNumbers turns number words, and figures with words or fractions behind them, into single number tokens.
func joinNumbers(in []token) []token {
	out := make([]token, 0, len(in))
	for i := 0; i < len(in); {
		t, next := in[i], i+1
		switch {
		case t.kind == symbol && t.text == "." && !t.spaceAfter && at(in, i+1).kind == number && !touches(in, i) && in[i+1].num.sep == 0 && !in[i+1].num.bad:
			n := in[i+1]
			v := parse("0." + n.text)
			t, next = token{kind: number, text: "0." + n.text, num: figure{value: v, decimals: len(n.text)}, start: t.start, end: n.end, spaceAfter: n.spaceAfter}, i+2
			t, next = tail(in, t, next)
		case t.kind == number:
			t, next = scale(in, t, next)
			t, next = tail(in, t, next)
		case t.kind == word && !t.glued:
			if s, n, ok := spoken(in, i); ok {
				t, next = tail(in, s, n)
			}
		}
		out = append(out, t)
		i = next
	}
	return out
}

func at(ts []token, i int) token {
	if i < 0 || i >= len(ts) {
		return token{}
	}
	return ts[i]
}

// touches tells whether the token before i is a number that ends where i starts.
func touches(ts []token, i int) bool {
	p := at(ts, i-1)
	return p.kind == number && p.end == ts[i].start
}

func spokenToken(in []token, from, to, v int) token {
	return token{kind: number, text: plain(float64(v)), num: figure{value: float64(v), digits: len(plain(float64(v))), spoken: true},
		start: in[from].start, end: in[to-1].end, spaceAfter: in[to-1].spaceAfter}
}

// spoken reads a number in words at i.
func spoken(in []token, i int) (token, int, bool) {
	if w := in[i].text; (w == "a" || w == "an") && at(in, i+1).text == "hundred" {
		v, next := rest(in, i+2, 100)
		return spokenToken(in, i, next, v), next, true
	}
	if in[i].text == "hundred" && at(in, i-1).kind != number {
		v, next := rest(in, i+1, 100)
		return spokenToken(in, i, next, v), next, true
	}
	if v, next, ok := digitRun(in, i); ok {
		return spokenToken(in, i, next, v), next, true
	}
	v, next, ok := belowHundred(in, i)
	if !ok {
		return token{}, i, false
	}
	switch at(in, next).text {
	case "hundred":
		v, next = rest(in, next+1, v*100)
	case "thousand", "grand":
	default:
		// "one ten", "one twenty five": a hundred is often left out, with one and two only.
		if (v == 1 || v == 2) && next == i+1 && !dashed(in, next) {
			if u, n, ok := belowHundred(in, next); ok && u >= 10 {
				v, next = v*100+u, n
			}
		}
	}
	if at(in, next).text == "thousand" || at(in, next).text == "grand" {
		v, next = thousands(in, next+1, v*1000)
	}
	return spokenToken(in, i, next, v), next, true
}

// rest reads "[and] five" behind a hundred.
func rest(in []token, i, v int) (int, int) {
	j := i
	if at(in, j).text == "and" {
		j++
	}
	if u, n, ok := belowHundred(in, j); ok && at(in, n).text != "hundred" {
		return v + u, n
	}
	return v, i
}

func thousands(in []token, i, v int) (int, int) {
	j := i
	if at(in, j).text == "and" {
		j++
	}
	if at(in, j).text == "a" && at(in, j+1).text == "hundred" {
		u, n := rest(in, j+2, 100)
		return v + u, n
	}
	if u, n, ok := belowHundred(in, j); ok {
		if at(in, n).text == "hundred" {
			u, n = rest(in, n+1, u*100)
		}
		return v + u, n
	}
	return v, i
}

// digitRun reads figures named one by one: "one oh five", "two four three eight".
func digitRun(in []token, i int) (int, int, bool) {
	v, ok := ones[in[i].text]
	if !ok {
		return 0, i, false
	}
	j := i + 1
	for j < len(in) && j-i < 9 && in[j].kind == word && !dashed(in, j) {
		u, ok := ones[in[j].text]
		if in[j].text == "oh" || in[j].text == "o" {
			u, ok = 0, true
		}
		if !ok {
			break
		}
		v, j = v*10+u, j+1
	}
	next := at(in, j).text
	if j-i < 2 || next == "hundred" || next == "thousand" {
		return 0, i, false
	}
	return v, j, true
}

func dashed(in []token, i int) bool { return at(in, i).kind == symbol }

func belowHundred(in []token, i int) (int, int, bool) {
	w := at(in, i).text
	if at(in, i).kind != word {
		return 0, i, false
	}
	if v, ok := teens[w]; ok {
		return v, i + 1, true
	}
	if v, ok := ones[w]; ok {
		return v, i + 1, true
	}
	v, ok := tens[w]
	if !ok {
		for t, v := range tens { // "sixtyfive"
			if u, ok := ones[strings.TrimPrefix(w, t)]; ok && u > 0 && strings.HasPrefix(w, t) {
				return v + u, i + 1, true
			}
		}
		return 0, i, false
	}
	j := i + 1
	if at(in, j).text == "-" && !in[j].spaceAfter {
		j++
	}
	if u, ok := ones[at(in, j).text]; ok && u > 0 && at(in, j).kind == word {
		return v + u, j + 1, true
	}
	return v, i + 1, true
}

// scale reads "2 thousand 438" and "1 hundred and 5".
func scale(in []token, t token, next int) (token, int) {
	w := at(in, next)
	if t.num.bad || t.num.sep != 0 || t.num.fraction || w.kind != word || w.glued {
		return t, next
	}
	unit := map[string]int{"hundred": 100, "thousand": 1000}[w.text]
	if unit == 0 || t.num.value >= 1000 {
		return t, next
	}
	v := int(t.num.value) * unit
	j := next + 1
	if at(in, j).text == "and" {
		j++
	}
	if n := at(in, j); n.kind == number && n.num.sep == 0 && !n.num.bad && !n.num.fraction && n.num.value < float64(unit) {
		v, next = v+int(n.num.value), j+1
	} else {
		v, next = rest(in, next+1, v)
	}
	last := in[next-1]
	return token{kind: number, text: plain(float64(v)), num: figure{value: float64(v), digits: len(plain(float64(v))), spoken: true}, start: t.start, end: last.end, spaceAfter: last.spaceAfter}, next
}

// tail adds what may follow a whole number: "point five", "and a half", "½", "1/2".
func tail(in []token, t token, next int) (token, int) {
	if t.num.bad || t.num.decimals > 0 || t.num.twoWay {
		return t, next
	}
	add := func(v float64, decimals, to int) (token, int) {
		last := in[to-1]
		t.num.value += v
		t.num.decimals = decimals
		t.end, t.spaceAfter = last.end, last.spaceAfter
		t.text = plain(t.num.value)
		return t, to
	}
	n := at(in, next)
	switch {
	case n.kind == number && n.num.fraction && !t.num.fraction:
		return add(n.num.value, 2, next+1)
	case n.text == "point" || n.text == "decimal":
		digits, j := "", next+1
		for ; j < len(in) && len(digits) < 4; j++ {
			if u, ok := ones[in[j].text]; ok && in[j].kind == word {
				digits += string(rune('0' + u))
			} else if (in[j].text == "oh" || in[j].text == "o") && in[j].kind == word {
				digits += "0"
			} else {
				break
			}
		}
		if digits == "" && at(in, j).kind == number && at(in, j).num.sep == 0 && len(in[j].text) <= 3 && !in[j].num.fraction && !in[j].num.bad {
			digits, j = in[j].text, j+1
		}
		if digits != "" {
			return add(parse("0."+digits), len(digits), j)
		}
	case n.text == "and":
		if v, to, ok := part(in, next+1); ok {
			return add(v, 2, to)
		}
	case n.text == "-" && !n.spaceAfter && at(in, next+1).text == "and": // "sixty-two-and-a-half"
		j := next + 2
		for at(in, j).text == "-" {
			j++
		}
		if v, to, ok := part(in, j); ok {
			return add(v, 2, to)
		}
	case n.kind == number && t.spaceAfter && at(in, next+1).text == "/" && !n.spaceAfter && at(in, next+2).kind == number && !in[next+1].spaceAfter:
		num, den := n.num.value, in[next+2].num.value
		if n.num.sep == 0 && in[next+2].num.sep == 0 && num < den && num >= 1 && (den == 2 || den == 4 || den == 8) {
			return add(num/den, 2, next+3)
		}
	}
	return t, next
}

// part reads "a half", "half", "a quarter", "three quarters".
func part(in []token, i int) (float64, int, bool) {
	for at(in, i).text == "a" || at(in, i).text == "-" {
		i++
	}
	switch at(in, i).text {
	case "half":
		return 0.5, i + 1, true
	case "quarter":
		return 0.25, i + 1, true
	case "three":
		if q := at(in, i+1).text; q == "quarter" || q == "quarters" {
			return 0.75, i + 2, true
		}
	}
	return 0, i, false
}
