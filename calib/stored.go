package calib

import (
	"math"
	"strconv"

	"milepost/calib/unit"
)

// Kind is what the stored value of a module is, by the name the desk commands use.
type Kind string

// The kinds of section 1.
const (
	CircumferenceMM Kind = "circumference_mm"
	DiameterMM      Kind = "diameter_mm"
	RadiusMM        Kind = "radius_mm" // rolling radius
	RevMile         Kind = "rev_mile"
	RevKM           Kind = "rev_km"
	PulseMile       Kind = "pulse_mile"
	PulseKM         Kind = "pulse_km"
	AxleRatio       Kind = "axle_ratio"
	Percent         Kind = "percent" // of the original, 106.5 and not +6.5
	SizeList        Kind = "size_list"
)

// Direction is the way a value moves when a larger tyre is fitted. Percent is asked for it, the others know.
type Direction string

// The two directions.
const (
	Up   Direction = "up"
	Down Direction = "down"
)

// A Quantity is one row of the table of kinds: what may be stored and how it turns into a circumference.
type Quantity struct {
	Kind      Kind
	Name      string    // the facts' quantity
	Unit      string    // the facts' unit
	Direction Direction // with a larger tyre
	Absolute  bool      // says the circumference by itself; otherwise only ratios to a reference are known
	Step      float64   // a usual step, where the tool's is not known
	Low, High float64   // typical range in Unit, for questions only: never a limit

	factor  float64 // absolute kinds: S = factor·value, or with inverse S = factor/value
	inverse bool
}

// quantities: conversions from section 1 of the method page; 1 mile = 1 609 344 mm exactly. The typical ranges
// span circumferences of about 1500 to 3600 mm, common practice, no source.
var quantities = []Quantity{
	{CircumferenceMM, "circumference", "mm", Up, true, 1, 1500, 3600, 1, false},
	{DiameterMM, "diameter", "mm", Up, true, 1, 480, 1150, math.Pi, false},
	{RadiusMM, "radius", "mm", Up, true, 1, 240, 575, 2 * math.Pi, false},
	{RevMile, "revs_per_mile", "rev/mile", Down, true, 1, 445, 1075, unit.MillimetresPerMile, true},
	{RevKM, "revs_per_km", "rev/km", Down, true, 1, 275, 670, unit.MillimetresPerKM, true},
	{PulseMile, "pulses_per_mile", "pulses/mile", Down, false, 1, 2000, 130000, 0, true},
	{PulseKM, "pulses_per_km", "pulses/km", Down, false, 1, 1200, 80000, 0, true},
	{AxleRatio, "axle_ratio", "", Down, false, 0.01, 1.5, 8, 0, true},
	{Percent, "percent", "%", Up, false, 0.5, 70, 140, 0, false},
	{SizeList, "size_list", "mm", Up, true, 0, 1500, 3600, 1, false},
}

// QuantityOf gives the row of a kind; false for a name that is none.
func QuantityOf(kind Kind) (Quantity, bool) {
	for _, q := range quantities {
		if q.Kind == kind {
			return q, true
		}
	}
	return Quantity{}, false
}

// QuantityNamed gives the row by the name that facts use, such as "revs_per_mile".
func QuantityNamed(name string) (Quantity, bool) {
	for _, q := range quantities {
		if q.Name == name {
			return q, true
		}
	}
	return Quantity{}, false
}

// Quantities gives all rows, in the order of section 1.
func Quantities() []Quantity { return append([]Quantity(nil), quantities...) }

// Circumference turns a value of an absolute kind into the rolling circumference S in mm. False for kinds that
// know only ratios (Scale has those) and for values that are not above zero.
func (q Quantity) Circumference(value float64) (mm float64, ok bool) {
	if !q.Absolute || !(value > 0) || math.IsInf(value, 0) {
		return 0, false
	}
	if q.inverse {
		return q.factor / value, true
	}
	return q.factor * value, true
}

// Value turns a rolling circumference in mm into a value of an absolute kind.
func (q Quantity) Value(mm float64) (value float64, ok bool) {
	if !q.Absolute || !(mm > 0) || math.IsInf(mm, 0) {
		return 0, false
	}
	if q.inverse {
		return q.factor / mm, true
	}
	return mm / q.factor, true
}

// A Scale turns values of one kind into circumferences and back, for one vehicle.
type Scale struct {
	q    Quantity
	sref float64 // mm that belong to v0; ratio kinds only
	v0   float64
}

// NewScale makes the scale of a kind. Ratio kinds (pulses, axle ratio, percent) are hung on sref, the
// circumference in mm that belongs to the stored factory value v0; absolute kinds need neither. dir counts for
// Percent only, where some tools count the other way round.
func NewScale(kind Kind, v0, sref float64, dir Direction) (Scale, bool) {
	q, ok := QuantityOf(kind)
	if !ok || (!q.Absolute && !(v0 > 0 && sref > 0)) {
		return Scale{}, false
	}
	if kind == Percent && dir == Down {
		q.Direction, q.inverse = Down, true
	}
	return Scale{q, sref, v0}, true
}

// Quantity is the row of the kind, with the direction this scale has.
func (s Scale) Quantity() Quantity { return s.q }

// Circumference is S in mm of a value, which must be above zero.
func (s Scale) Circumference(value float64) float64 {
	switch {
	case s.q.Absolute:
		mm, _ := s.q.Circumference(value)
		return mm
	case s.q.inverse:
		return s.sref * s.v0 / value // S = Sref·(p0/p), section 1
	}
	return s.sref * value / s.v0 // S = Sref·(p/p0)
}

// Value is the stored value that belongs to S in mm, unrounded.
func (s Scale) Value(mm float64) float64 {
	switch {
	case s.q.Absolute:
		v, _ := s.q.Value(mm)
		return v
	case s.q.inverse:
		return s.v0 * s.sref / mm
	}
	return s.v0 * mm / s.sref
}

// Snap rounds the value that belongs to mm to a whole multiple of step, under larger to the one that shows more
// (section 5), and holds it to the limits; limited is "min", "max" or "".
func (s Scale) Snap(mm, step, low, high float64, larger bool) (value float64, limited string) {
	n := s.Value(mm) / step
	const slack = 1e-9 // a value that is a multiple already stays one
	switch {
	case !larger:
		n = math.Round(n)
	case s.q.Direction == Up:
		n = math.Ceil(n - slack)
	default:
		n = math.Floor(n + slack)
	}
	value = plain(math.Max(n, 1) * step)
	if value < low {
		return low, "min"
	}
	if value > high {
		return high, "max"
	}
	return value, ""
}

// plain takes the dust of binary multiples off: 328·0.01 is 3.28.
func plain(v float64) float64 {
	p, err := strconv.ParseFloat(strconv.FormatFloat(v, 'g', 12, 64), 64)
	if err != nil {
		return v
	}
	return p
}
