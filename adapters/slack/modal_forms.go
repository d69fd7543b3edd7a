package slack

import (
	"fmt"
	"strconv"
	"strings"

	api "github.com/slack-go/slack"
)

// form is what a form asks for and how its answers read when typed.
type form struct {
	title  string
	fields []field
	read   func(got, errs map[string]string) []string
}

// field is one thing to be filled in.
type field struct {
	id, label string
	kind      fieldKind
	need      bool
	example   string
	options   []option // of a choice
}

type fieldKind int

const (
	number fieldKind = iota
	text
	choice
	tick
)

// option is one of several: what it is called, and what is typed for it.
type option struct{ label, typed string }

// pairs of readings in one form.
const formPairs = 5

// What a tool's value can be: "%s" is the figure.
var quantities = []option{
	{"circumference, mm", "%s mm circumference"}, {"circumference, inch", "%s inch circumference"},
	{"diameter, mm", "%s mm diameter"}, {"diameter, inch", "%s inch diameter"},
	{"revolutions per mile", "%s rev/mile"}, {"revolutions per km", "%s rev/km"},
	{"pulses per mile", "%s pulses/mile"}, {"pulses per km", "%s pulses/km"}, {"axle ratio", "%s axle ratio"},
}

func forms() map[string]form {
	size := field{id: "size", label: saySizeLabel, kind: text, need: true, example: "265/70R17 121/118S"}
	value := []field{
		{id: "value", label: sayValue, kind: number, need: true, example: "2438"},
		{id: "unit", label: sayUnit, kind: choice, need: true, options: quantities},
		{id: "step", label: sayStep, kind: number, example: "1"},
		{id: "lowest", label: sayLowest, kind: number, example: "1500"},
		{id: "highest", label: sayHighest, kind: number, example: "3000"},
	}
	readings := form{title: sayReadings, read: readReadings}
	for i := 1; i <= formPairs; i++ {
		readings.fields = append(readings.fields, field{id: "dash" + strconv.Itoa(i), label: fmt.Sprintf(sayDash, i), kind: number},
			field{id: "gps" + strconv.Itoa(i), label: fmt.Sprintf(sayGPS, i), kind: number})
	}
	readings.fields = append(readings.fields, field{id: "parked", label: sayParkedAsk, kind: tick, options: []option{{sayParked, "parked"}}})
	return map[string]form{
		formReadings: readings,
		formFitted: {title: sayFitted, read: readFitted, fields: []field{size,
			{id: "new", label: sayTreadNew, kind: number, example: "12"}, {id: "now", label: sayTreadNow, kind: number, example: "12"},
			{id: "pressure", label: sayPressure, kind: choice, options: []option{{"as on the placard", "placard pressure"}}},
			{id: "gears", label: sayGears, kind: choice, options: []option{{"unchanged", "gears unchanged"}, {"changed", "gears changed"}}}}},
		formPlacard: {title: sayPlacard, fields: append([]field{size}, value...), read: func(got, errs map[string]string) []string {
			return one(readSize(got, errs), readValue(got, errs))
		}},
		formStored: {title: sayStored, fields: value, read: func(got, errs map[string]string) []string { return one(readValue(got, errs)) }},
	}
}

// block is a field as Slack shows it.
func (f field) block(first bool) api.Block {
	var e api.BlockElement
	var hold *api.TextBlockObject
	if f.example != "" {
		hold = plain(f.example, 150)
	}
	switch f.kind {
	case number:
		n := api.NewNumberInputBlockElement(hold, f.id, true)
		n.FocusOnLoad = first
		e = n
	case text:
		p := api.NewPlainTextInputBlockElement(hold, f.id)
		p.MaxLength, p.FocusOnLoad = 60, first
		e = p
	case choice:
		e = api.NewOptionsSelectBlockElement(api.OptTypeStatic, plain(f.label, 150), f.id, f.objects()...)
	case tick:
		e = api.NewCheckboxGroupsBlockElement(f.id, f.objects()...)
	}
	b := api.NewInputBlock(f.id, plain(f.label, 2000), nil, e)
	b.Optional = !f.need
	return b
}

func (f field) objects() []*api.OptionBlockObject {
	list := make([]*api.OptionBlockObject, len(f.options))
	for i, o := range f.options {
		list[i] = api.NewOptionBlockObject(o.typed, plain(o.label, 75), nil)
	}
	return list
}

func readReadings(got, errs map[string]string) []string {
	var pairs []string
	for i := 1; i <= formPairs; i++ {
		dash, gps := "dash"+strconv.Itoa(i), "gps"+strconv.Itoa(i)
		a, b := figure(got, dash, "61", errs), figure(got, gps, "65", errs)
		switch {
		case got[dash] == "" && got[gps] == "":
		case got[dash] == "":
			errs[dash] = sayPairHalf
		case got[gps] == "":
			errs[gps] = sayPairHalf
		default:
			pairs = append(pairs, a+" "+b)
		}
	}
	texts := one(strings.Join(pairs, ", "))
	if got["parked"] != "" {
		texts = append(texts, got["parked"])
	}
	if len(texts) == 0 && len(errs) == 0 {
		errs["dash1"] = sayPairNone
	}
	return texts
}

func readFitted(got, errs map[string]string) []string {
	parts := []string{readSize(got, errs)}
	a, b := figure(got, "new", "12", errs), figure(got, "now", "11", errs)
	switch {
	case a == "" && b == "":
	case a == "":
		errs["new"] = fmt.Sprintf(sayNumber, "12")
	case b == "":
		errs["now"] = fmt.Sprintf(sayNumber, "11")
	default:
		parts = append(parts, a+" mm new, "+b+" mm now")
	}
	return one(append(parts, got["pressure"], got["gears"])...)
}

func readSize(got, errs map[string]string) string {
	s := oneLine(got["size"])
	if !strings.ContainsAny(s, "0123456789") || length(s) > 60 {
		errs["size"] = saySize
	}
	return s
}

func readValue(got, errs map[string]string) string {
	v := figure(got, "value", "2438", errs)
	if v == "" && errs["value"] == "" {
		errs["value"] = fmt.Sprintf(sayNumber, "2438")
	}
	parts := []string{fmt.Sprintf(unitOf(got["unit"]), v)}
	if s := figure(got, "step", "1", errs); s != "" {
		parts = append(parts, "step "+s)
	}
	low, high := figure(got, "lowest", "1500", errs), figure(got, "highest", "3000", errs)
	switch {
	case low == "" && high == "":
	case low == "":
		errs["lowest"] = fmt.Sprintf(sayNumber, "1500")
	case high == "":
		errs["highest"] = fmt.Sprintf(sayNumber, "3000")
	default:
		parts = append(parts, low+" to "+high)
	}
	return strings.Join(parts, ", ")
}

// unitOf is the pattern of a quantity; one that is none of ours is left away.
func unitOf(typed string) string {
	for _, q := range quantities {
		if q.typed == typed {
			return typed
		}
	}
	return "%s"
}

// figure is a number above 0 as it is typed, "" if there is none. Slack gives a
// number input's value with a point, whatever the person's language.
func figure(got map[string]string, id, example string, errs map[string]string) string {
	s := got[id]
	if s == "" {
		return ""
	}
	v, err := strconv.ParseFloat(s, 64)
	if err != nil || !(v > 0 && v < 1e7) || len(s) > 20 {
		errs[id] = fmt.Sprintf(sayNumber, example)
		return ""
	}
	return strconv.FormatFloat(v, 'f', -1, 64)
}

// one joins what is there to one text.
func one(parts ...string) []string {
	var list []string
	for _, p := range parts {
		if p != "" {
			list = append(list, p)
		}
	}
	if len(list) == 0 {
		return nil
	}
	return []string{strings.Join(list, ", ")}
}
