package slack

import (
	"fmt"
	"maps"
	"strconv"
	"strings"

	api "github.com/slack-go/slack"

	"milepost/flow"
)

// form is what a form asks for and how its answers read when typed.
type form struct {
	title  string
	fields []field
	read   func(speed string, got, errs map[string]string) []string // speed: the dash's unit
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

const (
	formPairs = 5  // pairs of readings in one form
	maxSize   = 60 // letters of a size
)

// What a tool's value can be: "%s" is the figure.
var quantities = []option{
	{"circumference, mm", "%s mm circumference"}, {"circumference, inch", "%s inch circumference"},
	{"diameter, mm", "%s mm diameter"}, {"diameter, inch", "%s inch diameter"},
	{"revolutions per mile", "%s rev/mile"}, {"revolutions per km", "%s rev/km"},
	{"pulses per mile", "%s pulses/mile"}, {"pulses per km", "%s pulses/km"}, {"axle ratio", "%s axle ratio"},
}

// forms are all there are, for a dash of that unit; "": not known.
func forms(speed string) map[string]form {
	in := ""
	if speed != "" {
		in = ", " + speed
	}
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
		readings.fields = append(readings.fields, field{id: "dash" + strconv.Itoa(i), label: fmt.Sprintf(sayDash, i) + in, kind: number},
			field{id: "gps" + strconv.Itoa(i), label: fmt.Sprintf(sayGPS, i) + in, kind: number})
	}
	readings.fields = append(readings.fields, field{id: "parked", label: sayParkedAsk, kind: tick, options: []option{{sayParked, "parked"}}})
	return map[string]form{
		formReadings: readings,
		formFitted: {title: sayFitted, read: readFitted, fields: []field{size,
			{id: "new", label: sayTreadNew, kind: number, example: "12"}, {id: "now", label: sayTreadNow, kind: number, example: "12"},
			{id: "pressure", label: sayPressure, kind: choice, options: []option{{"as on the placard", "placard pressure"}}},
			{id: "gears", label: sayGears, kind: choice, options: []option{{"unchanged", "gears unchanged"}, {"changed", "gears changed"}}}}},
		formPlacard: {title: sayPlacard, fields: append([]field{size}, value...), read: func(_ string, got, errs map[string]string) []string {
			return one(readSize(got, errs), readValue(got, errs))
		}},
		formStored: {title: sayStored, fields: value, read: func(_ string, got, errs map[string]string) []string { return one(readValue(got, errs)) }},
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
		p.MaxLength, p.FocusOnLoad = maxSize, first
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

func readReadings(speed string, got, errs map[string]string) []string {
	var pairs []string
	for i := 1; i <= formPairs; i++ {
		dash, gps := flow.FieldDash+strconv.Itoa(i), flow.FieldGPS+strconv.Itoa(i)
		switch {
		case got[dash] == "" && got[gps] == "":
		case got[dash] == "":
			errs[dash] = sayPairHalf
		case got[gps] == "":
			errs[gps] = sayPairHalf
		default:
			text, wrong := flow.FormPair(got[dash], got[gps], speed)
			for field, why := range wrong {
				errs[field+strconv.Itoa(i)] = why
			}
			pairs = append(pairs, text)
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

func readFitted(_ string, got, errs map[string]string) []string {
	parts := []string{readSize(got, errs)}
	if both(got, errs, flow.FieldNew, flow.FieldNow) {
		text, wrong := flow.FormTread(got[flow.FieldNew], got[flow.FieldNow])
		maps.Copy(errs, wrong)
		parts = append(parts, text)
	}
	return one(append(parts, got["pressure"], got["gears"])...)
}

func readSize(got, errs map[string]string) string {
	s := oneLine(got["size"])
	if length(s) > maxSize {
		errs["size"] = saySize
	} else if why := flow.FormSize(s); why != "" {
		errs["size"] = why
	}
	return s
}

func readValue(got, errs map[string]string) string {
	low, high := got[flow.FieldLowest], got[flow.FieldHighest]
	if !both(got, errs, flow.FieldLowest, flow.FieldHighest) {
		low, high = "", ""
	}
	text, wrong := flow.FormValue(got[flow.FieldValue], whatOf(got["unit"]), got[flow.FieldStep], low, high)
	maps.Copy(errs, wrong)
	return text
}

// both says whether two fields that belong together are filled in. Where only one
// is, the other's error says so.
func both(got, errs map[string]string, a, b string) bool {
	for _, x := range [][2]string{{a, b}, {b, a}} {
		if got[x[0]] == "" && got[x[1]] != "" {
			errs[x[0]] = sayBoth
		}
	}
	return got[a] != "" && got[b] != ""
}

// whatOf is what a value is said to be, in words; what is none of ours is left
// away.
func whatOf(typed string) string {
	for _, q := range quantities {
		if q.typed == typed {
			return strings.TrimPrefix(typed, "%s ")
		}
	}
	return ""
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
