package track

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"
	"time"
)

// gpx puts points into a whole file of that version.
func gpx(version, points string) string {
	return `<?xml version="1.0" encoding="UTF-8"?><gpx version="` + version + `" creator="test" xmlns="http://www.topografix.com/GPX/` +
		strings.Replace(version, ".", "/", 1) + `"><trk><trkseg>` + points + `</trkseg></trk></gpx>`
}

func point(lat, lon float64, second int, inside string) string {
	return fmt.Sprintf(`<trkpt lat="%.9f" lon="%.9f"><time>2026-11-25T10:%02d:%02dZ</time>%s</trkpt>`, lat, lon, second/60, second%60, inside)
}

// The sample pair of check-values 8.5.
func TestGPXSamplePair(t *testing.T) {
	pair := func(a, b string) string {
		return gpx("1.0", `<trkpt lat="50.894328230" lon="16.739751960"><time>2012-10-24T09:31:56Z</time>`+a+`</trkpt>`+
			`<trkpt lat="50.894439800" lon="16.739519020"><time>2012-10-24T09:32:04Z</time>`+b+`</trkpt>`)
	}
	withSpeed, err := ReadGPX(strings.NewReader(pair("<speed>1.204</speed>", "<speed>2.687</speed>")), Limits{})
	if err != nil {
		t.Fatal(err)
	}
	if withSpeed.Speeds != FromReceiver || withSpeed.Points[0].SpeedMPS != 1.204 || withSpeed.Points[1].SpeedMPS != 2.687 {
		t.Errorf("speeds %q %+v", withSpeed.Speeds, withSpeed.Points)
	}
	if d := withSpeed.Distance().ByPosition; math.Abs(d-20.514) > 0.0005 {
		t.Errorf("distance %v m, want 20.514", d)
	}
	bare, err := ReadGPX(strings.NewReader(pair("", "")), Limits{})
	if err != nil {
		t.Fatal(err)
	}
	for _, p := range bare.Points {
		if !p.HasSpeed || math.Abs(p.SpeedMPS-2.564) > 0.0005 {
			t.Errorf("speed from positions %v, want 2.564", p.SpeedMPS)
		}
	}
	if bare.Speeds != FromPositions {
		t.Errorf("speeds %q", bare.Speeds)
	}
}

func TestGPXMinuteOfLatitude(t *testing.T) {
	got, err := ReadGPX(strings.NewReader(gpx("1.1", point(52, -1, 0, "")+point(52+1.0/60, -1, 60, ""))), Limits{})
	if err != nil {
		t.Fatal(err)
	}
	if d := got.Distance(); math.Abs(d.ByPosition-1853.25) > 0.005 || d.Gap != d.ByPosition {
		t.Errorf("distance %+v, want 1853.25, all of it gap", d)
	}
}

// Where programs put the speed, and what they call its namespace.
func TestGPXSpeedPlaces(t *testing.T) {
	for name, inside := range map[string]string{
		"1.0, in the point":       `<speed>12.5</speed>`,
		"extension v2":            `<extensions><x:TrackPointExtension xmlns:x="http://www.garmin.com/xmlschemas/TrackPointExtension/v2"><x:speed>12.5</x:speed></x:TrackPointExtension></extensions>`,
		"undeclared prefix":       `<extensions><gpxtpx:TrackPointExtension><gpxtpx:hr>90</gpxtpx:hr><gpxtpx:speed>12.5</gpxtpx:speed></gpxtpx:TrackPointExtension></extensions>`,
		"bare in extensions":      `<extensions><speed> 12.5 </speed></extensions>`,
		"split by a comment":      `<speed>12<!-- whole -->.5</speed>`,
		"unreadable, then usable": `<speed>fast</speed><extensions><speed>12.5</speed></extensions>`,
	} {
		got, err := ReadGPX(strings.NewReader(gpx("1.1", point(52, -1, 0, inside))), Limits{})
		if err != nil || len(got.Points) != 1 || got.Points[0].SpeedMPS != 12.5 || got.Speeds != FromReceiver {
			t.Errorf("%s: %+v, %v", name, got, err)
		}
	}
	for name, inside := range map[string]string{
		"not a number": `<speed>NaN</speed>`, "infinite": `<speed>1e999</speed>`, "negative": `<speed>-3</speed>`,
		"not on a road": `<speed>900</speed>`, "endless": `<speed>` + strings.Repeat("1", 200) + `</speed>`,
	} {
		got, err := ReadGPX(strings.NewReader(gpx("1.1", point(52, -1, 0, inside))), Limits{})
		if err != nil || got.Points[0].HasSpeed {
			t.Errorf("%s: %+v, %v", name, got, err)
		}
	}
}

func TestGPXTimes(t *testing.T) {
	at := func(text string) string {
		return gpx("1.1", `<trkpt lat="52" lon="-1"><time>`+text+`</time><speed>10</speed></trkpt>`)
	}
	want := time.Date(2026, 11, 25, 10, 15, 0, 0, time.UTC)
	for _, text := range []string{"2026-11-25T10:15:00Z", "2026-11-25T11:15:00+01:00", "2026-11-25T10:15:00", " 2026-11-25T10:15:00.000Z\n"} {
		if got, err := ReadGPX(strings.NewReader(at(text)), Limits{}); err != nil || !got.Start().Equal(want) {
			t.Errorf("%q: %v, %v", text, got, err)
		}
	}
	for _, text := range []string{"", "yesterday", "0001-01-01T00:00:00Z", "9999-12-31T23:59:59Z"} {
		if got, err := ReadGPX(strings.NewReader(at(text)), Limits{}); !errors.Is(err, ErrEmpty) {
			t.Errorf("%q: %v, %v", text, got, err)
		}
	}
}

func TestGPXFaults(t *testing.T) {
	two := point(52, -1, 0, "<speed>10</speed>") + point(52.0001, -1, 1, "<speed>10</speed>")
	deep := strings.Repeat("<a>", 100) + strings.Repeat("</a>", 100)
	for _, c := range []struct {
		name, text string
		limits     Limits
		cause      error
		points     int
		says       string
	}{
		{"entity bomb", `<?xml version="1.0"?><!DOCTYPE gpx [<!ENTITY a "aaaa"><!ENTITY b "&a;&a;">]><gpx>&b;</gpx>`, Limits{}, ErrUnsafe, 0, "document type"},
		{"outside entity", strings.Replace(gpx("1.1", two), "<trk>", "<trk><name>&file;</name>", 1), Limits{}, ErrSyntax, 0, "not well-formed"},
		{"too deep", gpx("1.1", two+deep), Limits{}, ErrUnsafe, 2, "nested deeper than 64"},
		{"one endless tag", gpx("1.1", two+"<a "+strings.Repeat(`b="" `, 100_000)+"/>"), Limits{}, ErrUnsafe, 2, "in one element"},
		{"too large", gpx("1.1", two+strings.Repeat("<ele>0</ele>", 100_000)), Limits{Bytes: 100_000}, ErrTooLarge, 2, "too large"},
		{"too many points", gpx("1.1", two), Limits{Points: 1}, ErrTooMany, 1, "the limit is 1"},
		{"broken off", strings.TrimSuffix(gpx("1.1", two), "</trkseg></trk></gpx>") + "<trkpt lat=", Limits{}, ErrSyntax, 2, "ends in the middle"},
		{"wrong nesting", gpx("1.1", two+"</a>"), Limits{}, ErrSyntax, 2, "not well-formed"},
		{"another format", `<kml><Document/></kml>`, Limits{}, ErrFormat, 0, "not gpx"},
		{"empty", "", Limits{}, ErrFormat, 0, "no gpx element"},
		{"planned route", gpx("1.1", `<trkpt lat="52" lon="-1"/>`), Limits{}, ErrEmpty, 0, "planned route"},
		{"waypoint only", `<gpx><wpt lat="52" lon="-1"><time>2026-11-25T10:15:00Z</time></wpt></gpx>`, Limits{}, ErrEmpty, 0, "no track points"},
		{"off the globe", gpx("1.1", point(152, -1, 0, "")), Limits{}, ErrEmpty, 0, "can't be read"},
		{"backwards", gpx("1.1", point(52, -1, 600, "<speed>1</speed>")+two), Limits{}, ErrOrder, 1, "not later"},
	} {
		t.Run(c.name, func(t *testing.T) {
			got, err := ReadGPX(strings.NewReader(c.text), c.limits)
			var fault *Error
			if !errors.As(err, &fault) || !errors.Is(err, c.cause) {
				t.Fatalf("error %v, want %v", err, c.cause)
			}
			if fault.Points != c.points || (got != nil) != (c.points > 0) || got != nil && len(got.Points) != c.points {
				t.Errorf("%d points understood, track %v; want %d", fault.Points, got, c.points)
			}
			if !strings.Contains(err.Error(), c.says) {
				t.Errorf("error %q doesn't say %q", err, c.says)
			}
			// No place leaves the package, not by way of an error either.
			if strings.Contains(err.Error(), "52") && !strings.Contains(c.name, "endless") {
				t.Errorf("error %q repeats the file", err)
			}
		})
	}
}

func TestGPXEncodings(t *testing.T) {
	text := gpx("1.1", "<name>\xe9t\xe9</name>"+point(52, -1, 0, "<speed>10</speed>"))
	latin := strings.Replace(text, "UTF-8", "ISO-8859-1", 1)
	if got, err := ReadGPX(strings.NewReader(latin), Limits{}); err != nil || len(got.Points) != 1 {
		t.Errorf("Latin-1: %v, %v", got, err)
	}
	marked := "\ufeff" + gpx("1.1", point(52, -1, 0, "<speed>10</speed>"))
	if got, err := ReadGPX(strings.NewReader(marked), Limits{}); err != nil || len(got.Points) != 1 {
		t.Errorf("byte order mark: %v, %v", got, err)
	}
	if _, err := ReadGPX(strings.NewReader(strings.Replace(text, "UTF-8", "UTF-16", 1)), Limits{}); err == nil || !strings.Contains(err.Error(), "encoding") {
		t.Errorf("UTF-16: %v", err)
	}
}
