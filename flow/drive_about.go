package flow

import (
	"regexp"
	"strconv"
	"strings"

	"milepost/calib/unit"
	"milepost/flow/understand"
	"milepost/flow/words"
)

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
