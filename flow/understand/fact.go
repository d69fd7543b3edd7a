package understand

import (
	"math"

	"milepost/calib/tyre"
)

// Fact is a size as the contract's fact; the diameter is rounded to a tenth of a millimetre.
func Fact(s tyre.Size) SizeFact {
	return SizeFact{Text: s.Text, DiameterMM: math.Round(s.DiameterMM()*10) / 10, SectionMM: s.SectionMM, OverallIn: s.OverallIn, SectionIn: s.SectionIn,
		Aspect: s.Aspect, RimIn: s.RimIn, Construction: s.Construction, LoadIndex: s.LoadIndex, LoadRange: s.LoadRange, SpeedSymbol: s.SpeedSymbol}
}
