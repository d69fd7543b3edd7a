package track

import (
	"errors"
	"io"
	"strings"
	"testing"
	"testing/iotest"
)

func TestSniff(t *testing.T) {
	for _, c := range []struct {
		header string
		want   Format
	}{
		{`<?xml version="1.0"?><gpx version="1.1">`, GPX},
		{"\ufeff  <?xml version=\"1.0\"?>\n<!-- made by hand -->\n<g:gpx xmlns:g=\"x\">", GPX},
		{"<gpx>", GPX},
		{"$GPRMC,225446,A,4916.45,N", NMEA},
		{"$GNGGA,1,2", NMEA},
		{"# log\n1764065700 $PMTK001,3\n1764065701 $GLGSV,1", NMEA},
		{"", Unknown},
		{"60 on the dash, 58 gps", Unknown},
		{"costs $100,000", Unknown},
		{"<kml><Document/></kml>", Unknown},
		{"<html><body>gpx</body></html>", Unknown},
		{"<gpxx>", Unknown},
		{"PK\x03\x04\x14\x00", Unknown},
		{"\xff\xd8\xff\xe0\x00\x10JFIF", Unknown},
	} {
		if got := Sniff([]byte(c.header)); got != c.want {
			t.Errorf("Sniff(%q) = %q, want %q", c.header, got, c.want)
		}
	}
}

func TestRead(t *testing.T) {
	rmc := sentence("GPRMC,101500.00,A,5200.0000,N,00100.0000,W,60.820,090.0,251126,,,A")
	for _, c := range []struct {
		text string
		want Format
	}{
		{gpx("1.1", point(52, -1, 0, "<speed>10</speed>")), GPX},
		{rmc, NMEA},
	} {
		got, format, err := Read(iotest.OneByteReader(strings.NewReader(c.text)), Limits{})
		if err != nil || format != c.want || len(got.Points) != 1 {
			t.Errorf("Read(%q): %v, %q, %v", c.text, got, format, err)
		}
	}
	if _, format, err := Read(strings.NewReader("hello"), Limits{}); format != Unknown || !errors.Is(err, ErrFormat) {
		t.Errorf("text: %q, %v", format, err)
	}
	if _, _, err := Read(iotest.ErrReader(io.ErrClosedPipe), Limits{}); !errors.Is(err, io.ErrClosedPipe) {
		t.Errorf("broken source: %v", err)
	}
	broken := io.MultiReader(strings.NewReader(rmc), iotest.ErrReader(io.ErrClosedPipe))
	if got, err := ReadNMEA(broken, Limits{}); !errors.Is(err, io.ErrClosedPipe) || got == nil || len(got.Points) != 1 {
		t.Errorf("source that breaks: %v, %v", got, err)
	}
	if _, err := ReadNMEA(strings.NewReader(rmc+rmc), Limits{Bytes: 80}); !errors.Is(err, ErrTooLarge) {
		t.Errorf("over the cap: %v", err)
	}
	if _, err := ReadNMEA(strings.NewReader(rmc), Limits{Bytes: int64(len(rmc))}); err != nil {
		t.Errorf("just the cap: %v", err)
	}
}
