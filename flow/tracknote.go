package flow

import (
	"regexp"
	"strconv"
	"strings"

	"milepost/calib/unit"
	"milepost/flow/words"
)

// Dash speeds noted on the way: with their times, in either order, or in the
// order of the stretches. What can be paired in two ways is asked about.

// note is a dash speed at a time of day, s, as both were written.
type note struct {
	at   float64
	dash float64
	said string
}

// timePattern is a time of day: hours, minutes and seconds.
const timePattern = `\b(?:[01]?\d|2[0-3])(?:[:.h][0-5]\d){1,2}(?:\s?[ap]m)?\b`

var (
	noteToken = regexp.MustCompile(`(?i)(` + timePattern + `)|(\d+(?:\.\d+)?)`)
	noteParts = regexp.MustCompile(`(?i)[\n;]|,(?:\s|$)|\b(?:and|then)\b`)
	noteNone  = regexp.MustCompile(`(?i)(?:[-–x]|\bnone|\bnothing|\bno reading)\s*$`)
	noteTimes = regexp.MustCompile(`(?i)` + timePattern)
	noteWords = regexp.MustCompile(`(?i)[a-z][a-z'/]*`)
)

// noteTalk are the words that may stand in a note.
var noteTalk = map[string]bool{"at": true, "the": true, "dash": true, "speedo": true, "needle": true, "said": true, "says": true, "showed": true, "shows": true,
	"read": true, "reads": true, "was": true, "is": true, "had": true, "it": true, "on": true, "with": true, "i": true, "saw": true, "noted": true, "about": true,
	"mph": true, "km/h": true, "kmh": true, "kph": true, "a": true, "time": true, "notes": true, "none": true, "nothing": true, "no": true, "reading": true, "x": true,
	"oclock": true, "o'clock": true, "utc": true, "local": true, "hrs": true, "also": true, "next": true, "first": true, "last": true, "parked": true, "here": true, "are": true, "and": true, "then": true}

// notes reads "14:03:20 61, 14:05 56" and "61 at 14:03:20, 56 at 14:05". It is
// false where there are times, but not one figure for each.
func notes(text, speedUnit string) (list []note, ok bool) {
	for _, w := range noteWords.FindAllString(noteTimes.ReplaceAllString(text, " "), -1) {
		w = strings.ToLower(w)
		if !noteTalk[w] || (w == "mph") != (speedUnit == string(unit.MPH)) && (w == "mph" || strings.HasPrefix(w, "k")) {
			return nil, false
		}
	}
	var whole []noteMark // of parts with one mark each: "14:03:20, 61, 14:05, 56"
	for _, part := range noteParts.Split(text, -1) {
		marks := noteMarks(part)
		switch {
		case len(marks) == 0:
		case len(marks) == 1 && marks[0].time && noteNone.MatchString(part):
		case len(marks) == 1:
			whole = append(whole, marks[0])
		default:
			pairs, fine := noteCouples(marks)
			if !fine {
				return nil, false
			}
			list = append(list, pairs...)
		}
	}
	if len(whole) > 0 {
		pairs, fine := noteCouples(whole)
		if !fine || len(list) > 0 {
			return nil, false
		}
		list = pairs
	}
	return list, len(list) > 0 && len(list) <= maxAtOnce
}

// noteMark is a time or a figure.
type noteMark struct {
	time bool
	said string
}

func noteMarks(part string) (marks []noteMark) {
	for _, m := range noteToken.FindAllStringSubmatch(part, -1) {
		marks = append(marks, noteMark{m[1] != "", m[0]})
	}
	return marks
}

// noteCouples pairs marks that take turns.
func noteCouples(marks []noteMark) (list []note, ok bool) {
	if len(marks)%2 != 0 {
		return nil, false
	}
	for i := 0; i < len(marks); i += 2 {
		a, b := marks[i], marks[i+1]
		if a.time == b.time || a.time != marks[0].time {
			return nil, false
		}
		if b.time {
			a, b = b, a
		}
		v, err := strconv.ParseFloat(b.said, 64)
		if err != nil || v < 3 || v > 260 {
			return nil, false
		}
		list = append(list, note{at: clockSecond(a.said), dash: v, said: a.said})
	}
	return list, true
}

var clockFigures = regexp.MustCompile(`\d+`)

func clockSecond(said string) float64 {
	var parts [3]int
	for i, f := range clockFigures.FindAllString(said, 3) {
		parts[i], _ = strconv.Atoi(f)
	}
	switch half := strings.ToLower(said); {
	case strings.HasSuffix(half, "pm") && parts[0] < 12:
		parts[0] += 12
	case strings.HasSuffix(half, "am") && parts[0] == 12:
		parts[0] = 0
	}
	return float64(parts[0]*3600 + parts[1]*60 + parts[2])
}

var noMoreNotes = []string{"no notes", "none noted", "nothing noted", "no more", "no more notes", "that's all", "thats all", "that is all", "that's it", "nothing more", "nothing else", "none left", "no others"}

var noNotes = map[string]bool{"none": true, "nothing": true, "no": true, "done": true}

// takeNotes pairs the dash speeds with the stretches: by their times, or one
// figure for each stretch that is left, in order, "-" for none.
func (t *turn) takeNotes(in *input) bool {
	k := t.s.openTrack()
	said := strings.ToLower(strings.Trim(in.Text, " .!"))
	if in.Choice == "no_notes" || in.Choice == "no_more" || noNotes[said] || hasWord(said, noMoreNotes...) && !noteToken.MatchString(said) {
		t.trackDone(0)
		in.Text = ""
		return true
	}
	if noteTimes.MatchString(in.Text) {
		if ns, ok := notes(in.Text, t.speedUnit()); ok {
			t.takeTimed(k, ns)
		} else if milePattern.MatchString(in.Text) {
			return false
		} else {
			t.understood("track.unclear", words.Args{"Said": short(in.Text)})
		}
		in.Text = ""
		return true
	}
	fields := strings.FieldsFunc(in.Text, func(r rune) bool { return r == ' ' || r == ',' || r == ';' || r == '\n' })
	left := t.s.untold()
	var facts []*ReadingFact
	var told []int
	for i, f := range fields {
		if f == "-" || f == "x" {
			continue
		}
		v, err := strconv.ParseFloat(f, 64)
		if err != nil || v < 3 || v > 260 {
			return false
		}
		if i < len(left) {
			told = append(told, left[i])
			facts = append(facts, t.trackReading(k, v, k.Stretches[left[i]]))
		}
	}
	switch {
	case len(fields) == 0:
		return false
	case len(fields) != len(left):
		t.understood("track.count", words.Args{"Said": short(in.Text), "N": len(left)})
	default:
		t.trackDone(len(facts))
		t.recordTrack(facts, nil, told, 0)
	}
	in.Text = ""
	return true
}

// timedToo takes notes that come when their question is closed, or before
// there is a track: a time is no speed. It says whether there were any.
func (t *turn) timedToo(in *input) bool {
	if !noteTimes.MatchString(in.Text) {
		return false
	}
	ns, ok := notes(in.Text, t.speedUnit())
	if !ok {
		return false
	}
	switch k := t.s.drivenTrack(); {
	case k != nil:
		t.takeTimed(k, ns)
	case t.s.Driving():
		t.record(&NoteFact{}, Item{ItemText, in.Text})
		t.understood("drive.unread", words.Args{"Said": short(in.Text)})
	default:
		t.record(&NoteFact{}, Item{ItemText, in.Text})
		t.understood("track.none", nil)
	}
	in.Text = ""
	return true
}

func (t *turn) trackReading(k *TrackFact, dash float64, s StretchFact) *ReadingFact {
	return &ReadingFact{Indicated: dash, Reference: round(t.inSpeed(s.SpeedMS), 1), Unit: t.speedUnit(), Drive: k.Drive, Decimals: true, TrackMean: true}
}

// recordTrack records readings of a track, with the times they were noted at,
// which stretches they tell, and by how many seconds the clock that was read
// goes before the track's.
func (t *turn) recordTrack(facts []*ReadingFact, times []string, told []int, by float64) {
	for _, i := range told {
		if !t.s.HasFor(QDrive, t.s.stretchKey(i)) {
			t.record(&AnswerFact{Question: QDrive, About: t.s.stretchKey(i), Number: by, Value: "noted"})
		}
	}
	if len(facts) > 0 {
		t.recordReadings(facts, times...)
	}
}

// trackDone records that a track's notes are in.
func (t *turn) trackDone(n int) {
	t.record(&AnswerFact{Question: QDrive, About: t.s.trackKey(), Number: float64(n), Value: "noted"})
}
