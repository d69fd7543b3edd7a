package flow

import (
	"math"
	"regexp"
	"strconv"

	"milepost/calib"
	"milepost/calib/unit"
	"milepost/flow/words"
)

// planDrive records a drive with the speeds to ask for.
func (t *turn) planDrive() {
	n, now := t.s.lastDrive()+1, t.s.Main().Now
	if d := t.s.CurrentDrive(); d != nil {
		if d.Value == now && !d.Started {
			n = d.Drive // planned before and not driven
		} else {
			t.park()
		}
	}
	t.record(&DriveFact{Drive: n, What: "planned", Value: now, Speeds: t.speeds()})
}

// speeds are the true speeds to ask for, in order (calibration method, section
// 8): five first, three later, three near the speed that tells most.
func (t *turn) speeds() []int {
	w := t.workSpeed()
	first := len(t.s.Readings) == 0 && !t.s.checksKnown()
	list := calib.DriveSpeeds(unit.Speed(t.speedUnit()), first, w)
	if d := t.s.Decision; d != nil && d.Do == string(calib.Read) && d.Near > 0 && !first && d.Reason != string(calib.ReasonTooFew) {
		near := math.Min(d.Near, w)
		list = []float64{near, near - 1, near - 2}
	}
	out := make([]int, 0, len(list))
	for _, v := range list {
		out = append(out, int(math.Floor(v)))
	}
	return out
}

// askDrive asks for the drive. While somebody drives it asks nothing.
func askDrive(t *turn) {
	s := t.s
	if s.Driving() {
		if e := t.flush(); e != "" {
			t.sayText(e)
		}
		return
	}
	n := s.lastDrive()
	about := strconv.Itoa(n)
	d := s.CurrentDrive()
	switch {
	case s.openTrack() != nil:
		t.askTrack(about)
		return
	case d == nil:
		t.ask(QDrive, about+".none", "drive.none", words.Args{"Unit": t.speedUnit()}, "go")
		return
	}
	t.brief(d, about)
}

// brief asks for the drive: GPS speeds and what the dash will show, from the
// present estimate.
func (t *turn) brief(d *DriveState, about string) {
	s := t.s
	bike := s.onTwoWheels()
	alone := s.Answers[Key{QDrive, "alone"}].Value == "yes"
	t.caution("gps", false)
	gps := make([]float64, len(d.Speeds))
	dash := make([]float64, len(d.Speeds))
	a, ok := t.assess(false)
	for i, v := range d.Speeds {
		gps[i] = float64(v)
		if ok {
			shown, _, err := a.Model.Shown(calibValue(s.Main().Now), gps[i])
			ok = err == nil
			dash[i] = math.Round(shown)
		}
	}
	args := words.Args{"GPS": speedList(gps), "First": "", "Rest": "", "Dash": "", "Unit": t.speedUnit(), "Value": t.figure(s.Main().Now),
		"Again": len(s.Readings) > 0, "Bike": bike, "Alone": alone, "Limited": t.limitedBy(), "N": len(gps)}
	if len(gps) > 0 {
		args["First"], args["Rest"] = speedFigure(gps[0]), speedList(gps[1:])
	}
	if ok {
		args["Dash"] = speedList(dash)
	}
	key := "drive.brief"
	switch {
	case bike:
		key = "drive.brief.bike"
	case alone:
		key = "drive.brief.alone"
	case len(s.Readings) > 0:
		key = "drive.brief.again"
	}
	t.cautionApart("driver")
	choices := []string{"go"}
	if !bike && !alone {
		choices = append(choices, "alone")
	}
	if _, reason := s.decided(); reason == string(calib.ReasonTooSlow) {
		choices = append(choices, "no_faster")
	}
	t.ask(QDrive, about, key, args, choices...)
}

var bikeWords = regexp.MustCompile(`(?i)\b(?:motor ?cycle|motor ?bike|bike|moped|scooter|trike)\b`)

// onTwoWheels says whether nobody but the rider is there to read a dash.
func (s *State) onTwoWheels() bool { return bikeWords.MatchString(s.Vehicle) }

// limitedBy names what holds the fastest speed down, "" if nothing does.
func (t *turn) limitedBy() string {
	w := t.workSpeed()
	switch a, ok := t.s.Answers[Key{QDrive, "limit"}]; {
	case w == t.symbolCap():
		return "symbol"
	case ok && unit.Speed(a.Unit).To(a.Number, unit.Speed(t.speedUnit())) == w:
		return "limit"
	}
	return ""
}
