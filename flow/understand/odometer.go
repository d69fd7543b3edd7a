package understand

// Distance is a length driven, as an odometer or a recorded track shows it.
type Distance struct {
	Value float64
	Unit  string // "mi" or "km"
	Said  bool   // the text named the unit
}

// Odometer reads "48210 mi", "odo 48,210", "77 000 km", "48k miles", "forty eight thousand two hundred and ten". A bare
// figure is taken only where it is the whole message or stands beside the word odometer.
func Odometer(text string, ctx Context) (Match[Distance], bool, *Ask) {
	var m Match[Distance]
	ts := joinThousands(tokens(text))
	ms := measures(ts)
	named := -1
	for i := range ts {
		if englishOdometer[ts[i].text] {
			named = i
			break
		}
	}
	best := -1
	for i, x := range ms {
		k := thousandK(ts, x)
		if u, n := unitAt(ts, x.from+2); k && n > 0 && (u == Mile || u == Km) {
			x.unit = u
			ms[i].unit = u
		}
		if x.fig.bad || x.unit != "" && x.unit != Mile && x.unit != Km && !k || x.sign == "-" || x.fig.value < 0 {
			continue
		}
		if x.unit == Mile || x.unit == Km {
			if perHour(ts, x.to) {
				continue
			}
			if best >= 0 && (ms[best].unit == Mile || ms[best].unit == Km) {
				if named < 0 || near(ms[best], named) == near(x, named) {
					return m, false, newAsk(AskOdometer, text)
				}
				if near(ms[best], named) < near(x, named) {
					continue
				}
			}
			best = i
			continue
		}
		if best < 0 && (named >= 0 && near(x, named) < 5 || alone(ts, x) || k && named >= 0) {
			best = i
		}
	}
	if best < 0 {
		if named >= 0 && len(ms) == 0 {
			return m, false, newAsk(AskOdometer, text)
		}
		return m, false, nil
	}
	x := ms[best]
	d := Distance{Value: x.fig.whole(), Unit: x.unit, Said: x.unit != ""}
	if x.fig.twoWay && named < 0 && x.unit != "" && x.fig.sep == '.' && x.fig.value < 100 && !wholeMessage(ts, x) {
		d.Value = x.fig.value
	}
	to := x.to
	if thousandK(ts, x) {
		d.Value = x.fig.value * 1000
		if x.fig.twoWay {
			d.Value = min(x.fig.value, x.fig.other) * 1000
		}
		d.Unit, d.Said = "", false
		to = x.from + 2
		if u, n := unitAt(ts, to); n > 0 && (u == Mile || u == Km) {
			d.Unit, d.Said, to = u, true, to+n
		}
	}
	if d.Unit == "" {
		for i := range ts { // "miles 48210"
			if u, n := unitAt(ts, i); n == 1 && (u == Mile || u == Km) && i < x.from && x.from-i < 4 {
				d.Unit, d.Said = u, true
			}
		}
	}
	if d.Unit == "" {
		d.Unit = ctx.distance()
	}
	if d.Value > 3e6 {
		return m, false, newAsk(AskOdometer, text)
	}
	m.Value, m.Start, m.End = d, ts[x.from].start, ts[to-1].end
	if named >= 0 && named < x.from && near(x, named) < 5 {
		m.Start = ts[named].start
	}
	m.Echo = plain(d.Value) + " " + d.Unit
	return m, true, nil
}

var englishOdometer = set("odo", "odometer", "odometre", "mileage", "milage", "odometers", "clock", "clocked", "kilometrage", "odomter", "odmeter")

func near(x measure, i int) int {
	if i < x.from {
		return x.from - i
	}
	return i - x.from
}

// alone tells whether the figure is all that the message says, fillers aside.
func alone(ts []token, x measure) bool { return wholeMessage(ts, x) && x.fig.whole() >= 100 }

func wholeMessage(ts []token, x measure) bool {
	for i, t := range ts {
		if i >= x.from && i < x.to || t.kind == line || t.kind == symbol || englishFiller[t.text] || englishLink[t.text] || t.text == "on" || t.text == "clock" {
			continue
		}
		if thousandK(ts, x) && i == x.from+1 {
			continue
		}
		return false
	}
	return true
}

// thousandK tells whether a figure is followed by "k" for a thousand.
func thousandK(ts []token, x measure) bool {
	k := at(ts, x.from+1)
	return k.text == "k" && k.glued
}

func perHour(ts []token, i int) bool {
	t := at(ts, i).text
	return (t == "/" || t == "per" || t == "an") && (at(ts, i+1).text == "h" || at(ts, i+1).text == "hour")
}

// joinThousands joins "48 210" into one figure where each part behind the first has three digits.
func joinThousands(ts []token) []token {
	out := make([]token, 0, len(ts))
	for i := 0; i < len(ts); i++ {
		t := ts[i]
		if t.kind != number || t.glued || t.num.sep != 0 || t.num.bad || t.num.spoken || t.num.fraction || len(t.text) > 3 || englishStep[at(ts, i-1).text] {
			out = append(out, t)
			continue
		}
		j, s := i, t.text
		for j+1 < len(ts) && ts[j].spaceAfter && ts[j+1].kind == number && len(ts[j+1].text) == 3 && ts[j+1].num.sep == 0 && !ts[j+1].num.spoken && !ts[j+1].num.fraction && len(s) < 9 {
			j++
			s += ts[j].text
		}
		if j > i {
			t.text, t.end, t.spaceAfter = s, ts[j].end, ts[j].spaceAfter
			t.num = figure{value: parse(s), digits: len(s)}
			i = j
		}
		out = append(out, t)
	}
	return out
}

// Stretch is one comparison of the odometer with a recorded track or mile posts, over the same way.
type Stretch struct {
	Odometer, Track float64
	Unit            string // "mi" or "km"
}

// OdometerCheck reads "odo 20.0, track 19.9", "20.0 on the odometer 19.9 gps miles".
func OdometerCheck(text string, ctx Context) (Match[Stretch], bool, *Ask) {
	var m Match[Stretch]
	ts := tokens(text)
	var odo, track []int
	for i := range ts {
		if v, _, ok := englishStretch.find(ts, i); ok {
			if v {
				odo = append(odo, i)
			} else {
				track = append(track, i)
			}
		}
	}
	if len(odo) == 0 {
		return m, false, nil
	}
	var ms []measure
	unit := ""
	for _, x := range measures(ts) {
		if x.unit != "" && x.unit != Mile && x.unit != Km {
			continue
		}
		if x.unit != "" {
			if unit != "" && unit != x.unit {
				return m, false, newAsk(AskStretch, text)
			}
			unit = x.unit
		}
		ms = append(ms, x)
	}
	if len(track) == 0 && len(ms) < 2 {
		return m, false, nil
	}
	if len(ms) != 2 || len(odo) != 1 || len(track) != 1 {
		return m, false, newAsk(AskStretch, text)
	}
	if unit == "" {
		unit = ctx.distance()
	}
	a, b := ms[0], ms[1]
	o, t := odo[0], track[0]
	odoFirst := o < t // labels and figures in the same order, whether before or behind
	if o > a.from && o < b.from && t > a.from && t < b.from {
		odoFirst = o < t
	}
	va, vb := small(a.fig), small(b.fig)
	s := Stretch{Odometer: va, Track: vb, Unit: unit}
	if !odoFirst {
		s.Odometer, s.Track = vb, va
	}
	if s.Odometer <= 0 || s.Track <= 0 || s.Odometer/s.Track > 1.3 || s.Track/s.Odometer > 1.3 {
		return m, false, newAsk(AskStretch, text)
	}
	m.Value = s
	m.Start, m.End = bounds(ts)
	m.Echo = "odometer " + plain(s.Odometer) + " track " + plain(s.Track) + " " + unit
	return m, true, nil
}

func small(f figure) float64 {
	if f.twoWay {
		return min(f.value, f.other)
	}
	return f.value
}

// englishStretch: true is the odometer, false the reference.
var englishStretch = newLexicon(false, table(
	row[bool]{true, "odo, odometer, trip, trip meter, tripmeter, trip counter, tripcounter"},
	row[bool]{false, "track, gps, recorded, phone, mile posts, mileposts, posts, markers, map, log, actual, true, satnav, sat nav, route"},
))
