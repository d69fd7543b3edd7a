package demo

import (
	"math"
	"strconv"
	"strings"
)

// kind is what a module stores.
type kind string

// The kinds of stored value that are played.
const (
	circumference kind = "circumference"
	diameter      kind = "diameter"
	radius        kind = "radius"
	revsMile      kind = "revs_mile"
	revsKM        kind = "revs_km"
	pulsesKM      kind = "pulses_km"
	axleRatio     kind = "axle_ratio"
	percentUp     kind = "percent_up"   // larger for a larger tyre
	percentDown   kind = "percent_down" // the other way round
	sizeList      kind = "size_list"
)

// Millimetres in a mile (exactly, by definition of the international yard) and
// in a kilometre.
const (
	mmPerMile = 1609344.0
	mmPerKM   = 1e6
)

// unit is how the tool names what it shows.
func (k kind) unit() string {
	return map[kind]string{circumference: "mm circumference", diameter: "mm diameter", radius: "mm rolling radius",
		revsMile: "rev/mile", revsKM: "rev/km", pulsesKM: "pulses/km", axleRatio: "axle ratio",
		percentUp: "percent", percentDown: "percent"}[k]
}

// smaller says whether the value goes down for a larger tyre.
func (k kind) smaller() bool {
	switch k {
	case revsMile, revsKM, pulsesKM, axleRatio, percentDown:
		return true
	}
	return false
}

// scale ties a module's numbers to the circumference it believes in: that of
// the factory value is believed, mm, for the kinds that say no length.
type scale struct {
	kind    kind
	factory float64 // the factory value
	mm      float64 // the circumference that goes with it, mm
}

// circumference is what a module that holds v takes the wheel for, mm
// (calibration method, section 1).
func (s scale) circumference(v float64) float64 {
	switch s.kind {
	case circumference:
		return v
	case diameter:
		return math.Pi * v
	case radius:
		return 2 * math.Pi * v
	case revsMile:
		return mmPerMile / v
	case revsKM:
		return mmPerKM / v
	case percentUp:
		return s.mm * v / s.factory
	}
	return s.mm * s.factory / v // pulses, axle ratio and the percentage that counts down
}

// value is the number that belongs to a circumference, the inverse.
func (s scale) value(mm float64) float64 {
	switch s.kind {
	case circumference:
		return mm
	case diameter:
		return mm / math.Pi
	case radius:
		return mm / (2 * math.Pi)
	case revsMile:
		return mmPerMile / mm
	case revsKM:
		return mmPerKM / mm
	case percentUp:
		return s.factory * mm / s.mm
	}
	return s.factory * s.mm / mm
}

// plain prints a number with no more decimals than it has.
func plain(v float64) string {
	return strconv.FormatFloat(math.Round(v*1e6)/1e6, 'f', -1, 64)
}

// figure prints a number with the decimals of a step.
func figure(v, step float64) string {
	_, decimals, _ := strings.Cut(plain(step), ".")
	return strconv.FormatFloat(v, 'f', len(decimals), 64)
}

// snap is the nearest whole multiple of a step.
func snap(v, step float64) float64 { return math.Round(math.Round(v/step)*step*1e6) / 1e6 }
