package tyre

// PassengerOnTruck is the divisor of a passenger-type tyre's load when it is
// fitted to a light truck (49 CFR 571.110, from memory).
const PassengerOnTruck = 1.10

// Vehicle is what Compare must know besides the two markings.
type Vehicle struct {
	Duals  bool // two tyres a side on an axle: the dual index counts too
	Winter bool // the fitted tyres are winter tyres
}

// Matter is what a Finding is about.
type Matter string

// The matters compared.
const (
	SingleLoad Matter = "load"
	DualLoad   Matter = "dual_load"
	TopSpeed   Matter = "speed"
)

// Outcome is how the fitted tyre stands to the placard's.
type Outcome string

// The outcomes. Unclear means the markings don't tell: ask, conclude nothing.
const (
	Enough  Outcome = "enough"  // not below the placard's
	Caution Outcome = "caution" // below, in a way local law may allow (winter tyres' speed symbol)
	Below   Outcome = "below"   // below the placard's: do not fit
	Unclear Outcome = "unclear" // a marking is missing, or the two hold at different pressures
)

// Finding is one comparison. Figures are kg per tyre or km/h; zero is not known.
type Finding struct {
	Matter  Matter
	Outcome Outcome
	Placard float64
	Fitted  float64 // after the divisor, where Derated
	Derated bool    // a passenger-type tyre on a light truck: load divided by PassengerOnTruck
	// DifferentPressure: light-truck and passenger indices hold at different
	// pressures, so the load marked on the sidewall is asked for instead.
	DifferentPressure bool
}

// Compare sets the fitted tyre's load and speed against the placard's, from
// the markings alone: one Finding for the load, one for the dual load where the
// vehicle has duals, one for the speed. Extra load and standard load hold at
// different pressures as well; that is not looked at.
func Compare(placard, fitted Size, v Vehicle) []Finding {
	out := []Finding{compareLoad(SingleLoad, placard, fitted)}
	if v.Duals {
		out = append(out, compareLoad(DualLoad, placard, fitted))
	}
	return append(out, compareSpeed(placard, fitted, v))
}

func compareLoad(matter Matter, placard, fitted Size) Finding {
	f := Finding{Matter: matter}
	f.Placard, f.Fitted = placard.loadKg(matter), fitted.loadKg(matter)
	f.DifferentPressure = placard.LightTruck() != fitted.LightTruck()
	// A passenger-type placard size has the divisor in it already.
	if placard.LightTruck() && !fitted.LightTruck() && f.Fitted > 0 {
		f.Fitted, f.Derated = f.Fitted/PassengerOnTruck, true
	}
	switch {
	case f.Placard == 0 || f.Fitted == 0 || f.DifferentPressure:
		f.Outcome = Unclear
	case f.Fitted < f.Placard:
		f.Outcome = Below
	default:
		f.Outcome = Enough
	}
	return f
}

func compareSpeed(placard, fitted Size, v Vehicle) Finding {
	f := Finding{Matter: TopSpeed}
	var known, knownToo bool
	f.Placard, known = placard.SpeedKmh()
	f.Fitted, knownToo = fitted.SpeedKmh()
	switch {
	case !known || !knownToo:
		f.Outcome = Unclear
	case f.Fitted >= f.Placard && placard.openSpeed() && !fitted.openSpeed():
		f.Outcome = Unclear // "above 240" against a symbol that ends somewhere
	case f.Fitted >= f.Placard:
		f.Outcome = Enough
	case v.Winter:
		f.Outcome = Caution
	default:
		f.Outcome = Below
	}
	return f
}

// loadKg is the load of the single or dual index in kg, zero where it is not
// marked.
func (s Size) loadKg(matter Matter) float64 {
	single, dual, err := LoadIndices(s.LoadIndex)
	if err != nil {
		return 0
	}
	index := single
	if matter == DualLoad {
		if index = dual; dual == 0 {
			return 0
		}
	}
	kg, _ := LoadKg(index)
	return kg
}
