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

// readingsToo takes readings out of a message, and what is said of earlier
// ones: strike, keep, correct, swap. It says whether there was any.
func (t *turn) readingsToo(in *input) bool {
	if at := takenBack.FindStringIndex(in.Text); at != nil {
		if ms, _ := understand.Readings(in.Text[:at[0]], t.context()); len(ms) > 0 {
			return t.strikeAtOnce(in, at[0])
		}
	}
	if t.mend(in) || t.timedToo(in) {
		return true
	}
	ms, ask := understand.Readings(in.Text, t.context())
	if len(ms) == 0 && ask == nil {
		return false
	}
	if len(ms) > maxAtOnce {
		t.understood("drive.too-many", words.Args{"Number": len(ms), "Most": maxAtOnce})
		in.Text = ""
		return true
	}
	took := false
	var mixed []*ReadingFact
	defer func() { t.sayDoubted(mixed) }()
	for range maxPairs {
		if len(ms) > 0 {
			t.takeReadings(ms)
			in.Text = understand.MaskAll(in.Text, ms)
			took = true
		}
		if ask == nil || ask.Code != understand.AskReadingUnits {
			break
		}
		f := t.mixedPair(ask)
		if f == nil {
			break
		}
		mixed = append(mixed, f)
		took = true
		if !in.drop(ask.Said) {
			break
		}
		ms, ask = understand.Readings(in.Text, t.context())
	}
	if ask == nil {
		return took
	}
	switch ask.Code {
	case understand.AskReadingTool:
		t.record(&NoteFact{}, Item{ItemText, in.Text})
		t.understood("drive.tool", nil)
		in.Text, took = "", true
	case understand.AskReadingNone, understand.AskReadingSingle, understand.AskReadingUnits:
		return took
	default:
		if t.s.Driving() || took {
			t.understood("drive.left", words.Args{"Said": ask.Said})
			return true
		}
		t.askBack(ask)
		return true
	}
	return took
}

// takenBack takes back the pair it stands behind: "66/70, strike that".
var takenBack = regexp.MustCompile(`(?i)[\s,;.–-]*\b(?:strike|scratch)\s+(?:that|it|this|that one)[.!\s]*$`)

// strikeAtOnce takes the readings before the words that take the last of them
// back, and strikes that one.
func (t *turn) strikeAtOnce(in *input, end int) bool {
	n := len(t.s.Readings)
	in.Text = in.Text[:end]
	took := t.readingsToo(in)
	if last := len(t.s.Readings); last > n {
		t.mendReading(&t.s.Readings[last-1], "struck", 0, 0)
	}
	return took
}

// maxAtOnce bounds the readings of one message: a drive has a handful.
const maxAtOnce = 20

// maxPairs bounds the pairs in two units that one message may bring.
const maxPairs = 50

// drop takes words out of the text; false where they do not stand in it as
// they are.
func (in *input) drop(said string) bool {
	i := strings.Index(in.Text, said)
	if i < 0 || said == "" {
		return false
	}
	in.take(i, i+len(said))
	return true
}

// openDrive is the drive that readings belong to: the one under way, else the
// last, else a new one at the value now stored.
func (t *turn) openDrive() *DriveState {
	if len(t.s.Drives) == 0 {
		t.planDrive()
	}
	return &t.s.Drives[len(t.s.Drives)-1]
}

// takeReadings records pairs with what the method makes of them, and echoes
// them so that a slip is caught.
func (t *turn) takeReadings(ms []understand.Match[understand.Reading]) {
	facts := t.pairs(ms)
	for _, m := range ms {
		t.sourceOf(m.Value)
	}
	t.recordReadings(facts)
}

// unsteady says whether a pair was not taken at a held speed: it is left out.
func unsteady(conditions []string) bool { return len(conditions) > 0 }

// recordReadings weighs new readings against the others and records them. Noted
// times, where there are any, stand in the echo.
func (t *turn) recordReadings(facts []*ReadingFact, times ...string) {
	n := len(t.s.Readings)
	for i, f := range facts {
		f.Number = n + 1 + i
	}
	notes := t.weigh(facts)
	var fine, left, repeats []string
	for i, f := range facts {
		repeat := t.s.repeated(f)
		if note, ok := notes[f.Number]; ok && !repeat {
			f.Questioned, f.Expected, f.Z = note.Questioned && !f.Struck, round(note.Expected, 1), round(note.Z, 2)
		}
		t.record(f)
		pair := pairText(f)
		if i < len(times) {
			pair = times[i] + " " + pair
		}
		switch {
		case f.Struck:
			left = append(left, pair)
		case repeat:
			repeats = append(repeats, pair)
		case !f.Questioned:
			fine = append(fine, pair)
		}
	}
	if len(fine) > 0 {
		t.understood("echo.readings", words.Args{"Pairs": joinAnd(fine)})
	}
	if len(repeats) > 0 {
		t.understood("echo.repeats", words.Args{"Pairs": joinAnd(repeats)})
	}
	if len(left) > 0 {
		t.understood("echo.left-out", words.Args{"Pairs": joinAnd(left)})
	}
	var doubted []*ReadingFact
	for _, f := range facts {
		if f.Questioned {
			doubted = append(doubted, f)
		}
	}
	t.sayDoubted(doubted)
}

// sayDoubted echoes the pairs in doubt: one with what was expected, several
// together.
func (t *turn) sayDoubted(facts []*ReadingFact) {
	if len(facts) == 1 {
		t.understood("echo.doubt", t.doubtArgs(facts[0]))
	}
	if len(facts) < 2 {
		return
	}
	var pairs []string
	units := true
	for _, f := range facts {
		pairs = append(pairs, pairText(f))
		units = units && mixedUnits(f) != 0
	}
	t.understood("echo.doubts", words.Args{"Pairs": joinAnd(pairs), "Units": units})
}

// weigh asks the method what it makes of readings that are not yet recorded.
// Earlier ones that come into doubt now are asked about in the review.
func (t *turn) weigh(facts []*ReadingFact) map[int]calib.ReadingNote {
	try := &turn{s: t.s.Clone(), env: t.env, m: t.m}
	for _, f := range facts {
		try.s.apply(&Entry{Kind: f.Kind(), Fact: f})
	}
	c, numbers := try.caseOf()
	a, err := calib.Review(c)
	notes := map[int]calib.ReadingNote{}
	if err != nil {
		return notes
	}
	for _, n := range a.Readings {
		notes[numbers[n.Drive][n.Index]] = n
	}
	return notes
}

// repeated says whether the same pair stands on this drive already: on cruise
// control it is the same place in the display's cell and counts once.
func (s *State) repeated(f *ReadingFact) bool {
	for _, r := range s.Readings {
		if r.Drive == f.Drive && !r.Struck && r.Number < f.Number && r.Indicated == f.Indicated && r.Reference == f.Reference {
			return true
		}
	}
	return false
}

func pairText(f *ReadingFact) string {
	return plainFigure(f.Indicated) + "/" + plainFigure(f.Reference)
}

func (t *turn) doubtArgs(f *ReadingFact) words.Args {
	return words.Args{"Number": f.Number, "Dash": plainFigure(f.Indicated), "GPS": plainFigure(f.Reference),
		"Expected": unit.Figure(f.Expected, 0), "Swap": t.s.fitsSwapped(f), "Units": mixedUnits(f) != 0,
		"Offer": t.converted(f), "Unit": f.Unit}
}

// fitsSwapped says whether a doubted pair is near what is expected when its
// figures are exchanged.
func (s *State) fitsSwapped(f *ReadingFact) bool {
	if f.Expected <= 0 || f.Reference <= 0 {
		return false
	}
	m := f.Expected / f.Reference // the dash's ratio, offset aside
	return math.Abs(f.Reference-m*f.Indicated) < math.Min(2, math.Abs(f.Indicated-f.Expected)/2)
}

// mixedUnits says whether a pair looks like two units: 1 the dash in km/h, -1
// the GPS in km/h, 0 not (calibration method, section 10).
func mixedUnits(f *ReadingFact) int {
	const k = unit.KMHPerMPH
	switch r := f.Indicated / f.Reference; {
	case math.Abs(r/k-1) < 0.08:
		return 1
	case math.Abs(r*k-1) < 0.08:
		return -1
	}
	return 0
}

// converted is a mixed pair in the dash's unit, "" where it isn't one. The
// GPS figure is the one that is converted: the dash is read as it is.
func (t *turn) converted(f *ReadingFact) string {
	g, ok := convertedGPS(f)
	if !ok {
		return ""
	}
	return plainFigure(f.Indicated) + "/" + plainFigure(g)
}

func convertedGPS(f *ReadingFact) (float64, bool) {
	switch mixedUnits(f) {
	case 1:
		return round(f.Reference*unit.KMHPerMPH, 1), true
	case -1:
		return round(f.Reference/unit.KMHPerMPH, 1), true
	}
	return 0, false
}

// mixedPair records a pair that looks like two units, as typed and in doubt:
// it is asked about when parked. Nil: there is no pair.
func (t *turn) mixedPair(ask *understand.Ask) *ReadingFact {
	d, err1 := strconv.ParseFloat(ask.Args["dash"], 64)
	g, err2 := strconv.ParseFloat(ask.Args["gps"], 64)
	if err1 != nil || err2 != nil {
		return nil
	}
	f := &ReadingFact{Number: len(t.s.Readings) + 1, Indicated: d, Reference: g, Unit: t.speedUnit(), Drive: t.openDrive().Drive, Questioned: true}
	t.record(f)
	return f
}
