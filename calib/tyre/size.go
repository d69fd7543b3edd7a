package tyre

import (
	"math"
	"strings"

	"milepost/calib/unit"
)

// Size is one marking as read. Lengths are in the unit their name says; a field
// the marking does not give is zero.
type Size struct {
	Text         string  // canonical spelling; parses to this same Size
	Prefix       string  // P, LT, T, S, ST, HL or nothing. LT also where it is marked after the rim
	SectionMM    float64 // nominal section width of a metric size
	OverallIn    float64 // marked overall diameter of a flotation size
	SectionIn    float64 // section width of a flotation size
	Aspect       float64 // section height in percent of section width
	RimIn        float64 // rim code, inches
	RimMM        float64 // rim of a millimetre size; RimIn is then zero
	Construction string  // R, ZR, D (also marked -), B; empty where the text does not say
	LoadIndex    string  // "115", or single and dual "121/118"; both are per tyre
	LoadRange    string  // XL, LL, SL, C to N, or a ply rating such as "10PR"
	SpeedSymbol  string  // A1 to A8, B to Y, or (Y)
	Commercial   bool    // C after the rim
	Flotation    bool    // marked by overall diameter
	RunFlat      bool    // RF or F after the R, or said in words
	Alternate    string  // second name marked in brackets on the same tyre: LT285/75R16 (33X11.50R16)
}

// IsZero reports whether s is no size at all.
func (s Size) IsZero() bool { return s == Size{} }

// DiameterMM is the design diameter by exact inch: 2·S·Ra/100 + 25.4·code
// (US sizing practice), or 25.4 times the marked overall diameter of a flotation
// size, which measures a little less (see package calib).
func (s Size) DiameterMM() float64 {
	if s.Flotation {
		return s.OverallIn * unit.MillimetresPerInch
	}
	return 2*s.SectionHeightMM() + s.rimMM()
}

// EuropeanDiameterMM is the design diameter of the European tables: section
// height rounded half up to whole mm, rim diameter by code (UN R30 and R54 para
// 6.1.2, ISO 4000-1, from memory). It differs from DiameterMM by up to 0.16 %
// and serves only for comparison with such tables. A flotation size has none
// and gives DiameterMM.
func (s Size) EuropeanDiameterMM() float64 {
	if s.Flotation {
		return s.DiameterMM()
	}
	return 2*unit.RoundHalfUp(s.SectionHeightMM()) + s.codedRimMM()
}

// SectionHeightMM is the design section height: S·Ra/100, or half of what a
// flotation size leaves over the rim.
func (s Size) SectionHeightMM() float64 {
	if s.Flotation {
		return (s.OverallIn - s.RimIn) / 2 * unit.MillimetresPerInch
	}
	return s.SectionMM * s.Aspect / 100
}

// CircumferenceMM is the geometric circumference π·DiameterMM. Nothing on the
// road rolls it.
func (s Size) CircumferenceMM() float64 { return math.Pi * s.DiameterMM() }

// Service narrows the band of a new tyre.
type Service struct {
	Snow    bool // snow tyre: 1 % more at the upper end
	Special bool // special use under UN R54
}

// Band is the permitted diameter of a new tyre in mm: d + 2·H·a to d + 2·H·b
// around the European figures (UN R30 and R54 para 6.1.4, coefficients from
// memory). A flotation size is taken round its marked diameter.
func (s Size) Band(use Service) (low, high float64) {
	h := unit.RoundHalfUp(s.SectionHeightMM())
	d := s.EuropeanDiameterMM() - 2*h
	if s.Flotation {
		h = s.SectionHeightMM()
		d = s.DiameterMM() - 2*h
	}
	low = d + 2*h*0.97
	high = d + 2*h*s.upperFactor(use)
	if use.Snow {
		high *= 1.01
	}
	return low, high
}

// upperFactor is the coefficient b of Band.
func (s Size) upperFactor(use Service) float64 {
	diagonal := s.Construction == "D" || s.Construction == "B"
	if !s.LightTruck() { // UN R30
		if diagonal {
			return 1.08
		}
		return 1.04
	}
	switch { // UN R54
	case diagonal && use.Special:
		return 1.09
	case diagonal:
		return 1.07
	case use.Special:
		return 1.06
	}
	return 1.04
}

// LightTruck reports whether the marking is of the light-truck and commercial
// kind (LT, C, flotation, a dual load index or a half-inch truck rim) rather
// than a passenger one.
func (s Size) LightTruck() bool {
	return s.Prefix == "LT" || s.Commercial || s.Flotation || strings.Contains(s.LoadIndex, "/") ||
		s.Prefix == "" && truckRim(s.RimIn)
}

func (s Size) rimMM() float64 {
	if s.RimMM > 0 {
		return s.RimMM
	}
	return s.RimIn * unit.MillimetresPerInch
}

func (s Size) codedRimMM() float64 {
	if s.RimMM > 0 {
		return s.RimMM
	}
	if mm, ok := RimCodeMM(s.RimIn); ok {
		return mm
	}
	return unit.RoundHalfUp(s.RimIn * unit.MillimetresPerInch)
}
