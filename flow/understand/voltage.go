package understand

// Voltage finds a supply voltage: "13.4 V", "13,4v", "all yes 13.4", "thirteen point four", "27.2 V" of a 24 V vehicle.
// Without the unit a figure counts from 9 to 16 and from 20 to 32 with a decimal, or where it is the whole message.
// Figures that neither a 12 V nor a 24 V supply shows are asked about.
func Voltage(text string) (Match[float64], bool, *Ask) {
	var m Match[float64]
	ts := tokens(text)
	var hits, loose []measure
	for _, x := range measures(ts) {
		if x.fig.bad || x.fig.twoWay {
			continue
		}
		named := at(ts, x.from-1).text == "volts" || at(ts, x.from-1).text == "voltage" || at(ts, x.from-2).text == "voltage" || at(ts, x.from-2).text == "volts"
		named = named && at(ts, x.from-2).kind != number
		switch {
		case x.unit == volt, x.unit == "" && named:
			hits = append(hits, x)
		case x.unit == "" && x.fig.decimals > 0 && (x.fig.value >= 9 && x.fig.value <= 16 || x.fig.value >= 20 && x.fig.value <= 32):
			loose = append(loose, x)
		case x.unit == "" && wholeMessage(ts, x) && x.fig.value < 200:
			loose = append(loose, x)
		}
	}
	if len(hits) == 0 {
		hits = loose
	}
	switch {
	case len(hits) == 0:
		return m, false, nil
	case len(hits) > 1:
		return m, false, newAsk(AskVolts, text)
	}
	x := hits[0]
	if v := x.fig.value; v < 6 || v > 18 && v < 20 || v > 32 || x.sign == "-" {
		return m, false, newAsk(AskVolts, text[ts[x.from].start:ts[x.to-1].end])
	}
	m.Value, m.Start, m.End = x.fig.value, ts[x.from].start, ts[x.to-1].end
	m.Echo = plain(m.Value) + " V"
	return m, true, nil
}
