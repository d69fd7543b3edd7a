package flow

import (
	"math"
	"regexp"
	"strconv"
	"strings"

	"milepost/calib"
	"milepost/calib/unit"
	"milepost/flow/understand"
	"milepost/flow/words"
)

// drivePhase briefs, then listens between go and parked without asking
// anything, then asks for what was left open, codes and lamps last.
func drivePhase() phaseOf {
	return phaseOf{Questions: []question{
		{ID: QDrive, Done: (*State).driveDone, Ask: askDrive, Take: takeDrive, Bare: true,
			Why: "why.drive", Help: "help.drive", Hint: "hint.drive"},
		doubtQuestion((*State).parked),
		codesQuestion((*State).parked), newCodesQuestion((*State).parked),
	}, Enter: func(t *turn) { t.planDrive() }, Next: func(*turn) Event { return EvDriven }}
}

func (s *State) parked() bool { return s.CurrentDrive() == nil && len(s.Drives) > 0 }

// driveDone: parked, and something was brought back.
func (s *State) driveDone() bool {
	return s.parked() && s.brought() && s.openTrack() == nil
}

// brought says whether the last drive has readings or a comparison.
func (s *State) brought() bool {
	n := len(s.Drives)
	if n == 0 {
		return false
	}
	return s.Drives[n-1].Track > 0 || s.readingsOn(s.Drives[n-1].Drive) > 0
}

func (s *State) readingsOn(drive int) (n int) {
	for _, r := range s.Readings {
		if r.Drive == drive {
			n++
		}
	}
	return n
}

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

// takeDrive reads everything a drive may bring. While somebody drives nothing
// is asked: what is taken is said in a notice.
func takeDrive(t *turn, in *input) bool {
	if in.File != nil {
		return t.takeTrackFile(in)
	}
	switch in.Choice {
	case "go":
		t.setOff()
		return true
	case "alone":
		t.record(&AnswerFact{Question: QDrive, About: "alone", Value: "yes"})
		return true
	case "no_faster":
		t.noFaster()
		return true
	case "parked":
		t.park()
		return true
	}
	if t.s.openTrack() != nil && !t.s.Driving() && t.takeNotes(in) {
		return true
	}
	c, ok := t.heard(in.Text)
	if ok {
		switch c.Value.Name {
		case understand.CmdGo:
			in.Text = ""
			t.setOff()
			return true
		case understand.CmdParked:
			in.take(c.Start, min(c.Value.ArgStart, len(in.Text)))
			t.home(in)
			return true
		case understand.CmdDriveFirst:
			askDrive(t)
			return true
		}
	}
	if t.aboutDrive(in) {
		return true
	}
	seen := t.s.Driving() && t.seenDriving(in)
	took := t.readingsToo(in)
	if seen && !took && !parkedWords.MatchString(in.Text) {
		t.sayNow("drive.noted", nil)
		in.Text = ""
		return true
	}
	if !took && parkedWords.MatchString(in.Text) {
		t.home(in)
		return true
	}
	if took {
		if parkedWords.MatchString(in.Text) {
			t.home(in)
		} else if !t.s.Driving() && t.s.CurrentDrive() != nil {
			t.typedWithoutGo()
		}
		in.Text = ""
		return true
	}
	if t.s.Driving() {
		t.sayNow("drive.unread", words.Args{"Said": short(in.Text)})
		t.record(&NoteFact{}, Item{ItemText, in.Text})
		in.Text = ""
		return true
	}
	return false
}

var parkedWords = regexp.MustCompile(`(?i)\bparked\b`)

// setOff opens the bracket: from here to parked nothing is asked.
func (t *turn) setOff() {
	if t.s.CurrentDrive() == nil {
		t.planDrive()
	}
	d := t.s.CurrentDrive()
	if d.Started {
		return
	}
	t.record(&DriveFact{Drive: d.Drive, What: "go", Value: d.Value})
	t.sayNow("drive.go", nil)
}

// home takes what comes with "parked": readings first, then codes and lamps.
func (t *turn) home(in *input) {
	t.readingsToo(in)
	t.park()
	if c := readCodes(in); c.Any() {
		t.recordCodes(c)
	}
	in.Text = ""
}

func (t *turn) park() {
	if d := t.s.CurrentDrive(); d != nil {
		t.record(&DriveFact{Drive: d.Drive, What: "parked", Value: d.Value})
	}
}

// typedWithoutGo: three or more readings typed at once were driven before;
// with fewer the drive may still be on, so that nothing is asked.
func (t *turn) typedWithoutGo() {
	d := t.s.CurrentDrive()
	if n := t.s.readingsOn(d.Drive); n >= 3 {
		t.park()
		return
	}
	t.understood("drive.more", words.Args{"N": max(1, len(d.Speeds)-t.s.readingsOn(d.Drive))})
	t.sayNow("", nil)
}

// sayNow sends a notice with what was understood in front of it; an empty key
// sends that alone.
func (t *turn) sayNow(key string, args words.Args) {
	if key == "" {
		if e := t.flush(); e != "" {
			t.sayText(e)
		}
		return
	}
	t.say(Notice, key, args)
}

// sayText sends a line that is already worded.
func (t *turn) sayText(text string) {
	t.post(Notice, t.worker(), t.addressed(""), text, "echo", nil, 0)
}

var limitPattern = regexp.MustCompile(`(?i)\b(?:posted |speed )?limit(?:ed)?\b\D{0,24}?(\d{2,3})\s*(mph|km/h|kmh|kph)?|(\d{2,3})\s*(mph|km/h|kmh|kph)?\s*(?:zone|limit)\b`)
var fasterPattern = regexp.MustCompile(`(?i)\b(?:can'?t|cannot|can not|not|no|isn'?t|couldn'?t|impossible)\b.{0,30}\bfaster\b|\bfaster\b.{0,20}\b(?:not|isn'?t|impossible)\b|\bas fast as\b`)
var alonePattern = regexp.MustCompile(`(?i)\b(?:alone|on my own|by myself|no passenger|no one else|just me)\b`)

// aboutDrive takes what is said of the drive itself: the posted limit, that
// faster isn't possible, that the driver is alone, the source, distances.
func (t *turn) aboutDrive(in *input) bool {
	if m := limitPattern.FindStringSubmatch(in.Text); m != nil {
		t.postedLimit(m)
		in.Text = ""
		return true
	}
	if fasterPattern.MatchString(in.Text) {
		t.noFaster()
		in.Text = ""
		return true
	}
	if alonePattern.MatchString(in.Text) && !t.s.Driving() {
		t.record(&AnswerFact{Question: QDrive, About: "alone", Value: "yes"})
		in.Text = ""
		return true
	}
	return t.distances(in) || t.measuredMile(in)
}

// postedLimit plans the drive again under the limit of the road.
func (t *turn) postedLimit(m []string) {
	figure, said := m[1], m[2]
	if figure == "" {
		figure, said = m[3], m[4]
	}
	v, err := strconv.ParseFloat(figure, 64)
	if err != nil || v < 15 || v > 140 {
		return
	}
	u := t.speedUnit()
	switch strings.ToLower(said) {
	case "mph":
		u = string(unit.MPH)
	case "km/h", "kmh", "kph":
		u = string(unit.KMH)
	}
	t.record(&AnswerFact{Question: QDrive, About: "limit", Number: v, Unit: u})
	t.understood("echo.limit", words.Args{"Value": speedFigure(v), "Unit": u})
	if d := t.s.CurrentDrive(); d != nil && !d.Started {
		t.record(&DriveFact{Drive: d.Drive, What: "planned", Value: d.Value, Speeds: t.speeds()})
	}
	if t.s.Driving() {
		t.sayNow("", nil)
	}
}

func (t *turn) noFaster() {
	t.record(&AnswerFact{Question: QDrive, About: "faster", Value: "no"})
	t.understood("echo.no-faster", nil)
	if t.s.Driving() {
		t.sayNow("", nil)
	}
	if t.s.CurrentDrive() != nil && !t.s.CurrentDrive().Started && len(t.s.Readings) >= 3 && t.s.readingsOn(t.s.lastDrive()) == 0 {
		// What was asked for can't be driven: the readings there are decide.
		d := t.s.CurrentDrive()
		t.record(&DriveFact{Drive: d.Drive, What: "dropped", Value: d.Value})
	}
}

// sourceOf notes by which display a drive is read: one, named once.
func (t *turn) sourceOf(r understand.Reading) {
	n := len(t.s.Drives)
	if r.Source == "" || n == 0 {
		return
	}
	d := t.s.Drives[n-1]
	switch d.Source {
	case r.Source:
	case "":
		t.record(&DriveFact{Drive: d.Drive, What: "source", Value: d.Value, Source: r.Source})
	default:
		t.understood("drive.source", words.Args{"Source": d.Source, "Other": r.Source})
	}
}
