package understand

// pick decides a figure in doubt ("2.438", "2,438") by what its unit makes plausible.
func pick(s *Stored, f figure, unit, qty string) {
	if !f.twoWay {
		return
	}
	ok := func(v float64) bool { return plausible(v, unit, qty) }
	if !ok(f.value) && ok(f.other) {
		s.Typed = f.other
		s.Decimals = 3 - f.decimals
	}
}

func plausible(v float64, unit, qty string) bool {
	switch unit {
	case MM, CM, M, Inch:
		mm := v * toMM[unit]
		return mm > 200 && mm < 5000
	case revMile, revKm:
		return v > 150 && v < 2000
	case pulseMile, pulseKm:
		return v > 200
	case percent:
		return v > 20 && v < 400
	}
	if qty == AxleRatio {
		return v > 1 && v < 12
	}
	return v > 20
}

// looseUnit finds a unit not directly behind the figure: before it ("rev/km 455") or after a word ("455 and rev/km").
func looseUnit(ts []token, m measure) string {
	j := m.to
	for j < len(ts) && j < m.to+6 && ts[j].kind == word && englishUnitLink[ts[j].text] {
		j++
	}
	if j > m.to {
		if u, n := unitAt(ts, j); n > 0 && ts[j].text != "in" && ts[j].text != "m" && ts[j].text != "s" {
			return u
		}
	}
	from := m.from
	for from > max(0, m.from-6) { // a unit behind another figure is that figure's
		if t := ts[from-1]; t.kind == number || t.kind == line || t.text == ";" || t.text == "," || t.text == "." {
			break
		}
		from--
	}
	for k := from; k < m.from; k++ {
		if u, n := unitAt(ts, k); n > 0 && ts[k].kind == word && !ts[k].glued && ts[k].text != "in" && ts[k].text != "s" && ts[k].text != "m" && k+n <= m.from {
			return u
		}
	}
	return ""
}

var englishUnitLink = set("and", "unit", "units", "is", "its", "it", "says", "the", "of", "as", "with", "that", "thats", "are", "in", "measured")

// lengthKind is the one quantity that a length in mm can be on a road vehicle, or empty where two fit. Bands: rolling
// circumference from the smallest scooter to the largest truck tyre, diameter and radius of the same.
func lengthKind(mm float64) string {
	switch {
	case mm >= 1300 && mm <= 4200:
		return Circumference
	case mm > 560 && mm < 1300:
		return Diameter
	case mm >= 200 && mm < 480:
		return Radius
	}
	return ""
}

// might lists what a bare figure could be, most usual first.
func might(v float64, qty string) []string {
	var out []string
	for _, q := range []struct {
		quantity, unit string
		low, high      float64
	}{
		{Circumference, MM, 1300, 4200}, {Circumference, CM, 130, 420}, {Circumference, Inch, 51, 165}, {Circumference, M, 1.3, 4.2},
		{Diameter, MM, 480, 1300}, {Diameter, Inch, 19, 51}, {Diameter, CM, 48, 130},
		{Radius, MM, 200, 560}, {Radius, Inch, 8, 22}, {Radius, CM, 20, 56},
		{RevsPerMile, revMile, 380, 1240}, {RevsPerKm, revKm, 238, 770},
		{AxleRatio, "", 1.5, 8}, {Percent, percent, 50, 200}, {PulsesPerKm, pulseKm, 1000, 60000}, {PulsesPerMile, pulseMile, 1600, 99000},
	} {
		if v >= q.low && v <= q.high && (qty == "" || qty == q.quantity) {
			s := q.quantity
			if q.unit != "" {
				s += " " + q.unit
			}
			out = append(out, s)
		}
	}
	return out
}
