package flow

import (
	"math"
	"regexp"
	"strconv"
	"strings"
	"time"

	"milepost/calib/unit"
	"milepost/flow/words"
)

// A track file brings steady stretches without positions. The dash speeds are
// noted with times, or typed in the order of the stretches.

// takeTrackFile keeps a track and its steady stretches.
func (t *turn) takeTrackFile(in *input) bool {
	f := in.File
	if f.Track == nil {
		t.keepFile(f, "other")
		t.understood("file.kept", fileArgs(f))
		if t.s.Driving() {
			t.sayNow("", nil)
		}
		return true
	}
	d := t.openDrive()
	t.keepFile(f, "track")
	fact := &TrackFact{Drive: d.Drive, Format: f.Track.Format, Seconds: round(f.Track.Seconds, 0), Metres: round(f.Track.Metres, 0)}
	for _, s := range f.Track.Stretches {
		fact.Stretches = append(fact.Stretches, StretchFact{Start: s.Start.UTC(), Seconds: round(s.Seconds, 1), SpeedMS: round(s.SpeedMS, 3)})
	}
	t.record(fact)
	switch {
	case len(fact.Stretches) == 0:
		t.understood("track.unsteady", nil)
	case t.s.Driving():
		t.understood("track.kept", words.Args{"N": len(fact.Stretches)})
	}
	if !t.s.Driving() {
		t.park() // a recorded track is brought home
	} else {
		t.sayNow("", nil)
	}
	return true
}

// openTrack is the last drive's track whose dash speeds are not told yet.
func (s *State) openTrack() *TrackFact {
	n := len(s.Tracks)
	if n == 0 || len(s.Drives) == 0 || s.Driving() {
		return nil
	}
	k := &s.Tracks[n-1]
	if k.Drive != s.lastDrive() || len(k.Stretches) == 0 || s.HasFor(QDrive, "track."+strconv.Itoa(n)) {
		return nil
	}
	return k
}

// trackMetres is the length of the last drive's track, 0 without one.
func (s *State) trackMetres() float64 {
	if n := len(s.Tracks); n > 0 && s.Tracks[n-1].Drive == s.lastDrive() {
		return s.Tracks[n-1].Metres
	}
	return 0
}

func (t *turn) askTrack(about string) {
	k := t.s.openTrack()
	var parts []string
	for i, s := range k.Stretches {
		parts = append(parts, strconv.Itoa(i+1)+") "+s.Start.In(t.env.Now.Location()).Format("15:04:05")+" "+unit.Figure(t.inSpeed(s.SpeedMS), 1))
		if i == 11 {
			break
		}
	}
	t.ask(QDrive, about+".track", "track.ask", words.Args{"N": len(k.Stretches), "List": strings.Join(parts, "\n"), "Unit": t.speedUnit()}, "no_notes")
}

func (t *turn) inSpeed(ms float64) float64 {
	return unit.Speed(t.speedUnit()).FromKMH(ms * unit.KMHPerMetrePerSecond)
}

var notePattern = regexp.MustCompile(`\b([01]?\d|2[0-3])[:.h]([0-5]\d)(?:[:.]([0-5]\d))?\s*(?:-|=|,)?\s*(?:dash\s*)?(\d{1,3}(?:\.\d)?)\b`)

// takeNotes pairs the dash speeds with the stretches: "14:03:20 61, 14:05 56",
// or one figure for each stretch in order, "-" for none.
func (t *turn) takeNotes(in *input) bool {
	k := t.s.openTrack()
	if in.Choice == "no_notes" || hasWord(strings.ToLower(in.Text), "no notes", "none noted", "nothing noted") {
		t.trackDone(nil)
		in.Text = ""
		return true
	}
	if notes := notePattern.FindAllStringSubmatch(in.Text, -1); len(notes) > 0 {
		t.trackDone(t.byTime(k, notes))
		in.Text = ""
		return true
	}
	fields := strings.FieldsFunc(in.Text, func(r rune) bool { return r == ' ' || r == ',' || r == ';' || r == '\n' })
	if len(fields) == 0 || len(fields) != len(k.Stretches) {
		return false
	}
	var facts []*ReadingFact
	for i, f := range fields {
		if f == "-" || f == "x" {
			continue
		}
		v, err := strconv.ParseFloat(f, 64)
		if err != nil || v < 3 || v > 260 {
			return false
		}
		facts = append(facts, t.trackReading(k, v, k.Stretches[i]))
	}
	t.trackDone(facts)
	in.Text = ""
	return true
}

func (t *turn) trackReading(k *TrackFact, dash float64, s StretchFact) *ReadingFact {
	return &ReadingFact{Indicated: dash, Reference: round(t.inSpeed(s.SpeedMS), 1), Unit: t.speedUnit(), Drive: k.Drive, Decimals: true, TrackMean: true}
}

// trackDone records the readings of a track and that its notes are in.
func (t *turn) trackDone(facts []*ReadingFact) {
	t.record(&AnswerFact{Question: QDrive, About: "track." + strconv.Itoa(len(t.s.Tracks)), Number: float64(len(facts)), Value: "noted"})
	if len(facts) > 0 {
		t.recordReadings(facts)
	}
}

// byTime finds the stretch of each noted time. The clock that was read may
// stand in any zone: of the whole quarter hours the one is taken under which
// most notes fall into a stretch, the track's own time first.
func (t *turn) byTime(k *TrackFact, notes [][]string) []*ReadingFact {
	type note struct{ at, dash float64 }
	var ns []note
	for _, m := range notes {
		h, _ := strconv.Atoi(m[1])
		minute, _ := strconv.Atoi(m[2])
		sec := 0
		if m[3] != "" {
			sec, _ = strconv.Atoi(m[3])
		}
		dash, _ := strconv.ParseFloat(m[4], 64)
		ns = append(ns, note{float64(h*3600 + minute*60 + sec), dash})
	}
	find := func(at float64) *StretchFact {
		for i := range k.Stretches {
			s := &k.Stretches[i]
			from := secondOfDay(s.Start)
			if d := math.Mod(at-from+2*86400, 86400); d >= 0 && d <= s.Seconds+slackNoted {
				return s
			}
		}
		return nil
	}
	best, most := 0, -1
	for _, quarter := range quarters() {
		hits := 0
		for _, n := range ns {
			if find(n.at-float64(quarter*900)) != nil {
				hits++
			}
		}
		if hits > most {
			best, most = quarter, hits
		}
	}
	var facts []*ReadingFact
	var missed []string
	for _, n := range ns {
		if s := find(n.at - float64(best*900)); s != nil {
			facts = append(facts, t.trackReading(k, n.dash, *s))
		} else {
			missed = append(missed, plainFigure(n.dash))
		}
	}
	if len(missed) > 0 {
		t.understood("track.missed", words.Args{"List": joinAnd(missed)})
	}
	return facts
}

// slackNoted: a noted time has an error of its own, s.
const slackNoted = 2.5

func secondOfDay(at time.Time) float64 {
	at = at.UTC()
	return float64(at.Hour()*3600+at.Minute()*60) + float64(at.Second())
}

// quarters lists the offsets of the world's clocks in quarter hours, none
// first, then nearest first.
func quarters() []int {
	out := []int{0}
	for i := 1; i <= 14*4; i++ {
		out = append(out, i, -i)
	}
	return out
}
