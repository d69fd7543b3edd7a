package calib

import "math"

// Effects is what a change of tyre size does besides the dash (section 2, 2; check values, section 9).
type Effects struct {
	SizeRatio     float64 // nominal diameters, new over placard
	RollingRatio  float64 // true circumference expected, new tyre over factory tyre
	OdometerSD    float64 // sd of OdometerShort: by sizes some 1 %, by a comparison some 0.3 %
	OdometerShort float64 // share of the distance not counted with the value now stored; negative: counts too much
	EngineSpeed   float64 // at a given true speed, change as a fraction: −0.08 is 8 % slower
	Attention     bool    // over 3 %: ABS and stability, gearing and the rest are to be mentioned
	AskAgain      bool    // over 15 %: are both sizes right?
}

// Size changes of section 2, 2.
const attention = 0.03

// Effects works them out from sizes, readings and, where there is one, the odometer comparison.
func (m *Model) Effects() Effects {
	c, sd := m.circumference()
	e := Effects{OdometerSD: sd, SizeRatio: m.j.D1 / m.j.D0, RollingRatio: (m.j.Dc - m.j.wear) / m.j.D0c * m.j.pressure}
	e.OdometerShort = 1 - m.now.S/c
	e.EngineSpeed = 1/e.RollingRatio - 1
	e.Attention = math.Abs(e.SizeRatio-1) > attention
	e.AskAgain = math.Abs(e.SizeRatio-1) > sizeStep
	return e
}

// circumference is C and its relative sd by what tells most of it, the dash apart: the comparison of odometer and
// track, else sizes and measurements.
func (m *Model) circumference() (mm, sd float64) {
	if m.odometer.Comparisons > 0 {
		return m.odometer.CircumferenceMM, m.odometer.SD
	}
	return m.f.Cp, m.f.sp
}

// DistanceRatio is the distance driven for the distance shown while a value was stored with these tyres.
func (m *Model) DistanceRatio(value Value) (float64, error) {
	s, err := m.setting(value)
	if err != nil {
		return 0, err
	}
	c, _ := m.circumference()
	return c / s.S, nil
}

// Odometer is what the case's comparisons of odometer and track say, with no comparisons the zero Odometer.
func (m *Model) Odometer() Odometer { return m.odometer }

// TrueDistance is what was driven when the odometer counted shown on tyres whose circumference is ratio times the
// one the stored value stands for. Check values, section 9: 1000 shown at 1.08719 are 1087.2.
func TrueDistance(shown, ratio float64) float64 { return shown * ratio }

// EffectiveAxleRatio is the axle ratio that would give the factory tyres the same engine speed. Check values,
// section 9: 3.73 at 1.08719 acts as 3.431.
func EffectiveAxleRatio(axle, ratio float64) float64 { return axle / ratio }

// Wear is the forecast of section 10 for a tyre worn down later.
type Wear struct {
	Change   float64 // of the circumference, a fraction, below zero
	Value    Value   // to write then
	ErrorAtW float64 // dash minus true at W if the value is left as it is, dash unit
}

// Forecast tells what becomes of a value when the tread goes from now to left mm: ΔC/C = −1.6·mm/D.
func (m *Model) Forecast(value Value, now, left float64) (Wear, error) {
	s, err := m.setting(value)
	if err != nil {
		return Wear{}, err
	}
	if !(now >= 0 && now <= 60 && left >= 0 && left <= now) {
		return Wear{}, bad("tread", "must be 0 to 60 mm, and not deeper later than now")
	}
	w := Wear{Change: -2 * wearShare * (now - left) / m.j.D1}
	worn := *m.f
	worn.Cp *= 1 + w.Change
	w.ErrorAtW, _ = worn.errorAt(s, m.j.W)
	w.Value = m.j.choose(&worn, m.odometer.CircumferenceMM*(1+w.Change)).best.Value
	return w, nil
}
