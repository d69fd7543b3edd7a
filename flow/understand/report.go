package understand

import (
	"fmt"
	"milepost/calib/vin"
	"strings"
)

// Report is the answer of the understand command, in the contract's JSON.
type Report struct {
	Understood bool         `json:"understood"`
	Size       *SizeFact    `json:"size,omitempty"`
	Readings   []PairFact   `json:"readings,omitempty"`
	Stored     *StoredFact  `json:"stored,omitempty"`
	More       []StoredFact `json:"more,omitempty"` // of a value: those of further modules
	VIN        *VINFact     `json:"vin,omitempty"`
	Ask        string       `json:"ask,omitempty"`
	Code       string       `json:"code,omitempty"` // of the ask
}

// SizeFact is a size as the contract's fact.
type SizeFact struct {
	Text         string  `json:"text"`
	DiameterMM   float64 `json:"diameter_mm"`
	SectionMM    float64 `json:"section_mm,omitempty"`
	OverallIn    float64 `json:"overall_in,omitempty"`
	SectionIn    float64 `json:"section_in,omitempty"`
	Aspect       float64 `json:"aspect,omitempty"`
	RimIn        float64 `json:"rim_in,omitempty"`
	Construction string  `json:"construction,omitempty"`
	LoadIndex    string  `json:"load_index,omitempty"`
	LoadRange    string  `json:"load_range,omitempty"`
	SpeedSymbol  string  `json:"speed_symbol,omitempty"`
}

// PairFact is a reading as the contract's fact.
type PairFact struct {
	Indicated float64 `json:"indicated"`
	Reference float64 `json:"reference"`
	Unit      string  `json:"unit"`
}

// StoredFact is a stored value as the contract's fact. Value is a number, or a label for a size list.
type StoredFact struct {
	Value    any      `json:"value"`
	Unit     string   `json:"unit"`
	Quantity string   `json:"quantity"`
	Module   string   `json:"module,omitempty"`
	Step     *float64 `json:"step,omitempty"`
	Min      *float64 `json:"min,omitempty"`
	Max      *float64 `json:"max,omitempty"`
	Might    []string `json:"might,omitempty"` // of a bare figure: what it could be
}

// VINFact is a vehicle number as the contract's fact.
type VINFact struct {
	Text  string `json:"text"`
	Check string `json:"check"`
}

// Understand reads one text as KIND: size, reading, value or vin. A KIND that is none of these is an error. Unit is the
// unit to assume where the text names none: of speed for a reading; of the value (mm, rev/mile …) for a value.
func Understand(kind, text, unit string) (Report, error) {
	switch kind {
	case "size":
		return sizeReport(text), nil
	case "reading":
		switch unit {
		case "", MPH, KmH:
		default:
			return Report{}, fmt.Errorf("understand reading: unit %q: want mph or km/h", unit)
		}
		ms, ask := Readings(text, Context{SpeedUnit: unit})
		if ask != nil || len(ms) == 0 {
			return refuse(ask), nil
		}
		r := Report{Understood: true}
		for _, m := range ms {
			r.Readings = append(r.Readings, PairFact{m.Value.Indicated, m.Value.Reference, m.Value.Unit})
		}
		return r, nil
	case "value":
		return valueReport(text, unit)
	case "vin":
		v, ask := AnyVIN(text)
		if ask != nil && v.Problem != vin.CheckMismatch && v.Problem != vin.AllSame {
			return refuse(ask), nil
		}
		if ask != nil { // read, and doubted: both are told
			return Report{Understood: true, VIN: &VINFact{v.Text, string(v.Check)}, Ask: ask.Text(), Code: ask.Code}, nil
		}
		return Report{Understood: true, VIN: &VINFact{v.Text, string(v.Check)}}, nil
	}
	return Report{}, fmt.Errorf("understand: kind %q: want size, reading, value or vin", kind)
}

func refuse(ask *Ask) Report { return Report{Ask: ask.Text(), Code: ask.Code} }

func sizeReport(text string) Report {
	ms, ask := Sizes(text)
	if ask != nil {
		return refuse(ask)
	}
	if len(ms) != 1 {
		return refuse(newAsk("size_several", text))
	}
	f := Fact(ms[0].Value.Size)
	return Report{Understood: true, Size: &f}
}

// bareAsk asks for the unit of a bare figure, naming what it could be.
func bareAsk(s Stored) *Ask {
	v := plain(s.Typed)
	if len(s.Might) == 0 {
		return newAsk(AskValueUnit, v, "value", v, "might", "mm, rev/mile, %")
	}
	list := make([]string, min(3, len(s.Might)))
	for i := range list {
		list[i] = mightWords(s.Might[i])
	}
	return newAsk(AskValueUnit, v, "value", v, "might", strings.Join(list, ", "))
}

// mightWords says what a bare figure could be: a unit that names its quantity
// stands alone, a length with the word for it.
func mightWords(might string) string {
	quantity, unit, _ := strings.Cut(might, " ")
	switch {
	case unit == "":
		return strings.ReplaceAll(quantity, "_", " ")
	case quantity == Circumference || quantity == Diameter || quantity == Radius:
		if unit == Inch {
			unit = "inch" // "in" reads as a word
		}
		return unit + " " + quantity
	}
	return unit
}

func valueReport(text, unit string) (Report, error) {
	ms, ask := StoredValues(text, Context{})
	if ask != nil {
		return refuse(ask), nil
	}
	if unit == MPH || unit == KmH { // the unit of the dash says nothing of a stored value
		unit = ""
	}
	if unit != "" && !ms[0].Value.Known() {
		if _, ok := englishUnits.phrases[unit]; !ok && unit != revMile && unit != revKm && unit != pulseMile && unit != pulseKm && unit != percent && unit != "" {
			return Report{}, fmt.Errorf("understand value: unit %q: want mm, cm, m, in, rev/mile, rev/km, pulses/mile, pulses/km or %%", unit)
		}
		again, ask := StoredValues(plain(ms[0].Value.Typed)+" "+unit, Context{})
		if ask != nil {
			return refuse(ask), nil
		}
		again[0].Value.Module, again[0].Value.Limits = ms[0].Value.Module, ms[0].Value.Limits
		ms[0] = again[0]
	}
	if !ms[0].Value.Known() { // a bare figure is no value yet
		return refuse(bareAsk(ms[0].Value)), nil
	}
	r := Report{Understood: true}
	for i, m := range ms {
		f := StoredFact{Value: m.Value.Value, Unit: m.Value.Unit, Quantity: m.Value.Quantity, Module: m.Value.Module,
			Step: m.Value.Limits.Step, Min: m.Value.Limits.Min, Max: m.Value.Limits.Max, Might: m.Value.Might}
		if m.Value.Label != "" {
			f.Value, f.Unit = m.Value.Label, MM
		}
		if i == 0 {
			r.Stored = &f
		} else {
			r.More = append(r.More, f)
		}
	}
	return r, nil
}
