package unit

// Conversion factors. All are exact by definition except KilopascalsPerPSI,
// which is the published seven-figure value (NIST SP 811, App. B.8, from
// memory; the values recomputed).
const (
	MillimetresPerInch     = 25.4
	MetresPerMile          = 1609.344
	MillimetresPerMile     = 1609344.0
	MillimetresPerKM       = 1e6
	MetresPerNauticalMile  = 1852.0
	KMHPerMPH              = 1.609344
	KMHPerKnot             = 1.852
	KMHPerMetrePerSecond   = 3.6
	MetresPerSecondPerMPH  = 0.44704
	KilopascalsPerPSI      = 6.894757
	KilogramsPerPound      = 0.45359237
	MillimetresPer32ndInch = 0.79375
)

// Speed is a unit of speed, spelled as the contract spells it.
type Speed string

// The two speed units a dash shows.
const (
	MPH Speed = "mph"
	KMH Speed = "km/h"
)

// Valid reports whether u is one of the two speed units.
func (u Speed) Valid() bool { return u == MPH || u == KMH }

// KMH turns v, given in u, into kilometres per hour. A unit that is not Valid
// is taken as km/h.
func (u Speed) KMH(v float64) float64 {
	if u == MPH {
		return v * KMHPerMPH
	}
	return v
}

// FromKMH turns v kilometres per hour into u.
func (u Speed) FromKMH(v float64) float64 {
	if u == MPH {
		return v / KMHPerMPH
	}
	return v
}

// To turns v, given in u, into the unit to. The same unit leaves v untouched.
func (u Speed) To(v float64, to Speed) float64 {
	if u == to {
		return v
	}
	return to.FromKMH(u.KMH(v))
}

// MetresPerSecond turns v, given in u, into metres per second.
func (u Speed) MetresPerSecond(v float64) float64 {
	return u.KMH(v) / KMHPerMetrePerSecond
}

// Distance is the unit of distance that goes with u: miles with mph.
func (u Speed) Distance() Distance {
	if u == MPH {
		return Miles
	}
	return Kilometres
}

// Distance is a unit of distance, spelled as the contract spells it.
type Distance string

// The two distance units an odometer counts.
const (
	Miles      Distance = "mi"
	Kilometres Distance = "km"
)

// Valid reports whether u is one of the two distance units.
func (u Distance) Valid() bool { return u == Miles || u == Kilometres }

// Metres turns v, given in u, into metres. A unit that is not Valid is taken as
// kilometres.
func (u Distance) Metres(v float64) float64 {
	if u == Miles {
		return v * MetresPerMile
	}
	return v * 1000
}

// FromMetres turns v metres into u.
func (u Distance) FromMetres(v float64) float64 {
	if u == Miles {
		return v / MetresPerMile
	}
	return v / 1000
}

// Speed is the unit of speed that goes with u: mph with miles.
func (u Distance) Speed() Speed {
	if u == Miles {
		return MPH
	}
	return KMH
}
