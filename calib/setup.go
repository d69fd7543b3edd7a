package calib

import (
	"fmt"
	"math"
	"strings"

	"milepost/calib/tyre"
	"milepost/calib/unit"
)

// Bounds of what a case may hold, so that one case can't tie up a program.
const (
	MaxDrives   = 100 // of a case
	MaxReadings = 200 // of a drive
	MaxList     = 500 // entries of a list of sizes
)

// A setting is one value a module can hold, with its circumference.
type setting struct {
	Value
	S      float64
	soft   bool // an entry of a list that is not read off: S has an sd of its own (section 1)
	driven bool // counted readings exist at it
}

// job is a Case checked and turned into the method page's symbols.
type job struct {
	known       *Known
	unit        unit.Speed
	q           float64 // dash units per mph, section 1
	rule        Rule
	policy      Policy
	policyGiven bool
	W           float64
	symbolCap   float64 // dash unit, +Inf without a symbol
	symbol      string
	capped      bool // the symbol lowered W
	X, gain     float64
	gpsStep     float64
	faster      bool

	scale         Scale
	step          float64
	low, high     float64
	list          []setting
	directionSaid bool

	factory       setting
	s0            float64 // S0
	srefEstimated bool
	entry         Entry
	D0, D1        float64 // nominal
	D0c, Dc       float64
	wear          float64 // w
	pressure      float64 // p
	gearsChanged  bool
	gearFactor    float64 // (ratio left the factory)/(ratio now)
	speedFrom     SpeedFrom
	pairing       Pairing
	earlier       *setting
}

// Defaults of the contract, and of sections 8 and 9.
const (
	workSpeedMPH, workSpeedKMH = 70, 110
	thresholdMPH, thresholdKMH = 1.0, 1.6
	gainMPH, gainKMH           = 0.15, 0.24
)

// prepare checks everything a case says and turns it into symbols. Errors are *FieldError.
func prepare(c *Case) (*job, error) {
	k := &c.Known
	j := &job{known: k}
	for _, step := range []func() error{j.takeUnits, j.takeSizes, j.takeGears, j.takeSources, j.takeStored, j.takeEarlier} {
		if err := step(); err != nil {
			return nil, err
		}
	}
	return j, nil
}

func bad(field, format string, args ...any) error {
	return &FieldError{field, fmt.Sprintf(format, args...)}
}

// optional reads a number that may be absent; low and high are the range that makes sense.
func optional(field string, p *float64, fallback, low, high float64) (float64, error) {
	if p == nil {
		return fallback, nil
	}
	if !(*p >= low && *p <= high) {
		return 0, bad(field, "must be a number from %v to %v", low, high)
	}
	return *p, nil
}

func (j *job) takeUnits() (err error) {
	k := j.known
	switch k.DashUnit {
	case "", unit.MPH:
		j.unit, j.q = unit.MPH, 1
	case unit.KMH:
		j.unit, j.q = unit.KMH, unit.KMHPerMPH
	default:
		return bad("known.dash_unit", `must be "mph" or "km/h"`)
	}
	switch k.Rule {
	case "", RuleNone:
		j.rule = RuleNone
	case RuleNeverUnder:
		j.rule = RuleNeverUnder
	default:
		return bad("known.rule", `must be "none" or "never-under"`)
	}
	j.policy, j.policyGiven = k.Policy, k.Policy != ""
	switch k.Policy {
	case PolicyTrue, PolicyNeverUnder, PolicyDistance:
	case "": // section 5
		j.policy = PolicyTrue
		if j.rule == RuleNeverUnder {
			j.policy = PolicyNeverUnder
		}
	default:
		return bad("known.policy", `must be "true", "never-under" or "distance"`)
	}
	w, x := float64(workSpeedMPH), thresholdMPH
	j.gain = gainMPH
	if j.unit == unit.KMH {
		w, x, j.gain = workSpeedKMH, thresholdKMH, gainKMH
	}
	if j.W, err = optional("known.work_speed", k.WorkSpeed, w, 5, 400); err != nil {
		return err
	}
	if j.X, err = optional("known.threshold", k.Threshold, x, 0.01, 50); err != nil {
		return err
	}
	if j.gpsStep, err = optional("known.gps_display_step", k.GPSDisplayStep, 1, 0.001, 5); err != nil {
		return err
	}
	j.faster = k.FasterPossible == nil || *k.FasterPossible
	return nil
}

func (j *job) takeSizes() error {
	k := j.known
	m0, err := measure(k.FactorySize)
	if err != nil {
		return bad("known.factory_size", "%v", err)
	}
	m1, err := measure(k.NewSize)
	if err != nil {
		return bad("known.new_size", "%v", err)
	}
	j.D0, j.D0c = m0.nominal, m0.rolling()
	j.D1, j.Dc = m1.nominal, m1.rolling()

	j.symbol, j.symbolCap = strings.TrimSpace(k.SpeedSymbol), math.Inf(1)
	if j.symbol == "" {
		j.symbol = m1.symbol
	}
	if j.symbol != "" {
		kmh, ok := tyre.SpeedKmh(j.symbol)
		switch {
		case ok:
			j.symbolCap = j.unit.FromKMH(kmh)
		case k.SpeedSymbol != "":
			return bad("known.speed_symbol", "%q is no speed symbol", clip(k.SpeedSymbol))
		}
	}
	if j.W > j.symbolCap { // section 10, speed symbol
		j.W, j.capped = j.symbolCap, true
	}
	return j.takeWear()
}

func (j *job) takeWear() error {
	k := j.known
	fresh, err := optional("known.tread_new_mm", k.TreadNewMM, 0, 0, 60)
	if err != nil {
		return err
	}
	now, err := optional("known.tread_now_mm", k.TreadNowMM, fresh, 0, 60)
	if err != nil {
		return err
	}
	if k.TreadNewMM == nil {
		fresh = now // how much is gone is not known: no wear
	}
	j.wear = wear(fresh, now)
	ratio, err := optional("known.cold_pressure_over_placard", k.ColdPressureOverPlacard, 1, 0.2, 5)
	if err != nil {
		return err
	}
	j.pressure = 1 + pressureShare*(ratio-1)

	otherNow, o := now, k.OtherAxle
	p := Pair{AllWheelDrive: k.AllWheelDrive, PlacardSensorMM: j.D0c, PlacardOtherMM: j.D0c, SensorMM: j.Dc - j.wear, OtherMM: j.Dc}
	if o != nil {
		if o.FactorySize != nil && *o.FactorySize != (Size{}) {
			m, err := measure(*o.FactorySize)
			if err != nil {
				return bad("known.other_axle.factory_size", "%v", err)
			}
			p.PlacardOtherMM = m.rolling()
		}
		if o.NewSize != nil && *o.NewSize != (Size{}) {
			m, err := measure(*o.NewSize)
			if err != nil {
				return bad("known.other_axle.new_size", "%v", err)
			}
			p.OtherMM = m.rolling()
		}
		if otherNow, err = optional("known.other_axle.tread_now_mm", o.TreadNowMM, now, 0, 60); err != nil {
			return err
		}
	}
	if o == nil {
		p.PlacardOtherMM, p.OtherMM = p.PlacardSensorMM, p.SensorMM
	} else {
		p.OtherMM -= wear(fresh, otherNow)
	}
	j.pairing = p.Check()
	return nil
}

// wear is w of section 3; a tread deeper than new is a slip of the gauge and no wear.
func wear(fresh, now float64) float64 { return math.Max(0, 2*wearShare*(fresh-now)) }

func (j *job) takeGears() error {
	k := j.known
	j.speedFrom = k.SpeedFrom
	switch k.SpeedFrom {
	case "":
		j.speedFrom = SpeedFromUnknown
	case SpeedFromWheels, SpeedFromGearbox, SpeedFromUnknown:
	default:
		return bad("known.speed_from", `must be "wheels", "gearbox" or "unknown"`)
	}
	was, err := optional("known.axle_ratio_factory", k.AxleRatioFactory, 0, 0.2, 100)
	if err != nil {
		return err
	}
	is, err := optional("known.axle_ratio_now", k.AxleRatioNow, was, 0.2, 100)
	if err != nil {
		return err
	}
	if was == 0 && is != 0 {
		return bad("known.axle_ratio_factory", "is needed where axle_ratio_now is given")
	}
	j.gearFactor = 1
	if was != is {
		j.gearsChanged, j.gearFactor = true, was/is
	}
	return nil
}

func (j *job) takeSources() error {
	k := j.known
	if _, err := optional("known.published_revs_per_mile", k.PublishedRevsPerMile, 0, 150, 3000); err != nil {
		return err
	}
	_, err := optional("known.measured_rollout_mm", k.MeasuredRolloutMM, 0, 500, 8500)
	return err
}

func (j *job) takeEarlier() error {
	v := j.known.EarlierValue
	if v == nil || (!v.Known() && !v.bad) {
		return nil
	}
	s, err := j.settingOf("known.earlier_value", *v)
	if err != nil {
		return err
	}
	j.earlier = &s
	return nil
}
