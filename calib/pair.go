package calib

import "math"

// Limits of section 2, 3: common practice, the maker's figure wins.
const (
	pairTolerance    = 0.010 // front against rear
	pairToleranceAWD = 0.005 // permanent or automatic all-wheel drive
	axleWearMM       = 2.0   // wear within one axle
)

// Pair is what the check of front against rear needs: diameters in mm, flotation sizes corrected and wear
// (2·0.8·mm of tread) taken off.
type Pair struct {
	PlacardSensorMM, PlacardOtherMM float64
	SensorMM, OtherMM               float64
	AllWheelDrive                   bool
}

// Pairing is the verdict on a Pair.
type Pairing struct {
	OK        bool
	Deviation float64 // ratio of the diameters over the placard's ratio, less 1
	Tolerance float64
}

// Check compares the ratio of the axles' diameters with the placard's (section 2, 3). A mismatch strains the
// drivetrain and no value fits both axles: no target.
func (p Pair) Check() Pairing {
	r := Pairing{Tolerance: pairTolerance}
	if p.AllWheelDrive {
		r.Tolerance = pairToleranceAWD
	}
	r.Deviation = (p.OtherMM/p.SensorMM)/(p.PlacardOtherMM/p.PlacardSensorMM) - 1
	r.OK = math.Abs(r.Deviation) <= r.Tolerance
	return r
}

// SameAxle tells whether the two tyres of an axle go together (section 2, 3): same size, tread within 2 mm.
func SameAxle(left, right Size, leftTreadMM, rightTreadMM float64) (bool, error) {
	l, err := measure(left)
	if err != nil {
		return false, &FieldError{"left", err.Error()}
	}
	r, err := measure(right)
	if err != nil {
		return false, &FieldError{"right", err.Error()}
	}
	return l.nominal == r.nominal && l.flotation == r.flotation && math.Abs(leftTreadMM-rightTreadMM) <= axleWearMM, nil
}
