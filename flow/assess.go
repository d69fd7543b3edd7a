package flow

import (
	"errors"
	"math"
	"slices"
	"strconv"

	"milepost/calib"
	"milepost/calib/unit"
	"milepost/flow/words"
)

// This is the one place where the flow meets the method: the state becomes a
// calib.Case, and an answer becomes entries with the method's and the
// program's version. Nothing is worked out again on reading the log.

// assessed is an answer together with what is needed to speak of it.
type assessed struct {
	calib.Answer
	Model   *calib.Model
	Numbers [][]int // the job's number of each reading, by drive and index of the case
	W       float64
}

// assess runs the method over the state: with first only sizes and
// measurements count, else all readings of all drives. False: the figures
// can't be used, which has been said.
func (t *turn) assess(first bool) (assessed, bool) {
	c, numbers := t.caseOf()
	a := assessed{Numbers: numbers, W: t.workSpeed()}
	err := a.run(c, first)
	var field *calib.FieldError
	switch {
	case errors.As(err, &field):
		t.say(Refusal, "assess.fault", words.Args{"Field": field.Field, "Text": field.Text})
		return a, false
	case err != nil:
		t.fail(err)
		return a, false
	}
	return a, true
}

func (a *assessed) run(c calib.Case, first bool) (err error) {
	if a.Model, err = calib.Fit(c); err != nil {
		return err
	}
	if first {
		a.Answer, err = calib.Target(c)
		return err
	}
	a.Answer, err = a.Model.Review()
	return err
}

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
				r.Indicated, r.Reference = u.To(r.Indicated, dash), u.To(r.Reference, dash)
			}
			cd.Readings = append(cd.Readings, calib.Reading{Indicated: r.Indicated, Reference: r.Reference,
				Struck: r.Struck, TrackMean: r.TrackMean, MileSeconds: r.Seconds})
			ns = append(ns, r.Number)
		}
		if len(cd.Readings) == 0 && cd.Track == 0 {
			continue
		}
		drives, numbers = append(drives, cd), append(numbers, ns)
	}
	return drives, numbers
}

// Factory is the value the vehicle left the factory with, as well as it is
// known: the one found where nothing better is.
func (m *Module) Factory() Value {
	if !m.Original.Zero() {
		return m.Original
	}
	return m.AsFound
}

// step is what the value is rounded to: the tool's smallest step, or where it
// is not known 1, and no coarser than the value as it was read shows. An axle
// ratio is never written in whole numbers.
func (m *Module) step() float64 {
	if m.Step > 0 {
		return m.Step
	}
	step := math.Pow(10, -float64(max(unit.Decimals(m.AsFound.Num), unit.Decimals(m.Original.Num))))
	if q, ok := calib.QuantityOf(calib.AxleRatio); ok && m.Kind == string(q.Kind) {
		step = min(step, q.Step)
	}
	return step
}

// Restore is the value that recovering writes: as found where the factory
// value was only worked out from the placard.
func (m *Module) Restore() Value {
	if (m.Estimated || m.Original.Zero()) && !m.AsFound.Zero() {
		return m.AsFound
	}
	return m.Original
}

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

// aimPolicy is what a person chose, else what the shop has decided, else none.
func (t *turn) aimPolicy() calib.Policy {
	switch t.s.Value(QDistance) {
	case "distance_right":
		return calib.PolicyDistance
	case "dash_right":
		if t.accuracyRule() == string(calib.RuleNeverUnder) {
			return calib.PolicyNeverUnder
		}
		return calib.PolicyTrue
	}
	return calib.Policy(t.env.Policy.Calib)
}

// accuracyRule is the rule that a person named, else the shop's.
func (t *turn) accuracyRule() string {
	if r := t.s.Value(QRule); r != "" {
		return r
	}
	return t.env.Policy.Rule
}

// inDash turns a speed of the policy into the dash's unit.
func (t *turn) inDash(v float64) float64 {
	return unit.Speed(t.env.Policy.Speed).To(v, unit.Speed(t.speedUnit()))
}

// workSpeed is W: the fastest true speed that policy, the posted limit and the
// tyre's speed symbol allow (calibration method, section 8).
func (t *turn) workSpeed() float64 { return min(t.wantedSpeed(), t.symbolCap()) }

// wantedSpeed is W but for the speed symbol.
func (t *turn) wantedSpeed() float64 {
	w := 70.0
	if t.speedUnit() == string(unit.KMH) {
		w = 110
	}
	if p := t.env.Policy.WorkSpeed; p > 0 {
		w = min(w, math.Floor(t.inDash(p)+0.5))
	}
	if a, ok := t.s.Answers[Key{QDrive, "limit"}]; ok && a.Number > 0 {
		w = min(w, unit.Speed(a.Unit).To(a.Number, unit.Speed(t.speedUnit())))
	}
	return w
}

// recordTargets records the value to write of every module: the main one's as
// the method gave it, each other converted to its own kind, step and limits.
func (t *turn) recordTargets(a assessed) {
	main := t.s.Main()
	r := a.Rounded().Target
	t.record(&TargetFact{Value: flowValue(r.Value), Unit: r.Unit, Quantity: r.Quantity, Low: r.Low, High: r.High,
		CircumferenceMM: r.CircumferenceMM, Limited: r.Limited, Module: main.Name, Method: a.Method, Program: t.env.Program})
	for i := range t.s.Modules {
		if i > 0 {
			t.recordConverted(a, &t.s.Modules[i])
		}
	}
}

// recordConverted records the target of a further module. Where a limit holds
// the main module's value, the others follow it, so that all agree.
func (t *turn) recordConverted(a assessed, m *Module) {
	mm := a.Target.CircumferenceMM
	part := (a.Target.High - a.Target.Low) / (a.Target.High + a.Target.Low)
	sref, err := calib.StoredFromSize(t.s.calibSize("factory"))
	if err != nil {
		t.fail(err)
		return
	}
	if scale, ok := t.s.Main().scale(sref); ok && a.Target.Limited != "" {
		mm = scale.Circumference(a.Target.Value.Number)
	}
	f := &TargetFact{Unit: m.Unit, Quantity: m.Quantity, CircumferenceMM: round(mm, 3), Module: m.Name,
		Method: a.Method, Program: t.env.Program}
	if m.Kind == string(calib.SizeList) {
		f.Value.Label = nearestLabel(m.List, mm)
		f.Low, f.High = round(mm*(1-part), 1), round(mm*(1+part), 1)
		t.record(f)
		return
	}
	scale, ok := m.scale(sref)
	if !ok {
		return
	}
	step, low, high := m.step(), 0.0, 1e7
	if m.Min != nil {
		low = *m.Min
	}
	if m.Max != nil {
		high = *m.Max
	}
	v, limited := scale.Snap(mm, step, low, high, t.aimsOver())
	f.Value, f.Limited = Number(v), limited
	f.Low, f.High = round(scale.Value(mm*(1-part)), 4), round(scale.Value(mm*(1+part)), 4)
	if f.Low > f.High {
		f.Low, f.High = f.High, f.Low
	}
	t.record(f)
}

// aimsOver says whether of two steps the one that shows more is taken.
func (t *turn) aimsOver() bool {
	p := t.aimPolicy()
	return p == calib.PolicyNeverUnder || (p == "" && t.accuracyRule() == string(calib.RuleNeverUnder))
}

// scale is how a module's numbers turn into circumferences; kinds that know
// only ratios hang on sref.
func (m *Module) scale(sref float64) (calib.Scale, bool) {
	return calib.NewScale(calib.Kind(m.Kind), m.Factory().Num, sref, calib.Direction(m.Direction))
}

func nearestLabel(list []ListEntry, mm float64) string {
	best, least := "", math.Inf(1)
	for _, e := range list {
		c := e.CircumferenceMM
		if c == 0 {
			c, _ = calib.StoredFromSize(calib.SizeText(e.Label))
		}
		if d := math.Abs(c - mm); c > 0 && d < least {
			best, least = e.Label, d
		}
	}
	return best
}

// recordErrors records the dash's errors with the value that counts.
func (t *turn) recordErrors(a assessed, v Value) {
	f := &ErrorsFact{Value: v, Method: a.Method}
	for _, e := range a.Rounded().Errors {
		if e.At > a.W {
			continue // faster than anyone is asked to drive
		}
		f.Errors = append(f.Errors, SpeedError{At: e.At, Unit: e.Unit, Before: e.Before, After: e.After, PlusMinus: e.PlusMinus})
	}
	t.record(f)
}

// recordDecision records what the method decided, with its warnings.
func (t *turn) recordDecision(a assessed) {
	d := a.Rounded().Decision
	f := &DecisionFact{Do: string(d.Do), Because: d.Because, Reason: string(d.Reason), Method: a.Method, Program: t.env.Program}
	if d.Value != nil {
		f.Value = flowValue(*d.Value)
	}
	if d.Near != nil {
		f.Near = *d.Near
	}
	for _, w := range a.Warnings {
		if !slices.Contains(f.Warnings, string(w.Code)) {
			f.Warnings = append(f.Warnings, string(w.Code))
		}
	}
	t.record(f)
}

// decided says what the last decision was: "" before the first.
func (s *State) decided() (do, reason string) {
	if s.Decision == nil {
		return "", ""
	}
	return s.Decision.Do, s.Decision.Reason
}

// decidedAbout names the last decision, so that a tap on an earlier one is
// known as stale.
func (s *State) decidedAbout() string { return strconv.Itoa(s.Decisions) }

// warned says whether the last decision carries a warning.
func (s *State) warned(code calib.Code) bool {
	return s.Decision != nil && slices.Contains(s.Decision.Warnings, string(code))
}

// errorAt gives the recorded error at W, the fastest speed of the list.
func errorAtW(es []SpeedError) SpeedError {
	var w SpeedError
	for _, e := range es {
		if e.At >= w.At {
			w = e
		}
	}
	return w
}
