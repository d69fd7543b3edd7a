package understand

// PublishedRevs reads the tyre maker's revolutions per mile or km: "620 revs/mile from the maker". The result is per
// mile; the bare unit "revs" is asked about.
func PublishedRevs(text string) (Match[float64], bool, *Ask) {
	var m Match[float64]
	ts := tokens(maskSizes(text))
	for _, x := range measures(ts) {
		if x.fig.bad {
			continue
		}
		u := x.unit
		if u == "" {
			u = looseUnit(ts, x)
		}
		v := x.fig.value
		said := text[ts[x.from].start:ts[x.to-1].end]
		switch u {
		case revMile, revKm:
			typed := plain(v) + " " + u
			if u == revKm {
				v *= 1.609344
			}
			if v < 250 || v > 1700 {
				return m, false, newAsk(AskRevs, said, "value", plain(x.fig.value))
			}
			m.Value, m.Start, m.End, m.Echo = v, ts[x.from].start, ts[x.to-1].end, typed
			return m, true, nil
		case rpm, revsOfWhat:
			return m, false, newAsk(AskValueRevs, said, "value", plain(v)).offer(plain(v) + " rev/mile")
		}
	}
	return m, false, nil
}

// Rollouts reads a measured rolling circumference in mm, wheel loaded: "rolled 5 turns 12.87 m", "rollout 2575",
// "one turn 2575 mm", "8 ft 5 3/8 in in one turn".
func Rollouts(text string) (Match[float64], bool, *Ask) {
	var m Match[float64]
	ts := joinThousands(tokens(maskSizes(text)))
	named := false
	start := -1
	for i := range ts {
		if englishRollout[ts[i].text] {
			named = true
			if start < 0 {
				start = i
			}
		}
	}
	turns, length := 0.0, 0.0
	var typed *measure
	got := unused
	ms := measures(ts)
	for i := 0; i < len(ms); i++ {
		x := ms[i]
		switch x.unit {
		case turn, revsOfWhat:
			if turns > 0 {
				return m, false, newAsk(AskRollout, text)
			}
			turns = x.fig.value
			got.cover(x.from, x.to)
		case MM, CM, M, Inch, feet:
			v := lengthOf(x)
			end := x.to
			if x.unit == feet && i+1 < len(ms) && ms[i+1].from-x.to <= 1 && (ms[i+1].unit == Inch || ms[i+1].unit == "") {
				v += ms[i+1].fig.value * 25.4
				end = ms[i+1].to
				i++
			}
			if length > 0 {
				return m, false, newAsk(AskRollout, text)
			}
			length = v
			got.cover(x.from, end)
		case "":
			if named && typed == nil && !x.fig.bad {
				typed = &ms[i]
			}
		}
	}
	if turns > 0 && !named {
		for i := range ts {
			if englishRolled[ts[i].text] {
				named = true
			}
		}
		named = named || length > 0
	}
	if !named || turns == 0 && length == 0 && typed == nil {
		if named && start >= 0 && (ts[start].text == "rollout" || ts[start].text == "rolled") {
			return m, false, newAsk(AskRollout, text)
		}
		return m, false, nil
	}
	if length == 0 && typed != nil {
		switch v := typed.fig.whole(); {
		case v >= 1300 && turns <= 1 || turns > 1 && v/turns >= 1300:
			length = v // mm
		case turns > 1 && small(typed.fig)/turns >= 1.3 && small(typed.fig)/turns <= 4.2:
			length = small(typed.fig) * 1000
		default:
			return m, false, newAsk(AskRollout, text)
		}
		got.cover(typed.from, typed.to)
	}
	if turns == 0 {
		turns = 1
	}
	one := length / turns
	if one < 1000 || one > 4500 || turns < 1 || turns > 100 {
		return m, false, newAsk(AskRollout, text)
	}
	if start >= 0 {
		got.cover(start, start+1)
	}
	m.Value = round6(one)
	m.Start, m.End = got.span(ts)
	m.Echo = "rollout " + plain(m.Value) + " mm"
	return m, true, nil
}

func lengthOf(x measure) float64 {
	v := x.fig.value
	if x.unit == feet {
		return v * 304.8
	}
	f := toMM[x.unit]
	if x.fig.twoWay {
		if x.unit == M {
			v = small(x.fig)
		} else if x.unit == MM {
			v = x.fig.whole()
		}
	}
	return v * f
}

var englishRollout = set("rollout", "rollouts", "rolled", "roll", "rolling", "chalk", "tape", "taped", "measured")

var englishRolled = set("rolled", "rollout", "chalk", "tape", "pushed", "measured", "marked", "wheel")
