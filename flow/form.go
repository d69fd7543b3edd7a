package flow

import (
	"math"
	"regexp"
	"strings"

	"milepost/flow/understand"
)

// A network may show a form where several figures are asked for at once. What is
// entered becomes the text that would have been typed, and the readers of typed
// text look at it before it is sent: what they can't take is said at its field, in
// their words, while what was entered is still there. Faults are by field.

// SpeedUnit is the unit of a job's dash: mph or km/h.
func SpeedUnit(s *State, p Policy) string {
	if u := s.Value(QUnits); u != "" {
		return u
	}
	return p.Sound().Speed
}

// Fields of the forms below.
const (
	FieldDash    = "dash"
	FieldGPS     = "gps"
	FieldValue   = "value"
	FieldStep    = "step"
	FieldLowest  = "lowest"
	FieldHighest = "highest"
	FieldNew     = "new"
	FieldNow     = "now"
)

type faults map[string]string

func (f faults) ask(field, code, said string) {
	f[field] = (&understand.Ask{Code: code, Said: said}).Text()
}

// FormPair is one reading: dash and GPS, both entered. speed is the dash's unit,
// "" where it is not known. What the two make together but for doubt ("61 by the
// dash and 104 by GPS" are of two units, it seems) is left to the conversation.
func FormPair(dash, gps, speed string) (text string, wrong map[string]string) {
	f := faults{}
	a, okA := understand.Entered(dash)
	b, okB := understand.Entered(gps)
	if !okA {
		f.ask(FieldDash, understand.AskReadingNumber, dash)
	}
	if !okB {
		f.ask(FieldGPS, understand.AskReadingNumber, gps)
	}
	if !okA || !okB {
		return "", f
	}
	text = a.Text("") + " " + b.Text("")
	units := []string{speed}
	if speed == "" {
		units = []string{understand.MPH, understand.KmH} // it may be either: what both refuse is wrong
	}
	var ask *understand.Ask
	for _, u := range units {
		var ms []understand.Match[understand.Reading]
		if ms, ask = understand.Readings(text, understand.Context{SpeedUnit: u}); ask != nil && ask.Code == understand.AskReadingUnits {
			return text, nil
		}
		if ask == nil && len(ms) == 1 && ms[0].Value.Indicated == a.Value && ms[0].Value.Reference == b.Value {
			return text, nil
		}
	}
	switch {
	case ask == nil:
		f.ask(FieldDash, understand.AskReadingNumber, text)
	case ask.Code == understand.AskReadingRange:
		for _, x := range []struct {
			field string
			e     understand.Entry
		}{{FieldDash, a}, {FieldGPS, b}} {
			if !understand.IsSpeed(x.e.Value, x.e.Kind, units[len(units)-1]) {
				f[x.field] = ask.Text()
			}
		}
	}
	if len(f) == 0 {
		f[FieldDash] = ask.Text()
	}
	return "", f
}

// FormValue is a stored value: the figure; what it is, in words such as "mm
// circumference", "" where that is not known; and step and limits, each "" where
// not entered. Limits come both or not at all.
func FormValue(value, what, step, lowest, highest string) (text string, wrong map[string]string) {
	f := faults{}
	kind, _ := understand.Entered("1 " + firstWord(what))
	entry := func(field, said, code string, least float64) (understand.Entry, bool) {
		e, ok := understand.Entered(said)
		switch {
		case said == "":
			return e, false
		case !ok || e.Value < least || least > 0 && e.Value == 0:
			f.ask(field, code, said)
			return e, false
		case what != "" && e.Kind != "" && e.Kind != kind.Kind && e.Kind != understand.RatioTo1:
			f.ask(field, understand.AskValueQuantity, said) // of another unit than is said of the value
			return e, false
		}
		return e, true
	}
	const more = math.SmallestNonzeroFloat64 // above zero
	v, ok := entry(FieldValue, value, understand.AskValueNumber, more)
	if !ok && f[FieldValue] == "" {
		f.ask(FieldValue, understand.AskValueNumber, value)
	}
	parts := []string{strings.TrimSpace(v.Figure + " " + what)}
	if what == "" {
		parts[0] = v.Text("")
	}
	st, stepped := entry(FieldStep, step, understand.AskStep, more)
	if stepped {
		parts = append(parts, "step "+st.Figure)
	}
	low, ok1 := entry(FieldLowest, lowest, understand.AskValueNumber, 0)
	high, ok2 := entry(FieldHighest, highest, understand.AskValueNumber, more)
	if ok1 && ok2 {
		span := low.Figure + " to " + high.Figure
		if high.Value == 1 {
			span = "min " + low.Figure + ", max 1" // "to 1" is a ratio's
		}
		parts = append(parts, span)
		if low.Value >= high.Value {
			ask := understand.Ask{Code: understand.AskLimits, Args: map[string]string{"min": low.Figure, "max": high.Figure}}
			f[FieldLowest], f[FieldHighest] = ask.Text(), ask.Text()
		}
	}
	if len(f) > 0 {
		return "", f
	}
	text = strings.Join(parts, ", ")
	ms, ask := understand.StoredValues(text, understand.Context{})
	if ask != nil || len(ms) != 1 {
		if ask == nil {
			ask = &understand.Ask{Code: understand.AskValueSeveral, Said: text}
		}
		field := FieldValue
		if ask.Code == understand.AskStep {
			field = FieldStep
		}
		f[field] = ask.Text()
		return "", f
	}
	s := ms[0].Value
	reads := func(field string, said understand.Entry, given bool, got *float64) {
		if in := said.Value * s.Value / s.Typed; given && (got == nil || math.Abs(*got-in) > 1e-5*math.Max(1, in)) {
			f.ask(field, understand.AskValueNumber, said.Text(""))
		}
	}
	reads(FieldStep, st, stepped, s.Limits.Step)
	reads(FieldLowest, low, ok1 && ok2, s.Limits.Min)
	reads(FieldHighest, high, ok1 && ok2, s.Limits.Max)
	if len(f) > 0 {
		return "", f
	}
	return text, nil
}

func firstWord(s string) string {
	w, _, _ := strings.Cut(s, " ")
	return w
}

// FormTread is the depth of tread, new and now, in mm where no unit is entered.
func FormTread(whenNew, now string) (text string, wrong map[string]string) {
	f := faults{}
	var parts [2]string
	for i, x := range []struct{ field, said, when string }{{FieldNew, whenNew, " new"}, {FieldNow, now, " now"}} {
		e, ok := understand.Entered(x.said)
		parts[i] = e.Text("mm") + x.when
		if _, reads, ask := understand.Treads(parts[i]); !ok || !reads || ask != nil {
			f.ask(x.field, understand.AskTread, x.said)
		}
	}
	if len(f) > 0 {
		return "", f
	}
	text = parts[0] + ", " + parts[1]
	if _, ok, ask := understand.Treads(text); ask != nil {
		f[FieldNow] = ask.Text()
		return "", f
	} else if !ok {
		f.ask(FieldNew, understand.AskTread, text)
		return "", f
	}
	return text, nil
}

// FormSize is a tyre size, and nothing else. wrong is "" where it is one.
func FormSize(text string) (wrong string) {
	ms, ask := understand.Sizes(text)
	if len(ms) == 0 {
		return ask.Text()
	}
	if len(ms) > 1 || wordPattern.MatchString(understand.MaskAll(text, ms)) {
		return (&understand.Ask{Code: understand.AskSizeAlone, Said: text, Args: map[string]string{"size": ms[0].Value.Size.Text}}).Text()
	}
	return ""
}

var wordPattern = regexp.MustCompile(`[\p{L}\p{N}]`)
