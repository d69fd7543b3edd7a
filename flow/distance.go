package flow

import (
	"math"
	"regexp"
	"strconv"
	"strings"

	"milepost/calib/track"
	"milepost/calib/unit"
	"milepost/flow/understand"
	"milepost/flow/words"
)

// Other evidence of a drive: odometer against track, a measured mile.

// distances takes the odometer against the track or mile posts.
func (t *turn) distances(in *input) bool {
	m, ok, _ := understand.OdometerCheck(in.Text, t.context())
	v := m.Value
	if !ok {
		odo, said := odometerAlone(in.Text)
		metres := t.s.trackMetres()
		if !said || metres <= 0 {
			return false
		}
		u := unit.Distance(t.distanceUnit())
		v = understand.Stretch{Odometer: odo, Track: round(u.FromMetres(metres), 2), Unit: string(u)}
	}
	in.Text = ""
	if from, to := unit.Distance(v.Unit), unit.Distance(t.distanceUnit()); from != to && from.Valid() {
		v.Odometer, v.Track = to.FromMetres(from.Metres(v.Odometer)), to.FromMetres(from.Metres(v.Track))
	}
	c, err := track.Compare(v.Odometer, v.Track)
	if err != nil {
		t.understood("drive.distance.no", words.Args{"Odometer": plainFigure(round(v.Odometer, 2)), "Unit": t.distanceUnit()})
		if t.s.Driving() {
			t.sayNow("", nil)
		}
		return true
	}
	d := t.openDrive()
	t.record(&DriveFact{Drive: d.Drive, What: "distance", Value: d.Value, Odometer: round(c.Odometer, 3), Track: round(c.Track, 3)})
	t.understood("echo.distance", words.Args{"Odometer": plainFigure(round(c.Odometer, 2)), "Track": plainFigure(round(c.Track, 2)),
		"Unit": t.distanceUnit(), "Percent": unit.Figure(math.Abs(c.Ratio()-1)*100, 1), "Short": c.Ratio() > 1})
	if t.s.Driving() {
		t.sayNow("", nil)
	}
	return true
}

var odometerAlonePattern = regexp.MustCompile(`(?i)^\s*(?:odo|odometer|trip)\D{0,10}(\d+(?:\.\d+)?)\s*(?:mi|miles|km)?\s*$`)

func odometerAlone(text string) (float64, bool) {
	m := odometerAlonePattern.FindStringSubmatch(text)
	if m == nil {
		return 0, false
	}
	v, err := strconv.ParseFloat(m[1], 64)
	return v, err == nil && v > 0
}

var milePattern = regexp.MustCompile(`(?i)\b(?:measured )?(mile|km|kilomet(?:re|er))\b\D{0,12}(\d{2,3}(?:\.\d+)?)\s*(?:s|sec|secs|seconds)\b`)
var dashPattern = regexp.MustCompile(`(?i)\bdash\D{0,8}(\d{2,3}(?:\.\d+)?)|(\d{2,3}(?:\.\d+)?)\s*(?:on|by) the dash\b`)

// measuredMile takes the time of a measured mile or kilometre at a held dash
// speed: "mile 51.2 s, dash 70".
func (t *turn) measuredMile(in *input) bool {
	m := milePattern.FindStringSubmatch(in.Text)
	d := dashPattern.FindStringSubmatch(in.Text)
	if m == nil || d == nil {
		return false
	}
	seconds, _ := strconv.ParseFloat(m[2], 64)
	shown, _ := strconv.ParseFloat(d[1]+d[2], 64)
	in.Text = ""
	u := unit.MPH
	if !strings.HasPrefix(strings.ToLower(m[1]), "mile") {
		u = unit.KMH
	}
	dash := unit.Speed(t.speedUnit())
	perMile := seconds
	if u == unit.KMH {
		perMile = seconds * unit.KMHPerMPH
	}
	t.recordReadings([]*ReadingFact{{Indicated: shown, Reference: round(u.To(3600/seconds, dash), 2), Unit: string(dash),
		Drive: t.openDrive().Drive, Decimals: true, Seconds: round(perMile, 2)}})
	if t.s.Driving() {
		t.sayNow("", nil)
	}
	return true
}
