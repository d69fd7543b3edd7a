package understand

// WrongSupply finds what is said to feed the vehicle and will not do while a module is written: a jump pack, a plain
// charger, another vehicle. "no jump pack, no charger" and "charger off", "charger unplugged" say the opposite.
func WrongSupply(text string) (Match[string], bool) {
	ts := tokens(text)
	for _, p := range englishWrongSupply.all(ts) {
		if p.value == "" || supplyDenied(ts, p.from) || off(ts, p.to) || unplugged(ts, p.from, p.to) {
			continue
		}
		start, end := ts[p.from].start, ts[p.to-1].end
		w := cleanWords(text[start:end])
		return Match[string]{Value: p.value, Start: start, End: end, Echo: w}, true
	}
	return Match[string]{}, false
}

// unplugged tells whether a supply is said to be connected no more: "charger disconnected", "unplugged the charger".
func unplugged(ts []token, from, to int) bool {
	for j := to; j < len(ts) && j < to+4 && ts[j].kind == word; j++ {
		switch ts[j].text {
		case "not", "never", "isnt", "wasnt", "hasnt":
			return at(ts, j+1).text == "connected" || at(ts, j+1).text == "plugged"
		case "disconnected", "unplugged", "removed", "detached", "unconnected":
			return true
		}
	}
	for j := from - 1; j >= 0 && j >= from-3 && ts[j].kind == word; j-- {
		switch ts[j].text {
		case "disconnected", "unplugged", "removed", "detached":
			return !denied(ts, j)
		}
	}
	return false
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
