package understand

// WrongSupply finds what is said to feed the vehicle and will not do while a module is written: a jump pack, a plain
// charger, another vehicle. "no jump pack, no charger" and "charger off" say the opposite.
func WrongSupply(text string) (Match[string], bool) {
	ts := tokens(text)
	for _, p := range englishWrongSupply.all(ts) {
		if p.value == "" || supplyDenied(ts, p.from) || off(ts, p.to) {
			continue
		}
		start, end := ts[p.from].start, ts[p.to-1].end
		w := cleanWords(text[start:end])
		return Match[string]{Value: p.value, Start: start, End: end, Echo: w}, true
	}
	return Match[string]{}, false
}

// supplyDenied tells whether a "no" or "not" before it, or before the list it stands in, denies a supply.
func supplyDenied(ts []token, i int) bool {
	for j := i - 1; j >= 0 && j >= i-5; j-- {
		switch ts[j].text {
		case ",", ";", "/", ".":
			for _, p := range englishWrongSupply.all(ts[:j]) {
				if p.to == j {
					return supplyDenied(ts, p.from)
				}
			}
			return false
		case "no", "not", "without", "isnt", "never", "nor", "neither":
			return true
		case "but", "only", "except", "just", "yes":
			return false
		}
	}
	return false
}
