package flow

import (
	"strconv"
	"strings"

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
	k := s.drivenTrack()
	if k == nil || s.HasFor(QDrive, s.trackKey()) {
		return nil
	}
	return k
}

// drivenTrack is the last drive's track, told or not; nil: none with steady
// stretches, or the drive is still on.
func (s *State) drivenTrack() *TrackFact {
	n := len(s.Tracks)
	if n == 0 || len(s.Drives) == 0 || s.Driving() {
		return nil
	}
	k := &s.Tracks[n-1]
	if k.Drive != s.lastDrive() || len(k.Stretches) == 0 {
		return nil
	}
	return k
}

// trackKey is what the answers about the last track are about, stretchKey
// those about one of its stretches.
func (s *State) trackKey() string { return "track." + strconv.Itoa(len(s.Tracks)) }

func (s *State) stretchKey(i int) string { return s.trackKey() + "." + strconv.Itoa(i+1) }

// untold lists the stretches of the last track that have no dash speed yet.
func (s *State) untold() (left []int) {
	for i := range s.Tracks[len(s.Tracks)-1].Stretches {
		if !s.HasFor(QDrive, s.stretchKey(i)) {
			left = append(left, i)
		}
	}
	return left
}

// trackMetres is the length of the last drive's track, 0 without one.
func (s *State) trackMetres() float64 {
	if n := len(s.Tracks); n > 0 && s.Tracks[n-1].Drive == s.lastDrive() {
		return s.Tracks[n-1].Metres
	}
	return 0
}

func (t *turn) askTrack(about string) {
	k, left := t.s.openTrack(), t.s.untold()
	var parts []string
	for n, i := range left[:min(len(left), maxStretches)] {
		s := k.Stretches[i]
		parts = append(parts, strconv.Itoa(n+1)+") "+s.Start.In(t.env.Now.Location()).Format("15:04:05")+" "+unit.Figure(t.inSpeed(s.SpeedMS), 1))
	}
	args := words.Args{"N": len(left), "List": strings.Join(parts, "\n"), "Unit": t.speedUnit()}
	if len(left) < len(k.Stretches) {
		t.ask(QDrive, about+".track", "track.left", args, "no_more")
		return
	}
	t.ask(QDrive, about+".track", "track.ask", args, "no_notes")
}

// maxStretches bounds the stretches of one question.
const maxStretches = 12

func (t *turn) inSpeed(ms float64) float64 {
	return unit.Speed(t.speedUnit()).FromKMH(ms * unit.KMHPerMetrePerSecond)
}
