package flow

import (
	"math"

	"milepost/calib"
	"milepost/calib/unit"
)

// caseOf turns the state into a case of the main module, and says which of the
// job's readings stands where in it.
func (t *turn) caseOf() (calib.Case, [][]int) {
	s, m := t.s, t.s.Main()
	k := calib.Known{
		ValueKind:          calib.Kind(m.Kind),
		StoredFactoryValue: calibValue(m.Factory()),
		ValueMin:           m.Min, ValueMax: m.Max,
		FactorySize: s.calibSize("factory"),
		NewSize:     s.calibSize("fitted"),
		SpeedSymbol: s.Sizes["fitted"].SpeedSymbol,
		OtherAxle:   s.otherAxle(),
		DashUnit:    unit.Speed(t.speedUnit()),
		Rule:        calib.Rule(t.accuracyRule()),
		Policy:      t.aimPolicy(),
	}
	step := m.step()
	k.ValueStep = &step
	if m.Direction == string(calib.Up) || m.Direction == string(calib.Down) {
		k.PercentDirection = calib.Direction(m.Direction)
	}
	for _, e := range m.List {
		le := calib.ListEntry{Label: e.Label}
		if e.CircumferenceMM > 0 {
			c := e.CircumferenceMM
			le.CircumferenceMM = &c
		}
		k.ValueList = append(k.ValueList, le)
	}
	t.measures(&k)
	if v, ok := s.earlierValue(); ok { // the same set as an earlier job proved
		earlier := calibValue(v)
		k.EarlierValue = &earlier
	}
	w := t.wantedSpeed() // the method lowers it to the speed symbol, and says so
	k.WorkSpeed = &w
	if x := t.env.Policy.Threshold; x > 0 {
		x = t.inDash(x)
		k.Threshold = &x
	}
	if s.Answers[Key{QDrive, "faster"}].Value == "no" {
		no := false
		k.FasterPossible = &no
	}
	c := calib.Case{Known: k}
	now := calibValue(m.Now)
	c.ValueNow = &now
	drives, numbers := s.calibDrives(k.DashUnit)
	c.Drives = drives
	return c, numbers
}

// measures fills in what was measured or published of the tyre and the gears.
func (t *turn) measures(k *calib.Known) {
	s := t.s
	number := func(q QuestionID, about string) *float64 {
		a, ok := s.Answers[Key{q, about}]
		if !ok || a.Skipped || a.Number <= 0 {
			return nil
		}
		return &a.Number
	}
	k.TreadNewMM, k.TreadNowMM = number(QTread, "new"), number(QTread, "")
	if a := s.Answers[Key{QPressure, ""}]; a.Unit == "ratio" {
		k.ColdPressureOverPlacard = number(QPressure, "")
	}
	k.PublishedRevsPerMile = number(QRevs, "")
	k.MeasuredRolloutMM = number(QRollout, "")
	k.AllWheelDrive = s.Answers[Key{QAxles, "awd"}].Value == "yes"
	if s.gearsToldApart() {
		k.AxleRatioFactory, k.AxleRatioNow = number(QRatio, "factory"), number(QRatio, "now")
		if k.AxleRatioFactory == nil || k.AxleRatioNow == nil {
			k.AxleRatioFactory, k.AxleRatioNow = nil, nil
		}
	}
	switch s.Value(QSensing) {
	case "wheels":
		k.SpeedFrom = calib.SpeedFromWheels
	case "gearbox":
		k.SpeedFrom = calib.SpeedFromGearbox
	}
}

// gearsToldApart says whether other gears are fitted that the module is not
// told of by a setting of its own.
func (s *State) gearsToldApart() bool {
	return s.Value(QGears) == "changed" && s.Value(QAxleSet) != "yes"
}

// calibDrives gives the drives on which something was read or compared, speeds
// in the dash's unit as it is now spoken of.
func (s *State) calibDrives(dash unit.Speed) (drives []calib.Drive, numbers [][]int) {
	for i := range s.Drives {
		d := &s.Drives[i]
		cd := calib.Drive{Value: calibValue(d.Value), Odometer: d.Odometer, Track: d.Track}
		if !d.ReadBack.Zero() {
			rb := calibValue(d.ReadBack)
			cd.ReadBack = &rb
		}
		var ns []int
		for _, r := range s.Readings {
			if r.Drive != d.Drive {
				continue
			}
			if u := unit.Speed(r.Unit); u.Valid() && u != dash {
				r.stepsIn(u, dash, s.tenthsOn(d.Drive))
				r.Indicated, r.Reference = u.To(r.Indicated, dash), u.To(r.Reference, dash)
			}
			cd.Readings = append(cd.Readings, calib.Reading{Indicated: r.Indicated, Reference: r.Reference,
				DashStep: r.DashStep, GPSStep: r.GPSStep, Struck: r.Struck, TrackMean: r.TrackMean, MileSeconds: r.Seconds})
			ns = append(ns, r.Number)
		}
		if len(cd.Readings) == 0 && cd.Track == 0 {
			continue
		}
		drives, numbers = append(drives, cd), append(numbers, ns)
	}
	return drives, numbers
}

// tenthsOn says whether the GPS speeds of a drive show tenths (calibration
// method, section 4).
func (s *State) tenthsOn(drive int) bool {
	for i := range s.Readings {
		if r := &s.Readings[i]; r.Drive == drive && r.Seconds == 0 && r.GPSStep == 0 && !whole(r.Reference) {
			return true
		}
	}
	return false
}

// stepsIn keeps the steps of a reading that is put in another unit.
func (r *ReadingFact) stepsIn(from, to unit.Speed, tenths bool) {
	put := func(step, usual float64) float64 {
		if step == 0 {
			step = usual
		}
		return from.To(step, to)
	}
	r.DashStep = put(r.DashStep, 1)
	switch {
	case r.TrackMean || r.Seconds > 0 || r.GPSStep == 0 && !whole(r.Reference):
	case tenths:
		r.GPSStep = put(r.GPSStep, 0.1)
	default:
		r.GPSStep = put(r.GPSStep, 1)
	}
}

func whole(v float64) bool { return v == math.Trunc(v) }

func calibValue(v Value) calib.Value {
	if v.Label != "" {
		return calib.Label(v.Label)
	}
	return calib.Number(v.Num)
}

func flowValue(v calib.Value) Value { return Value{Num: v.Number, Label: v.Label} }

// calibSize gives a size by its measures; they are as exact as the marking.
func (s *State) calibSize(which string) calib.Size {
	f := s.Sizes[which]
	return calib.Size{DiameterMM: f.DiameterMM, Flotation: f.OverallIn > 0}
}

func (s *State) otherAxle() *calib.OtherAxle {
	var o calib.OtherAxle
	for which, p := range map[string]**calib.Size{"factory_other": &o.FactorySize, "fitted_other": &o.NewSize} {
		if _, ok := s.Sizes[which]; ok {
			z := s.calibSize(which)
			*p = &z
		}
	}
	if a, ok := s.Answers[Key{QTread, "other"}]; ok && a.Number > 0 {
		o.TreadNowMM = &a.Number
	}
	if o == (calib.OtherAxle{}) {
		return nil
	}
	return &o
}
