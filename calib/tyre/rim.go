package tyre

import "slices"

// rimCode is one row of the table of conventional rim diameters.
type rimCode struct{ code, mm float64 }

// rimCodes are the conventional numbers d of UN R30 and R54 (from memory; every
// one is the code times 25.4, rounded half up).
var rimCodes = []rimCode{
	{8, 203}, {9, 229}, {10, 254}, {11, 279}, {12, 305}, {13, 330}, {14, 356}, {14.5, 368},
	{15, 381}, {16, 406}, {16.5, 419}, {17, 432}, {17.5, 445}, {18, 457}, {19, 483}, {19.5, 495},
	{20, 508}, {20.5, 521}, {21, 533}, {22, 559}, {22.5, 572}, {23, 584}, {24, 610}, {24.5, 622},
	{25, 635}, {26, 660}, {27, 686}, {28, 711}, {29, 737}, {30, 762},
}

// extraCodes are rim codes met on old markings and not in the table.
var extraCodes = []float64{13.5, 15.5}

// millimetreRims are the rims marked in mm (a small-car specialist's note).
var millimetreRims = []float64{365, 390, 415}

// RimCodeMM is the conventional diameter in mm of a rim code, where the table
// has it.
func RimCodeMM(code float64) (mm float64, ok bool) {
	i := slices.IndexFunc(rimCodes, func(r rimCode) bool { return r.code == code })
	if i < 0 {
		return 0, false
	}
	return rimCodes[i].mm, true
}

// knownRim reports whether a rim of that code is made at all.
func knownRim(code float64) bool {
	_, ok := RimCodeMM(code)
	return ok || slices.Contains(extraCodes, code)
}

// truckRim reports whether the code is one of the 15° half-inch truck rims.
func truckRim(code float64) bool {
	return code == 17.5 || code == 19.5 || code == 22.5 || code == 24.5
}
