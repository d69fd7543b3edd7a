package understand

// measure is a figure with the unit beside it.
type measure struct {
	fig      figure
	unit     string // as in englishUnits, or empty
	sign     string // "+" or "-" directly before it
	from, to int    // token indexes of figure and unit
}

// Units of englishUnits beyond the exported ones.
const (
	revMile    = "rev/mile"
	revKm      = "rev/km"
	pulseMile  = "pulses/mile"
	pulseKm    = "pulses/km"
	perMile    = "per mile"
	perKm      = "per km"
	revsOfWhat = "revs"   // per mile or per km was not said
	pulsesOf   = "pulses" // the same
	rpm        = "rpm"
	percent    = "%"
	thirtySec  = "/32"
	feet       = "ft"
	psi        = "psi"
	bar        = "bar"
	kpa        = "kPa"
	volt       = "V"
	kilogram   = "kg"
	pound      = "lb"
	turn       = "turns"
	second     = "s"
	RatioTo1   = ":1"
)

// measures finds every figure that is not part of a word, with its unit.
func measures(ts []token) []measure {
	var out []measure
	for i := 0; i < len(ts); i++ {
		if ts[i].kind != number || ts[i].glued {
			continue
		}
		m := measure{fig: ts[i].num, from: i, to: i + 1}
		if p := at(ts, i-1); (p.text == "+" || p.text == "-") && !p.spaceAfter && at(ts, i-2).kind != number {
			m.sign = p.text
		}
		if u, n := unitAt(ts, i+1); n > 0 {
			m.unit, m.to = u, i+1+n
		}
		out = append(out, m)
		i = m.to - 1
	}
	return out
}

// unitAt reads a unit that starts at token i and belongs to the figure before it; n is how many tokens it takes.
func unitAt(ts []token, i int) (string, int) {
	t := at(ts, i)
	switch t.text {
	case "%":
		return percent, 1
	case "\"":
		return Inch, 1
	case "'":
		return feet, 1
	case "/":
		if n := at(ts, i+1); n.kind == number && n.text == "32" && !at(ts, i+2).glued {
			return thirtySec, 2
		}
		return "", 0
	case ":":
		if n := at(ts, i+1); n.kind == number && n.text == "1" {
			return RatioTo1, 2
		}
		return "", 0
	case "(", "[":
		if u, n := unitAt(ts, i+1); n > 0 {
			if e := at(ts, i+1+n).text; e == ")" || e == "]" {
				return u, n + 2
			}
		}
		return "", 0
	}
	if t.text == "to" && at(ts, i+1).text == "1" || t.text == "to" && at(ts, i+1).text == "one" {
		return RatioTo1, 2
	}
	u, n, ok := englishUnits.find(ts, i)
	if !ok {
		return "", 0
	}
	if n == 1 && t.text == "in" && !t.glued && !inchHere(ts, i) {
		return "", 0
	}
	return u, n
}

// inchHere tells the unit from the preposition: "96.3 in" and "31 in diameter", not "2438 in the engine".
func inchHere(ts []token, i int) bool {
	n := at(ts, i+1)
	return n.kind != word || englishAfterInch[n.text]
}
