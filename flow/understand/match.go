package understand

import "strings"

// MaxRead is how many bytes of a text any reader looks at. Longer texts are read up to there; Clean says so.
const MaxRead = 16 << 10

// Match is a value found in a text, the bytes it was read from, and the value said back in a form that the same reader
// reads to the same value again.
type Match[T any] struct {
	Value      T
	Start, End int
	Echo       string
}

// Context is what a reader may assume where the text is silent. The zero value means mph, miles and millimetres.
type Context struct {
	SpeedUnit    string   // "mph" or "km/h"
	DistanceUnit string   // "mi" or "km"
	Labels       []string // labels of the list the module offers, where the stored value is a choice from a list
}

func (c Context) speed() string {
	if c.SpeedUnit == KmH {
		return KmH
	}
	return MPH
}

func (c Context) distance() string {
	switch {
	case c.DistanceUnit != "":
		return c.DistanceUnit
	case c.SpeedUnit == KmH:
		return Km
	}
	return Mile
}

// Units as the contract spells them.
const (
	MPH  = "mph"
	KmH  = "km/h"
	Mile = "mi"
	Km   = "km"
	MM   = "mm"
	CM   = "cm"
	M    = "m"
	Inch = "in"
)

// Mask blanks the bytes from start to end, so that the rest can be read without them. Length and offsets stay; the
// first byte becomes a semicolon, so that what stood on the two sides is not run together.
func Mask(text string, start, end int) string {
	if start < 0 || end > len(text) || start >= end {
		return text
	}
	return text[:start] + ";" + strings.Repeat(" ", end-start-1) + text[end:]
}

// MaskAll masks every match of a list.
func MaskAll[T any](text string, ms []Match[T]) string {
	for _, m := range ms {
		text = Mask(text, m.Start, m.End)
	}
	return text
}
