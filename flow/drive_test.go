package flow

import (
	"testing"
	"time"
)

// driving brings the bay job onto its first drive, at the factory value.
func driving(t *testing.T, p Policy, more ...Fact) *play {
	t.Helper()
	return bay(t, p, more...).lines("drive first").at(PhaseDrive)
}

// Between go and parked nothing wants an answer: play checks that for every
// message; here everything a drive may bring is typed in between.
func TestDriveBracketAsksNothing(t *testing.T) {
	p := driving(t, Policy{}).lines("go", "61/65", "why", "help", "nonsense here", "62 60", "60/97", "strike 61/65", "keep 61/65", "600 58",
		"limit here is 55", "odo 5 track 5", "call my supervisor", "note wet patch", "recover", "stop the job", "where are we")
	for _, r := range p.last {
		if r.Kind == Prompt {
			t.Errorf("asked: %s", r.Text)
		}
	}
	p.lines("parked").asks(QDoubt)
	if p.s.Stopped != "" || p.s.Phase != PhaseDrive {
		t.Errorf("stopped %q in %s", p.s.Stopped, p.s.Phase)
	}
}

func TestDriveTypedWithoutGo(t *testing.T) {
	p := driving(t, Policy{}).lines("61/65").asks(QDrive)
	if p.last[0].Kind != Notice {
		t.Errorf("%v", p.last)
	}
	p.said("61/65 taken", "4 more").lines("56/60 47/50 58/62 51/55").asks(QCodesNow)
}

func TestDriveParkedWithoutReadings(t *testing.T) {
	p := driving(t, Policy{}).lines("go", "parked").asks(QDrive).said("No reading yet")
	p.lines("61/65 56/60 47/50").asks(QCodesNow)
	q := driving(t, Policy{}).lines("go", "parked", "go", "61/65 56/60 47/50", "parked no codes no lamps")
	if q.s.Drives[len(q.s.Drives)-1].Drive != 2 {
		t.Errorf("%+v", q.s.Drives)
	}
}

func TestDriveRepeatsCountOnce(t *testing.T) {
	p := driving(t, Policy{}).lines("go", "61/65 61/65").said("61/65 counted once")
	if len(p.s.Readings) != 2 {
		t.Errorf("%v", p.s.Readings)
	}
}

func TestDriveMends(t *testing.T) {
	p := driving(t, Policy{}).lines("go", "61/65 56/60 47/50")
	p.lines("strike 56/60").said("56/60 struck out")
	p.lines("keep 2").said("56/60 kept")
	p.lines("correct 47/50 to 46/50").said("47/50 is 46/50")
	p.lines("strike the last").said("46/50 struck")
	if !p.s.Readings[2].Struck || p.s.Readings[2].Indicated != 46 || p.s.Readings[1].Struck || len(p.s.Readings) != 3 {
		t.Errorf("%+v", p.s.Readings)
	}
}

// The slip of the shared conversations: 62 on the dash at 60 fits swapped.
func TestDriveDoubtSwapped(t *testing.T) {
	p := written(t, Policy{}).lines("2596", "none", "go", "48 50, 58 60, 63 70")
	p.said("63 on the dash at 70 GPS doesn't fit").lines("parked").asks(QDoubt)
	p.tap("strike").asks(QCodesNow)
	q := written(t, Policy{}).lines("2596", "none", "go", "48/50 58/60 66/62", "swap").said("66/62 is 62/66")
	if r := q.s.Readings[2]; r.Indicated != 62 || r.Reference != 66 || r.Questioned {
		t.Errorf("%+v", r)
	}
	r := written(t, Policy{}).lines("2596", "none", "go", "48/50 58/60 63/70", "parked").asks(QDoubt)
	r.lines("69/70").said("63/70 is 69/70").asks(QCodesNow)
	s := written(t, Policy{}).lines("2596", "none", "go", "48/50 58/60 63/70", "parked").asks(QDoubt)
	s.lines("keep").asks(QCodesNow).lines("none")
	if s.s.Asked != nil && s.s.Asked.Question == QDoubt {
		t.Error("a kept reading is asked about again")
	}
}

func TestDriveMixedUnits(t *testing.T) {
	p := driving(t, Policy{}).lines("go", "61/105 56/97 47/80", "parked").asks(QDoubt).said("mph and the other in km/h")
	p.tap("convert").asks(QCodesNow) // the phone was not set anew between them
	if r := p.s.Readings; r[0].Reference != 65.2 || r[0].Indicated != 61 || r[2].Reference != 49.7 || r[2].Questioned {
		t.Errorf("%+v", r)
	}
}

func TestDriveToolFigureIsNotPooled(t *testing.T) {
	p := driving(t, Policy{}).lines("go", "scan tool says 66 at 65 gps").said("not the dash")
	if len(p.s.Readings) != 0 {
		t.Errorf("%v", p.s.Readings)
	}
}

func TestDriveUnsteadyLeftOut(t *testing.T) {
	p := driving(t, Policy{}).lines("go", "61/65 accelerating").said("left out")
	if len(p.s.Readings) != 1 || !p.s.Readings[0].Struck {
		t.Errorf("%+v", p.s.Readings)
	}
	p.lines("keep 61/65")
	if p.s.Readings[0].Struck {
		t.Error("not kept")
	}
}

func TestDriveLimit(t *testing.T) {
	p := driving(t, Policy{}).said("GPS 70").lines("limit here is 55").said("Limit 55", "GPS 55")
	if p.s.Drives[0].Speeds[0] != 55 {
		t.Errorf("%v", p.s.Drives[0].Speeds)
	}
	q := bay(t, Policy{}, &SizeFact{Which: "fitted", Text: "LT285/75R17 121/118J", DiameterMM: 859.3, SpeedSymbol: "J"})
	q.tap("noted").said("Speed symbol J").lines("drive first").said("GPS 62", "capped by the speed symbol")
}

func TestDriveAloneAndBike(t *testing.T) {
	driving(t, Policy{}).tap("alone").said("record a track on the phone")
	driving(t, Policy{}).lines("i am alone").said("record a track on the phone")
	p := bay(t, Policy{})
	p.s.Vehicle = "old touring motorcycle"
	p.entries[1].Items = []Item{{ItemVehicle, "old touring motorcycle"}}
	p.lines("drive first").said("On two wheels only a recorded track")
}

func TestDriveKilometres(t *testing.T) {
	p := driving(t, Policy{}, &AnswerFact{Question: QUnits, Value: "km/h"}).said("GPS 110, then 90, 80, 100, 70 km/h")
	p.lines("go", "65 mph on the dash 65 mph gps").said("104.6/104.6 taken")
}

func TestDriveDistances(t *testing.T) {
	p := driving(t, Policy{}).lines("go", "odo 20.0 track 21.3").said("counts 6.5 % short")
	if d := p.s.Drives[0]; d.Odometer != 20 || d.Track != 21.3 {
		t.Errorf("%+v", d)
	}
	p.lines("odo 5 track 5.2").said("isn't taken")
	q := driving(t, Policy{}).lines("go", "mile 51.2 s, dash 66").said("66/70.31 taken")
	if q.s.Readings[0].Seconds != 51.2 {
		t.Errorf("%+v", q.s.Readings[0])
	}
}

func track5() *File {
	at := time.Date(2026, 3, 2, 13, 3, 10, 0, time.UTC)
	k := &Track{Format: "gpx", Seconds: 900, Metres: 33000}
	for i, mph := range []float64{65.2, 60.1, 50.3} {
		k.Stretches = append(k.Stretches, Stretch{Start: at.Add(time.Duration(i) * time.Minute), Seconds: 20, SpeedMS: mph * 0.44704})
	}
	return &File{Name: "drive.gpx", Type: "application/gpx+xml", Bytes: 4000, SHA256: "ab", Track: k}
}

func TestDriveTrackInOrder(t *testing.T) {
	p := driving(t, Policy{}).lines("go")
	p.step(Message{File: track5()})
	p.said("Track kept, 3 steady stretches").lines("parked").asks(QDrive).said("13:03:10 65.2")
	p.lines("61 - 47").asks(QCodesNow)
	if len(p.s.Readings) != 2 || !p.s.Readings[1].TrackMean || p.s.Readings[1].Reference != 50.3 {
		t.Errorf("%+v", p.s.Readings)
	}
	p.lines("none")
	q := driving(t, Policy{})
	q.step(Message{File: track5()})
	q.asks(QDrive).tap("no_notes").asks(QDrive).said("No reading yet")
}

// Noted by a clock seven hours behind the track's.
func TestDriveTrackByTime(t *testing.T) {
	p := driving(t, Policy{})
	p.step(Message{File: track5()})
	p.lines("06:03:25 61, 06:04:20 56, 06:05:28 47, 06:20 70").asks(QCodesNow).said("70: no steady stretch")
	if len(p.s.Readings) != 3 || p.s.Readings[0].Reference != 65.2 || p.s.Readings[2].Reference != 50.3 {
		t.Errorf("%+v", p.s.Readings)
	}
}

func TestDriveOneSource(t *testing.T) {
	p := driving(t, Policy{}).lines("go", "61/65 needle", "56/60 digits").said("one source a drive")
	if p.s.Drives[0].Source != "needle" {
		t.Errorf("%+v", p.s.Drives[0])
	}
}

func TestDriveCodesWithParked(t *testing.T) {
	p := driving(t, Policy{}).lines("go", "61/65 56/60 47/50", "parked, P0500").asks(QNewCodes)
	p.lines("go on")
	if p.s.Phase == PhaseDrive {
		t.Error("still on the drive")
	}
}

// The example of a pair is one that the dash could show, in its unit.
func TestDriveExample(t *testing.T) {
	for u, want := range map[string]string{"mph": "61/65", "km/h": "98/105"} {
		p := bay(t, Policy{Speed: u}).lines("drive first").at(PhaseDrive)
		p.lines("banana").said(want).lines("help").said(want)
		facts := bayFacts()
		facts[0] = &PersonFact{Who: "1", Role: Customer}
		playFrom(t, Policy{Speed: u}, facts...).as("1", Customer).lines("ok", "drive first").said(want)
	}
}
