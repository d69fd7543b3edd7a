package calib

import (
	"errors"
	"fmt"
	"math"
	"sort"

	"milepost/calib/tyre"
	"milepost/calib/unit"
)

// The factor f = S0/(π·D0) of section 2, check 1.
const (
	factorLow     = 0.945 // section 2, 1
	factorHigh    = 0.990 // section 2, 1
	factorTypical = 0.966 // section 1 and 3
)

// flotationShrink: flotation sizes measure under their name (section 3, common practice).
const flotationShrink = 0.988

// EntryFit is one way of reading a number under which it belongs to the placard size.
type EntryFit struct {
	Kind            Kind    // what the number would be
	Unit            string  // in which it would be: "mm", "cm", "in", "rev/mile", "rev/km"
	Value           float64 // the number in the usual unit of Kind
	CircumferenceMM float64
	Factor          float64 // f
}

// Entry is the verdict of check 1 of section 2 on a stored value.
type Entry struct {
	Checked bool       // false for kinds that know only ratios: then Fits is true
	Factor  float64    // f = S0/(π·D0), D0 of a flotation placard corrected
	Fits    bool       // f lies in 0.945 … 0.990
	Others  []EntryFit // if not: the other units and kinds that bring f inside, most typical first
}

// EntryCheck compares a stored value with the placard size (section 2, 1). If nothing fits, the value was changed
// before, is mistyped, or belongs to another size: a question in either case.
func EntryCheck(kind Kind, value float64, placard Size) (Entry, error) {
	q, ok := QuantityOf(kind)
	if !ok {
		return Entry{}, &FieldError{"known.value_kind", fmt.Sprintf("%q is no kind of stored value", kind)}
	}
	m, err := measure(placard)
	if err != nil {
		return Entry{}, &FieldError{"known.factory_size", err.Error()}
	}
	if !q.Absolute {
		return Entry{Fits: true}, nil
	}
	if !(value > 0) || math.IsInf(value, 0) {
		return Entry{}, &FieldError{"known.stored_factory_value", "must be a number above zero"}
	}
	return entryCheck(q, value, m.rolling()), nil
}

func entryCheck(q Quantity, value, d0 float64) Entry {
	s, _ := q.Circumference(value)
	e := Entry{Checked: true, Factor: s / (math.Pi * d0)}
	e.Fits = fits(e.Factor)
	if e.Fits {
		return e
	}
	for _, r := range readingsOfANumber {
		if r.kind == q.Kind && r.unit == q.Unit || r.kind == CircumferenceMM && q.Kind == SizeList && r.unit == q.Unit {
			continue
		}
		row, _ := QuantityOf(r.kind)
		own := value * r.times
		mm, _ := row.Circumference(own)
		if f := mm / (math.Pi * d0); fits(f) {
			e.Others = append(e.Others, EntryFit{r.kind, r.unit, plain(own), mm, f})
		}
	}
	sort.SliceStable(e.Others, func(i, j int) bool {
		return math.Abs(e.Others[i].Factor-factorTypical) < math.Abs(e.Others[j].Factor-factorTypical)
	})
	return e
}

func fits(f float64) bool { return f >= factorLow && f <= factorHigh }

// readingsOfANumber are the readings tried when a number does not fit: section 2, 1.
var readingsOfANumber = []struct {
	kind  Kind
	unit  string
	times float64
}{
	{CircumferenceMM, "mm", 1}, {CircumferenceMM, "cm", 10}, {CircumferenceMM, "in", unit.MillimetresPerInch},
	{DiameterMM, "mm", 1}, {DiameterMM, "cm", 10}, {DiameterMM, "in", unit.MillimetresPerInch},
	{RadiusMM, "mm", 1}, {RadiusMM, "cm", 10}, {RadiusMM, "in", unit.MillimetresPerInch},
	{RevMile, "rev/mile", 1}, {RevKM, "rev/km", 1},
}

// StoredFromSize estimates the rolling circumference in mm that a vehicle with this placard size left the factory
// with, 0.966·π·D (section 1), flotation sizes corrected. Its relative sd is 1.15 %.
func StoredFromSize(placard Size) (mm float64, err error) {
	m, err := measure(placard)
	if err != nil {
		return 0, &FieldError{"known.factory_size", err.Error()}
	}
	return factorTypical * math.Pi * m.rolling(), nil
}

// measures are what the method needs of a size.
type measures struct {
	nominal   float64 // overall diameter, mm, as marked
	flotation bool
	symbol    string
}

// rolling is the diameter the method computes with: Dc of section 3.
func (m measures) rolling() float64 {
	if m.flotation {
		return flotationShrink * m.nominal
	}
	return m.nominal
}

const minDiameterMM, maxDiameterMM = 250, 2500 // outside is no road wheel

func measure(s Size) (measures, error) {
	if s.bad {
		return measures{}, fmt.Errorf("must be a size as text, or an object with text or od_mm")
	}
	var m measures
	switch {
	case s.DiameterMM != 0:
		m = measures{nominal: s.DiameterMM, flotation: s.Flotation}
		if size, err := parseSize(s.Text); err == nil {
			m.symbol = size.SpeedSymbol
		}
	case s.Text == "":
		return measures{}, fmt.Errorf("is needed")
	default:
		size, err := parseSize(s.Text)
		if err != nil {
			var ask *tyre.Ask
			if errors.As(err, &ask) {
				return measures{}, fmt.Errorf("%q %s", clip(s.Text), ask.Reason())
			}
			return measures{}, fmt.Errorf("%q: %w", clip(s.Text), err)
		}
		m = measures{size.DiameterMM(), size.Flotation, size.SpeedSymbol}
	}
	if !(m.nominal >= minDiameterMM && m.nominal <= maxDiameterMM) {
		return measures{}, fmt.Errorf("overall diameter must be %d to %d mm", minDiameterMM, maxDiameterMM)
	}
	return m, nil
}

const maxSizeText = 200

func parseSize(text string) (tyre.Size, error) {
	if text == "" || len(text) > maxSizeText {
		return tyre.Size{}, fmt.Errorf("no size of up to %d characters", maxSizeText)
	}
	return tyre.Parse(text)
}

// clip keeps an echo of someone's text short.
func clip(text string) string {
	r := []rune(text)
	if len(r) > 40 {
		return string(r[:40]) + "…"
	}
	return text
}
