package tyre

import "strings"

// speeds is the speed in km/h by symbol, UN R30 para 2.29 and the table of UN
// R54 (list seen, clause from memory). H is out of alphabetical order. The
// bracketed and ZR marks are lower bounds (from memory).
var speeds = map[string]float64{
	"A1": 5, "A2": 10, "A3": 15, "A4": 20, "A5": 25, "A6": 30, "A7": 35, "A8": 40,
	"B": 50, "C": 60, "D": 65, "E": 70, "F": 80, "G": 90, "J": 100, "K": 110, "L": 120,
	"M": 130, "N": 140, "P": 150, "Q": 160, "R": 170, "S": 180, "T": 190, "U": 200, "H": 210,
	"V": 240, "W": 270, "Y": 300,
	"(W)": 270, "(Y)": 300, // above that speed; ask the tyre maker
	"ZR": 240, "VR": 210, // without a load index: above that speed
}

// SpeedKmh is the highest speed of a symbol in km/h. Besides the letters and A1
// to A8 it takes (W) and (Y) (above 270 and above 300), and ZR and VR (above 240
// and above 210), for which it returns the figure they start from.
func SpeedKmh(symbol string) (kmh float64, ok bool) {
	kmh, ok = speeds[strings.ToUpper(strings.TrimSpace(symbol))]
	return kmh, ok
}

// SpeedKmh is the highest speed of the marking in km/h: of its symbol, or of a
// bare ZR or VR. False where the marking does not tell.
func (s Size) SpeedKmh() (kmh float64, ok bool) {
	switch {
	case s.SpeedSymbol == "V" && s.LoadIndex == "":
		return SpeedKmh("VR")
	case s.SpeedSymbol != "":
		return SpeedKmh(s.SpeedSymbol)
	case s.Construction == "ZR":
		return SpeedKmh("ZR")
	}
	return 0, false
}

// openSpeed reports whether the figure of SpeedKmh is only a lower bound.
func (s Size) openSpeed() bool {
	bare := s.LoadIndex == "" && s.SpeedSymbol == "V" || s.SpeedSymbol == "" && s.Construction == "ZR"
	return bare || strings.HasPrefix(s.SpeedSymbol, "(")
}
