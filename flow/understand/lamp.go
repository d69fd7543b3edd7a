package understand

import (
	"slices"
	"strings"
)

// Lamp is one warning lamp.
type Lamp struct {
	Category string // engine, brake, stability, steering, airbag, tyre_pressure, battery, oil, temperature, gearbox, other
	Words    string // as typed, cleaned
}

// Safety tells whether a road drive waits until someone qualified has looked: brake, stability, steering, airbag.
func (l Lamp) Safety() bool {
	switch l.Category {
	case LampBrake, LampStability, LampSteering, LampAirbag:
		return true
	}
	return false
}

// Lamps of a dash, as categories.
const (
	LampEngine       = "engine"
	LampBrake        = "brake"
	LampStability    = "stability"
	LampSteering     = "steering"
	LampAirbag       = "airbag"
	LampTyrePressure = "tyre_pressure"
	LampBattery      = "battery"
	LampOil          = "oil"
	LampTemperature  = "temperature"
	LampGearbox      = "gearbox"
	LampOther        = "other"

	notLamp = "" // words that tell of a supply
)

// LampReport is what was said of warning lamps.
type LampReport struct {
	None bool
	List []Lamp
}

// Lamps reads "no lamps", "engine light on", "abs and traction lights". A name counts only beside a word for lamp, "on" or
// "lit", or where the whole message is names; a lamp without a name is asked about, one with another name is kept as typed.
func Lamps(text string) (Match[LampReport], bool, *Ask) {
	var m Match[LampReport]
	ts := tokens(text)
	var out []Lamp
	got := unused
	none := englishNoLamps.all(ts)
	names := slices.DeleteFunc(englishLamps.all(ts), func(p phrase[string]) bool { return p.value == notLamp })
	gone := make([]bool, len(ts))
	for _, p := range none {
		for i := p.from; i < p.to; i++ {
			gone[i] = true
		}
	}
	lit := false // a word that says lamps are on
	for i, t := range ts {
		if !gone[i] && (englishLampWord[t.text] || englishLit[t.text]) || t.text == "except" || t.text == "apart" || t.text == "only" {
			lit = true
		}
	}
	onlyNames := true
	cursor := 0
	for _, t := range ts {
		inName := false
		for _, p := range names {
			inName = inName || cursor >= p.from && cursor < p.to
		}
		if !inName && t.kind == word && !englishFiller[t.text] && !englishLampGlue[t.text] && !englishLampWord[t.text] && !englishLit[t.text] {
			onlyNames = false
		}
		if t.kind == number {
			onlyNames = false
		}
		cursor++
	}
	seen := map[string]bool{}
	for _, p := range names {
		if gone[p.from] || !lit && !onlyNames || negated(ts, p.from) || off(ts, p.to) {
			continue
		}
		if !beside(ts, p.from, p.to) && !onlyNames && !excepted(ts, p.from) {
			continue
		}
		w := cleanWords(text[ts[p.from].start:ts[p.to-1].end])
		if !seen[p.value] {
			seen[p.value] = true
			out = append(out, Lamp{p.value, w})
		}
		got.cover(p.from, p.to)
	}
	if len(out) == 0 {
		if other, a, b, ok := otherLamp(text, ts, gone); ok {
			out = append(out, Lamp{LampOther, other})
			got.cover(a, b)
		}
	}
	switch {
	case len(out) > 0:
		var e []string
		for _, l := range out {
			if l.Category == LampOther {
				e = append(e, l.Words+" lamp on")
			} else {
				e = append(e, englishLampEcho[l.Category]+" lamp on")
			}
		}
		m.Echo = strings.Join(e, ", ")
	case len(none) > 0:
		m.Value.None = true
		got.cover(none[0].from, none[0].to)
		m.Echo = "no lamps"
	default:
		for i, t := range ts {
			if englishLampWord[t.text] && !gone[i] && !negated(ts, i) && !off(ts, i+1) {
				return m, false, newAsk(AskLamps, text)
			}
		}
		return m, false, nil
	}
	m.Value.List = out
	m.Start, m.End = got.span(ts)
	return m, true, nil
}

// negated tells whether "no" stands before a name: "no abs light".
func negated(ts []token, i int) bool {
	for j := i - 1; j >= 0 && j >= i-5; j-- {
		if ts[j].kind == symbol && (ts[j].text == "," || ts[j].text == ".") {
			return j >= 1 && lampList(ts, j) && negated(ts, j)
		}
		switch ts[j].text {
		case "no", "without", "not", "isnt", "neither":
			return true
		case "but", "only", "except", "just", "apart", "besides":
			return false
		}
	}
	return false
}

// lampList tells whether a comma stands inside a list of names: the word before it is one.
func lampList(ts []token, i int) bool {
	_, _, ok := englishLamps.find(ts, i-1)
	return ok
}

// excepted tells whether "except", "apart from" or "only" leads to a name.
func excepted(ts []token, i int) bool {
	for j := i - 1; j >= 0 && j >= i-4; j-- {
		switch ts[j].text {
		case "except", "apart", "only", "but", "besides":
			return true
		}
	}
	return false
}

// off tells whether a lamp is said to be out: "abs light off", "airbag light is out".
func off(ts []token, i int) bool {
	for j := i; j < len(ts) && j < i+4; j++ {
		switch ts[j].text {
		case "off", "out", "gone", "went":
			return true
		}
		if ts[j].kind != word {
			return false
		}
	}
	return false
}

// beside tells whether a word for lamp or lit stands near a name, or another name that does.
func beside(ts []token, from, to int) bool {
	for j := to; j < len(ts) && j < to+7; j++ {
		t := ts[j]
		if englishLampWord[t.text] || englishLit[t.text] {
			return true
		}
		if t.kind == line || t.text == ";" || t.text == "." {
			break
		}
	}
	for j := from - 1; j >= 0 && j >= from-4; j-- {
		if englishLampWord[ts[j].text] {
			return true
		}
		if ts[j].kind == line || ts[j].text == ";" || ts[j].text == "." {
			break
		}
	}
	return false
}

// otherLamp keeps the words before "light" or "lamp" where they name none of the known.
func otherLamp(text string, ts []token, gone []bool) (string, int, int, bool) {
	for i, t := range ts {
		if !englishLampWord[t.text] || gone[i] || negated(ts, i) || off(ts, i+1) {
			continue
		}
		j := i
		for j > 0 && i-j < 3 && ts[j-1].kind == word && !englishLampGlue[ts[j-1].text] && !englishFiller[ts[j-1].text] && !englishLit[ts[j-1].text] {
			j--
		}
		if j < i {
			return cleanWords(text[ts[j].start:ts[i-1].end]), j, i + 1, true
		}
	}
	return "", 0, 0, false
}

func cleanWords(s string) string { return shorten(s) }

var englishLampWord = set("lamp", "lamps", "light", "lights", "warning", "warnings", "telltale", "telltales", "symbol", "indicator", "idiot")

var englishLit = set("on", "lit", "flashing", "glowing", "came", "up", "blinking", "showing", "shows", "burning", "shining", "stays")

var englishLampGlue = set("and", "the", "a", "an", "on", "is", "are", "with", "or", "both", "also", "still", "only", "just", "plus", "one", "there", "has", "have", "came", "come", "up", "new", "my", "its", "was", "some", "in", "dash", "of", "yes", "stays", "any", "got", "i", "we", "now", "this", "that", "all", "but", "amber", "red", "yellow", "orange")

var englishLamps = newLexicon(true, table(
	row[string]{LampEngine, "engine, check engine, engine management, mil, cel, check engine light, motor, emissions, eml"},
	row[string]{LampBrake, "abs, brake, brakes, brake pad, handbrake, parking brake, antilock, anti lock, park brake"},
	row[string]{LampStability, "stability, esc, esp, dsc, vsc, vdc, traction, traction control, stability control, tcs, asr, skid, slip, squiggly car, car with squiggly lines, skidding car"},
	row[string]{LampSteering, "steering, eps, power steering, steering wheel, steer"},
	row[string]{LampAirbag, "airbag, air bag, airbags, srs, restraint"},
	row[string]{LampTyrePressure, "tyre pressure, tire pressure, tpms, tyre, tire, flat tyre, flat tire, tyres, tires, tyre pressures"},
	row[string]{LampBattery, "battery, charging, charge, alternator, charger light, charger lamp"},
	row[string]{notLamp, "charger, chargers, battery charger, battery supply, battery support, battery support unit, battery maintainer, battery voltage, battery volts, battery on charge, on charge"},
	row[string]{LampOil, "oil, oil pressure, oil can"},
	row[string]{LampTemperature, "temperature, temp, coolant, overheating"},
	row[string]{LampGearbox, "gearbox, transmission, trans, at oil"},
))

var englishLampEcho = map[string]string{LampEngine: "engine", LampBrake: "brake", LampStability: "stability", LampSteering: "steering", LampAirbag: "airbag",
	LampTyrePressure: "tyre pressure", LampBattery: "battery", LampOil: "oil", LampTemperature: "temperature", LampGearbox: "gearbox"}

var englishNoLamps = newLexicon(false, table(
	row[bool]{true, "no lamps, no lamp, no lights, no light, no warning lights, no warning lamps, no warnings, no warning light, lamps none, lights none, no lights on, no lamps on, lamps off, lights off, all lamps off, all lights off, all off, lamps are off, lights are off, none, nothing, nil, all clear, no dash lights, no new lamps, no new lights, no codes or lamps, no lamps or codes, no codes or lights, no lights or codes, no codes no lamps, no lamps no codes, zero lamps, nothing lit, nothing on, none lit, none on, lights all out, lamps all out, neither, no telltales, no codes and lamps, no lamps and codes, clear, lamps clear"},
))
