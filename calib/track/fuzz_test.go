package track

import (
	"bytes"
	"math"
	"strings"
	"testing"
	"time"

	"milepost/calib/unit"
)

// sound checks what every track promises, whatever the file was, and that everything can be asked of it.
func sound(t *testing.T, track *Track, err error) {
	t.Helper()
	if track == nil {
		if err == nil {
			t.Fatal("neither a track nor an error")
		}
		return
	}
	if len(track.Points) == 0 {
		t.Fatal("a track without points")
	}
	for i, p := range track.Points {
		if i > 0 && !p.Time.After(track.Points[i-1].Time) {
			t.Fatalf("point %d not after the one before", i)
		}
		if !(p.SpeedMPS >= 0 && p.SpeedMPS <= maxSpeedMPS) || !(p.stepM >= 0 && p.stepM < math.Pi*earthRadiusM+1) {
			t.Fatalf("point %d: %+v", i, p)
		}
	}
	if d := track.Distance(); !(d.Metres() >= 0) || math.IsInf(d.Metres(), 0) {
		t.Fatalf("distance %+v", d)
	}
	for _, s := range track.Steady(Steadiness{}) {
		if s.Duration < 10*time.Second || !(s.SpeedMPS >= 0 && s.SpeedMPS <= maxSpeedMPS) {
			t.Fatalf("stretch %+v", s)
		}
	}
	_, _ = track.Reading(60, unit.MPH, track.End())
	_, _ = track.AtClock(0, nil)
}

func FuzzGPX(f *testing.F) {
	f.Add([]byte(gpx("1.0", point(52, -1, 0, "<speed>10</speed>")+point(52.001, -1, 10, ""))))
	f.Add([]byte(gpx("1.1", point(52, -1, 0, "<extensions><x:speed>10</x:speed></extensions>"))))
	f.Add([]byte(`<!DOCTYPE gpx [<!ENTITY a "b">]><gpx>&a;</gpx>`))
	f.Add([]byte("<gpx><trk><trkseg><trkpt lat=\"1\""))
	f.Add([]byte(`<?xml version="1.0" encoding="latin1"?><gpx>` + strings.Repeat("<a>", 70)))
	f.Fuzz(func(t *testing.T, data []byte) {
		track, err := ReadGPX(bytes.NewReader(data), Limits{Bytes: 1 << 20, Points: 1000})
		sound(t, track, err)
	})
}

func FuzzNMEA(f *testing.F) {
	f.Add([]byte("$GPRMC,101500.00,A,5200.0000,N,00100.0000,W,60.820,090.0,251126,,,A*79\r\n$GPVTG,090.0,T,,M,60.820,N,112.639,K,A*36\r\n"))
	f.Add([]byte("$GPRMC,101501.00,V,5200.0000,N,00100.0000,W,60.820,090.0,251126,,,N*60"))
	f.Add([]byte(sentence("GNRMC,235959.99,A,,,,,,,311299,,,D")))
	f.Add([]byte("$GPRMC,*00\n$$$*\x00"))
	f.Fuzz(func(t *testing.T, data []byte) {
		track, err := ReadNMEA(bytes.NewReader(data), Limits{Bytes: 1 << 20, Points: 1000})
		sound(t, track, err)
		// The checksum keeps most changes out, so the fields are also tried behind a right one.
		if body := strings.Map(oneLine, string(data)); body != "" {
			track, err = ReadNMEA(strings.NewReader(sentence("GPRMC,"+body)+sentence("GPVTG,"+body)), Limits{})
			sound(t, track, err)
		}
	})
}

// oneLine drops what would end or restart a sentence.
func oneLine(r rune) rune {
	if r < ' ' || r > '~' || r == '$' || r == '*' {
		return -1
	}
	return r
}

func FuzzSniff(f *testing.F) {
	f.Add([]byte("<gpx"))
	f.Add([]byte("$GPRMC,"))
	f.Fuzz(func(t *testing.T, data []byte) {
		if format := Sniff(data); format == NMEA && !bytes.ContainsRune(data, '$') || format == GPX && !bytes.ContainsRune(data, '<') {
			t.Fatalf("%q taken for %s", data, format)
		}
		track, _, err := Read(bytes.NewReader(data), Limits{Bytes: 1 << 20, Points: 1000})
		sound(t, track, err)
	})
}

// An hour at ten fixes a second: 36,001 points.
func hourGPX() []byte {
	var b bytes.Buffer
	b.WriteString(`<?xml version="1.0"?><gpx version="1.1" xmlns="http://www.topografix.com/GPX/1/1"><trk><trkseg>`)
	for i := range 36_001 {
		at := t0.Add(time.Duration(i) * 100 * time.Millisecond).Format("2006-01-02T15:04:05.000Z")
		b.WriteString(`<trkpt lat="52.` + pad(i) + `" lon="-1.0"><ele>33.1</ele><time>` + at +
			`</time><extensions><x:TrackPointExtension><x:speed>2` + string(rune('0'+i/600%10)) + `.5</x:speed></x:TrackPointExtension></extensions></trkpt>` + "\n")
	}
	b.WriteString(`</trkseg></trk></gpx>`)
	return b.Bytes()
}

func hourNMEA() []byte {
	var b bytes.Buffer
	for i := range 36_001 {
		at := t0.Add(time.Duration(i) * 100 * time.Millisecond).Format("150405.00")
		b.WriteString(sentence("GNRMC," + at + ",A,5200." + pad(i) + ",N,00100.0000,W,6" + string(rune('0'+i/600%10)) + ".820,090.0,251126,,,A"))
		b.WriteString(sentence("GNVTG,090.0,T,,M,60.820,N,112.639,K,A"))
	}
	return b.Bytes()
}

func pad(i int) string {
	d := []byte("000000")
	for k := 5; k >= 0; k-- {
		d[k] = byte('0' + i%10)
		i /= 10
	}
	return string(d)
}

func BenchmarkReadGPXHour(b *testing.B)  { benchmarkRead(b, hourGPX()) }
func BenchmarkReadNMEAHour(b *testing.B) { benchmarkRead(b, hourNMEA()) }

func benchmarkRead(b *testing.B, file []byte) {
	b.SetBytes(int64(len(file)))
	b.ReportAllocs()
	for b.Loop() {
		if track, _, err := Read(bytes.NewReader(file), Limits{}); err != nil || len(track.Points) != 36_001 {
			b.Fatal(len(track.Points), err)
		}
	}
}

func BenchmarkSteadyHour(b *testing.B) {
	track, _, err := Read(bytes.NewReader(hourNMEA()), Limits{})
	if err != nil {
		b.Fatal(err)
	}
	b.ReportAllocs()
	for b.Loop() {
		if got := track.Steady(Steadiness{}); len(got) == 0 {
			b.Fatal("no stretch")
		}
	}
}

// The densest file the limits let in, of speeds that are never held for ten seconds.
func BenchmarkSteadyHostile(b *testing.B) {
	track := &Track{}
	for i := range 500_000 {
		at := time.Duration(i) * minSpacing
		track.Points = append(track.Points, Point{Time: t0.Add(at), HasSpeed: true, SpeedMPS: math.Mod(at.Seconds()*0.0551*mph, 80*mph)})
	}
	for b.Loop() {
		track.Steady(Steadiness{})
	}
}
