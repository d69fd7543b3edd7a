package flow

import (
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"milepost/flow/words"
)

// takeTimed pairs noted speeds with the stretches of a track. Its question
// stays open until every stretch is told or nothing more is noted.
func (t *turn) takeTimed(k *TrackFact, ns []note) {
	by, sure := t.clockOf(k, ns)
	if !sure {
		t.understood("track.unclear", words.Args{"Said": joinAnd(saidOf(ns))})
		return
	}
	var facts []*ReadingFact
	var times, missed []string
	var told []int
	for _, n := range ns {
		i := k.at(n.at - by)
		if i < 0 {
			missed = append(missed, saidOf([]note{n})...)
			continue
		}
		told = append(told, i)
		times = append(times, n.said)
		facts = append(facts, t.trackReading(k, n.dash, k.Stretches[i]))
	}
	if len(missed) > 0 {
		t.understood("track.missed", words.Args{"List": joinAnd(missed)})
	}
	t.recordTrack(facts, times, told, by)
	if t.s.openTrack() != nil && len(t.s.untold()) == 0 {
		t.trackDone(len(told))
	}
}

// notesAnew reads the notes of an edited message: by their times, or one figure
// for each that was there. A time is no speed, and two speeds are no pair.
func (t *turn) notesAnew(numbers []int, text string) (facts []*ReadingFact) {
	k := t.s.drivenTrack()
	if ns, ok := notes(text, t.speedUnit()); ok && k != nil && k.Drive == t.s.reading(numbers[0]).Drive {
		by, sure := t.clockOf(k, ns)
		for _, n := range ns {
			i := k.at(n.at - by)
			if i < 0 || !sure {
				return nil
			}
			facts = append(facts, t.trackReading(k, n.dash, k.Stretches[i]))
		}
		return facts
	}
	figures := strings.FieldsFunc(text, func(r rune) bool { return r == ' ' || r == ',' || r == ';' || r == '\n' })
	figures = slices.DeleteFunc(figures, func(f string) bool { return f == "-" || f == "x" })
	if len(figures) != len(numbers) {
		return nil
	}
	for i, n := range numbers {
		r := t.s.reading(n)
		v, err := strconv.ParseFloat(figures[i], 64)
		if err != nil || v < 3 || v > 260 || r == nil {
			return nil
		}
		anew := *r
		anew.Indicated, anew.Struck = v, false
		facts = append(facts, &anew)
	}
	return facts
}

// saidOf are notes as they were read.
func saidOf(ns []note) (list []string) {
	for _, n := range ns {
		list = append(list, n.said+" "+plainFigure(n.dash))
	}
	return list
}

// at gives the stretch under way at a second of the day by the track's clock,
// -1: none.
func (k *TrackFact) at(second float64) int {
	for i := range k.Stretches {
		if after(k.Stretches[i].Start, second) <= k.Stretches[i].Seconds+slackNoted {
			return i
		}
	}
	return -1
}

// during says whether a second of the day lies within the track.
func (k *TrackFact) during(second float64) bool {
	first, last := k.Stretches[0], k.Stretches[len(k.Stretches)-1]
	span := last.Start.Sub(first.Start).Seconds() + last.Seconds
	rest := math.Max(0, k.Seconds-span) // lies before the first or behind the last
	return after(first.Start, second+rest) <= span+2*rest
}

// clockOf finds by how many seconds the clock that was read goes before the
// track's, which goes by UTC. It may stand in any zone. Where the notes fall
// into the track by the track's own time, the place's, or as earlier notes did,
// that is it: a note between two stretches must not look for one in another
// zone. Else, of the whole quarter hours, the one under which most notes fall
// into a stretch; false where that are several.
func (t *turn) clockOf(k *TrackFact, ns []note) (by float64, sure bool) {
	hits := func(by float64, fits func(float64) bool) (n int) {
		for _, x := range ns {
			if fits(x.at - by) {
				n++
			}
		}
		return n
	}
	inStretch := func(second float64) bool { return k.at(second) >= 0 }
	_, here := t.env.Now.Zone()
	known := []float64{0, float64(here)}
	for i := range k.Stretches {
		if a, ok := t.s.Answers[Key{QDrive, t.s.stretchKey(i)}]; ok {
			known = append(known, a.Number)
		}
	}
	for _, fits := range []func(float64) bool{inStretch, k.during} {
		if by, most, _ := mostHits(known, func(by float64) int { return hits(by, fits) }); most > 0 {
			return by, true
		}
	}
	var all []float64
	for _, quarter := range quarters() {
		all = append(all, float64(quarter*900))
	}
	by, most, several := mostHits(all, func(by float64) int { return hits(by, inStretch) })
	return by, most == 0 || !several
}

// mostHits gives the first of the offsets with the most hits, and whether
// there is another.
func mostHits(offsets []float64, hits func(float64) int) (best float64, most int, several bool) {
	most = -1
	for _, by := range offsets {
		switch n := hits(by); {
		case n > most:
			best, most, several = by, n, false
		case n == most:
			several = true
		}
	}
	return best, most, several
}

// slackNoted: a noted time has an error of its own, s.
const slackNoted = 2.5

// after gives the seconds from a time of day to another, around the clock.
func after(start time.Time, second float64) float64 {
	return math.Mod(second-secondOfDay(start)+3*86400, 86400)
}

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
