package understand

// Pressure is the cold pressure of the tyres fitted.
type Pressure struct {
	Placard    bool    // said to be what the placard says
	Value      float64 // as typed; 0 where not said
	PlacardSay float64 // the placard's figure; 0 where not said
	Unit       string  // psi, bar or kPa
}

// Ratio is cold pressure over placard pressure, where it can be worked out.
func (p Pressure) Ratio() (float64, bool) {
	switch {
	case p.Value > 0 && p.PlacardSay > 0:
		return p.Value / p.PlacardSay, true
	case p.Placard:
		return 1, true
	}
	return 0, false
}

// Pressures reads "placard pressure", "40 psi, placard 36", "2.5 bar", "250 kPa", "same as on the door".
func Pressures(text string) (Match[Pressure], bool, *Ask) {
	var m Match[Pressure]
	ts := tokens(text)
	var ms []measure
	unit := ""
	for _, x := range measures(ts) {
		if x.unit == psi || x.unit == bar || x.unit == kpa {
			if unit != "" && unit != x.unit {
				return m, false, newAsk(AskPressure, text)
			}
			unit = x.unit
			ms = append(ms, x)
		}
	}
	placards := englishPlacard.all(ts)
	named := false
	for i := range ts {
		named = named || englishPressure[ts[i].text]
	}
	p := Pressure{Unit: unit}
	got := unused
	// a bare figure right behind "placard" has the unit of the other
	for _, x := range measures(ts) {
		if x.unit == "" && (unit != "" || named) && !x.fig.bad {
			for _, q := range placards {
				if x.from >= q.to && x.from-q.to <= 2 || q.from >= x.to && q.from-x.to <= 2 && len(ms) > 0 && ms[0].from != x.from {
					ms = append(ms, x)
					break
				}
			}
		}
	}
	if len(ms) == 0 {
		for _, q := range placards {
			if named || q.to-q.from > 1 {
				p.Placard = true
				got.cover(q.from, q.to)
			}
		}
		if !p.Placard {
			return m, false, nil
		}
		got.coverBeside(ts, englishPressure)
		m.Value, m.Echo = p, "placard pressure"
		m.Start, m.End = got.span(ts)
		return m, true, nil
	}
	if len(ms) > 2 {
		return m, false, newAsk(AskPressure, text)
	}
	for _, x := range ms {
		v := small(x.fig)
		got.cover(x.from, x.to)
		switch {
		case ofPlacard(ts, ms, placards, x) && p.PlacardSay == 0:
			p.PlacardSay = v
		case p.Value == 0:
			p.Value = v
		default:
			return m, false, newAsk(AskPressure, text)
		}
	}
	if over := overPlacard(ts, ms); over {
		return m, false, newAsk(AskPressure, text)
	}
	if p.Value == 0 { // "placard says 36 psi" alone
		p.Value, p.Placard = p.PlacardSay, len(ms) == 1
	}
	if !sanePressure(p.Value, unit) || p.PlacardSay > 0 && !sanePressure(p.PlacardSay, unit) {
		return m, false, newAsk(AskPressure, text)
	}
	m.Value = p
	m.Start, m.End = got.span(ts)
	m.Echo = plain(p.Value) + " " + unit
	if p.PlacardSay > 0 && !p.Placard {
		m.Echo += ", placard " + plain(p.PlacardSay) + " " + unit
	} else if p.Placard {
		m.Echo = "placard " + m.Echo
	}
	return m, true, nil
}

// ofPlacard tells whether of the figures this one is the placard's: no other stands nearer to the word.
func ofPlacard(ts []token, ms []measure, placards []phrase[bool], x measure) bool {
	for _, q := range placards {
		gap := gapTo(ts, q, x)
		near := true
		for _, y := range ms {
			if y.from == x.from {
				continue
			}
			// between two figures the word goes with the one behind it: "40 psi, placard 36"
			if other := gapTo(ts, q, y); other < gap || other == gap && y.from > x.from {
				near = false
			}
		}
		if near && gap <= 3 {
			return true
		}
	}
	return false
}

// gapTo counts the tokens between a word for the placard and a figure.
func gapTo(ts []token, q phrase[bool], x measure) int {
	if x.from >= q.to {
		return linked(ts, q.to, x.from)
	}
	return q.from - x.to
}

// linked counts the tokens between, without "says", "is" and the like.
func linked(ts []token, from, to int) int {
	n := 0
	for _, t := range ts[from:to] {
		if !englishLink[t.text] && t.text != ":" && t.text != "=" {
			n++
		}
	}
	return n
}

// overPlacard tells a difference ("5 psi over placard") from a pressure.
func overPlacard(ts []token, ms []measure) bool {
	for _, x := range ms {
		switch at(ts, x.to).text {
		case "over", "above", "under", "below", "more", "less", "higher", "lower":
			return len(ms) == 1
		}
	}
	return false
}

func sanePressure(v float64, unit string) bool {
	switch unit {
	case psi:
		return v >= 8 && v <= 140
	case bar:
		return v >= 0.5 && v <= 10
	case kpa:
		return v >= 50 && v <= 1000
	}
	return false
}

var englishPressure = set("pressure", "pressures", "press", "presure", "cold", "inflated", "pumped")

var englishPlacard = newLexicon(false, table(
	row[bool]{true, "placard, placard pressure, as placard, as per placard, on placard, to placard, at placard, door, door sticker, sticker, door pressure, as on the door, same as on the door, same as the door, same as the sticker, as the sticker, as on the sticker, as the sticker says, what the door says, what the sticker says, as the placard says, as on the placard, same as placard, standard pressure, normal pressure, recommended, recommended pressure, as recommended, factory pressure, stock pressure, book pressure, original pressure, like the door says, per the door, per placard"},
))
