package flow

import (
	"fmt"
	"slices"
	"testing"
	"time"
)

// trackAt is a track of four stretches, a minute apart from 14:00:40 UTC on.
func trackAt(mph ...float64) *File {
	k := &Track{Format: "gpx", Seconds: 60 * float64(len(mph)), Metres: 8000}
	for i, v := range mph {
		k.Stretches = append(k.Stretches, Stretch{Start: time.Date(2026, 3, 2, 14, i, 40, 0, time.UTC), Seconds: 20, SpeedMS: v * 0.44704})
	}
	return &File{Name: "drive.gpx", Type: "application/gpx+xml", Bytes: 4000, SHA256: "ab", Track: k}
}

func (p *play) pairs() (list []string) {
	for i := range p.s.Readings {
		list = append(list, pairText(&p.s.Readings[i]))
	}
	return list
}

// A time and a speed belong together in either order; what can be paired in
// two ways is taken by neither.
func TestTrackNotesInEitherOrder(t *testing.T) {
	all := []string{"68/70", "66/68", "64/66", "62/64"}
	for said, want := range map[string][]string{
		"68 at 14:00:50, 66 at 14:01:50, 64 at 14:02:50, 62 at 14:03:50":  all,
		"14:00:50 68, 14:01:50 66, 14:02:50 64, 14:03:50 62":              all,
		"68 at 14:00:50 66 at 14:01:50 64 at 14:02:50 62 at 14:03:50":     all,
		"14:00:50 68 14:01:50 66 14:02:50 64 14:03:50 62":                 all,
		"14:00:50, 68, 14:01:50, 66, 14:02:50, 64, 14:03:50, 62":          all,
		"14:00:50 = 68; 14:01:50 - 66; 14:02:50: 64; 14:03:50 dash 62":    all,
		"14:00:50 68\n14:01:50 66 mph\n2:02:50 pm 64\n62 was at 14:03:50": all,
		"at 14:00:50 the dash said 68 and at 14:01:50 58":                 {"68/70", "58/68"},
		"14:00:50 68, 14:01:50 -":                                         {"68/70"},
		"14:00:50, 68 at 14:01:50, 66":                                    nil,
		"14:00:50 68 66":                                                  nil,
		"14:00:50 68, 14:01:50 and 66":                                    nil,
		"at 14:00:50 dash 68 gps 70":                                      nil,
		"14:00:50 68 km/h":                                                nil,
		"14:00:50 14:01:50 68 66":                                         nil,
		"61 56":                                                           nil,
	} {
		p := driving(t, Policy{}).lines("go")
		p.step(Message{File: trackAt(70, 68, 66, 64)})
		p.lines("parked", said)
		if got := p.pairs(); !slices.Equal(got, want) {
			t.Errorf("%q: %v, want %v", said, got, want)
		}
		if want == nil {
			p.asks(QDrive).said("nothing is taken")
		}
	}
	p := driving(t, Policy{})
	p.step(Message{File: trackAt(70, 68, 66, 64)})
	p.lines("68 at 14:00:50, 66 at 14:01:50").said("14:00:50 68/70 and 14:01:50 66/68 taken")
}

// The question of the stretches stays until each is told or nothing more was
// noted: notes come one at a time, and one may lie between two stretches.
func TestTrackNotesOneAtATime(t *testing.T) {
	p := driving(t, Policy{})
	p.step(Message{File: trackAt(70, 68, 66, 64)})
	p.lines("14:01:10 68").asks(QDrive).said("14:01:10 68: no steady stretch")
	p.lines("14:00:50 68").asks(QDrive).said("3 stretches are left", "1) 14:01:40 68.0")
	p.lines("14:01:50 66, 14:02:50 64").asks(QDrive).said("One stretch is left")
	p.lines("62").asks(QCodesNow)
	if got := p.pairs(); fmt.Sprint(got) != "[68/70 66/68 64/66 62/64]" {
		t.Error(got)
	}
	p = driving(t, Policy{})
	p.step(Message{File: trackAt(70, 68, 66, 64)})
	p.lines("14:00:50 68", "no more").asks(QCodesNow)
	// Late ones are still notes, not a pair.
	p.lines("14:01:50 58, 14:02:50 48")
	if got := p.pairs(); fmt.Sprint(got) != "[68/70 58/68 48/66]" {
		t.Error(got)
	}
}

// In a long track a note between two stretches finds none a quarter of an hour
// away; by a clock in another zone one note alone may fit in several ways.
func TestTrackNotesByAnotherClock(t *testing.T) {
	long := func() *File {
		f := trackAt(70, 68)
		f.Track.Seconds = 4000
		for i := range f.Track.Stretches {
			f.Track.Stretches[i].Start = time.Date(2026, 3, 2, 14, 30*i, 40, 0, time.UTC)
		}
		f.Track.Stretches = append(f.Track.Stretches, Stretch{Start: time.Date(2026, 3, 2, 14, 45, 40, 0, time.UTC), Seconds: 20, SpeedMS: 29})
		return f
	}
	p := driving(t, Policy{})
	p.step(Message{File: long()})
	p.lines("14:15:45 68").said("no steady stretch").lines("09:30:45 66").said("can't be paired for certain")
	if got := p.pairs(); len(got) != 0 {
		t.Error(got)
	}
	p.lines("09:00:45 68, 09:30:45 66, 09:35:45 64").said("09:35:45 64: no steady stretch").lines("09:45:50 63")
	if got := p.pairs(); fmt.Sprint(got) != "[68/70 66/68 63/64.9]" {
		t.Error(got)
	}
}

// Speeds with times are no pairs where there is no track.
func TestTrackNotesWithoutTrack(t *testing.T) {
	p := driving(t, Policy{}).lines("go", "14:01:50 58, 14:02:50 48").said("we look at it when parked")
	p.lines("parked", "58 at 14:01:50, 48 at 14:02:50").said("this drive has none")
	if got := p.pairs(); len(got) != 0 {
		t.Error(got)
	}
	p.lines("61/65 at 14:03")
	if got := p.pairs(); fmt.Sprint(got) != "[61/65]" {
		t.Error(got)
	}
}

// An edited message of notes is read as notes again.
func TestTrackNotesEdited(t *testing.T) {
	for _, c := range []struct{ was, now, want string }{
		{"68 at 14:00:50, 66 at 14:01:50", "67 at 14:00:50, 66 at 14:01:50", "[67/70 66/68]"},
		{"68 at 14:00:50, 66 at 14:01:50", "68, 66 at 14:01:50", "[68/70 66/68]"},
		{"68 66 64 62", "68 66 64 61", "[68/70 66/68 64/66 61/64]"},
		{"68 66 64 62", "68 66 64", "[68/70 66/68 64/66 62/64]"},
	} {
		p := driving(t, Policy{})
		p.step(Message{File: trackAt(70, 68, 66, 64)})
		p.step(Message{ID: "notes", Text: c.was})
		p.lines("no more").edit("notes", c.now)
		if p.s.Asked.Question == QAmend {
			p.lines("yes")
		}
		if got := fmt.Sprint(p.pairs()); got != c.want {
			t.Errorf("%q edited to %q: %s, want %s", c.was, c.now, got, c.want)
		}
	}
}

func FuzzNotes(f *testing.F) {
	for _, s := range []string{"14:03:20 61, 14:05 56", "61 at 14:03:20 and 56 at 2:05 pm", "14:03:20, 61, 14:05, -", "14h03 61 mph", "61 - 47", "14:03 61 62"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		ns, ok := notes(text, "mph")
		if !ok {
			return
		}
		if len(ns) == 0 || len(ns) > maxAtOnce {
			t.Errorf("%q: %d notes", text, len(ns))
		}
		for _, n := range ns {
			if n.at < 0 || n.at >= 86400 || n.dash < 3 || n.dash > 260 || n.said == "" {
				t.Errorf("%q: %+v", text, n)
			}
		}
	})
}

// Midnight and noon by a clock of twelve hours.
func TestClockOfTwelveHours(t *testing.T) {
	for said, want := range map[string]float64{"12:05 am": 5 * 60, "12:05 pm": 12*3600 + 5*60, "1:05 pm": 13*3600 + 5*60, "1:05 am": 3600 + 5*60, "14:00:50": 14*3600 + 50} {
		if got := clockSecond(said); got != want {
			t.Errorf("%s: %g s, want %g", said, got, want)
		}
	}
}
