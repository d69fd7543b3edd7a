package track

import (
	"bufio"
	"bytes"
	"errors"
	"io"
	"strconv"
	"time"

	"milepost/calib/unit"
)

// Speed units of NMEA sentences, exact by definition.
const (
	mpsPerKnot = unit.MetresPerNauticalMile / 3600
	mpsPerKMH  = 1 / unit.KMHPerMetrePerSecond
)

// maxLine is the longest line looked at. A sentence has at most 82 characters; some programs put a time
// stamp before it. Longer lines are passed over.
const maxLine = 1024

// ReadNMEA reads the RMC and VTG sentences of a NMEA 0183 record; others are passed over.
//
//	$GPRMC,hhmmss.ss,A,ddmm.mmmm,N,dddmm.mmmm,E,knots,course,ddmmyy,,,A*hh
//	$GPVTG,course,T,,M,knots,N,km/h,K,A*hh
//
// Talkers GP, GN, GL and GA count. The checksum must be there and right. A sentence with status V, or with
// a mode that is not a satellite fix (N not valid, E estimated, M manual, S simulator), is no fix
// (check-values 8.4; M and S from memory of the standard). RMC gives time, position and speed; VTG only
// fills in the speed of an RMC just before it that has none, since it carries no time of its own.
// Limits, errors and what comes back with them: see Read.
func ReadNMEA(r io.Reader, limits Limits) (*Track, error) {
	limits = limits.withDefaults()
	n := nmeaReader{builder: builder{limit: limits.Points}}
	br := bufio.NewReaderSize(&capReader{r: r, left: limits.Bytes}, maxLine)
	for line := 1; ; line++ {
		text, err := br.ReadSlice('\n')
		long := false
		for errors.Is(err, bufio.ErrBufferFull) { // drop the rest of a line that is no sentence
			long = true
			_, err = br.ReadSlice('\n')
		}
		if long {
			n.track.LeftOut.Malformed++
		} else if !n.line(text) {
			return n.done(NMEA, line, ErrTooMany, "the limit is "+strconv.Itoa(n.limit))
		}
		if errors.Is(err, io.EOF) {
			return n.finished()
		}
		if err != nil {
			return n.done(NMEA, line, err, "")
		}
	}
}

type nmeaReader struct {
	builder
	pending  fix  // an RMC waiting for the speed of a VTG
	waiting  bool // pending holds one
	vtgAlone int  // VTG with a speed but no RMC to give it a time
	fields   [][]byte
}

// fix is what one RMC says.
type fix struct {
	at       time.Time
	where    place
	speed    float64
	hasSpeed bool
}

func (n *nmeaReader) finished() (*Track, error) {
	n.flush()
	if n.vtgAlone > 0 && len(n.track.Points) == 0 {
		return n.done(NMEA, 0, ErrEmpty, "speeds (VTG) but no times (RMC)")
	}
	return n.done(NMEA, 0, nil, "no RMC sentence")
}

// line takes one line. It reports false at the limit of points.
func (n *nmeaReader) line(text []byte) bool {
	start := bytes.IndexByte(text, '$')
	if start < 0 {
		return true
	}
	text = bytes.TrimRight(text[start+1:], " \t\r\n\x00")
	kind := sentenceKind(text)
	if kind == "" {
		return true
	}
	body, ok := checked(text)
	if !ok {
		n.track.LeftOut.BadChecksum++
		return true
	}
	n.split(body)
	if kind == "VTG" {
		return n.vtg()
	}
	return n.rmc()
}

// sentenceKind returns RMC or VTG where the talker is a satellite receiver, else nothing.
func sentenceKind(text []byte) string {
	if len(text) < 6 || text[5] != ',' {
		return ""
	}
	switch string(text[:2]) {
	case "GP", "GN", "GL", "GA":
	default:
		return ""
	}
	switch string(text[2:5]) {
	case "RMC":
		return "RMC"
	case "VTG":
		return "VTG"
	}
	return ""
}

// checked returns what stands before the asterisk if the two hexadecimal digits after it are the exclusive
// or of its bytes.
func checked(text []byte) ([]byte, bool) {
	star := bytes.LastIndexByte(text, '*')
	if star < 0 || len(text) != star+3 {
		return nil, false
	}
	want, err := strconv.ParseUint(string(text[star+1:]), 16, 8)
	if err != nil {
		return nil, false
	}
	return text[:star], checksum(text[:star]) == byte(want)
}

func checksum(body []byte) byte {
	var sum byte
	for _, c := range body {
		sum ^= c
	}
	return sum
}

// split sets fields to the comma-separated parts, blanks around them removed.
func (n *nmeaReader) split(body []byte) {
	n.fields = n.fields[:0]
	for part := range bytes.SplitSeq(body, []byte{','}) {
		n.fields = append(n.fields, bytes.TrimSpace(part))
	}
}

// field returns field i, empty where the sentence is shorter.
func (n *nmeaReader) field(i int) []byte {
	if i < len(n.fields) {
		return n.fields[i]
	}
	return nil
}

// satelliteFix reports whether a mode indicator stands for a speed measured by satellite. Sentences older
// than version 2.3 have none.
func satelliteFix(mode []byte) bool {
	switch string(mode) {
	case "", "A", "D", "F", "R", "P":
		return true
	}
	return false
}

func (n *nmeaReader) rmc() bool {
	if !n.flush() {
		return false
	}
	if string(n.field(2)) != "A" || !satelliteFix(n.field(12)) {
		n.track.LeftOut.NoFix++
		return true
	}
	at, ok := nmeaTime(n.field(9), n.field(1))
	if !ok {
		n.track.LeftOut.NoTime++
		return true
	}
	f := fix{at: at}
	lat, okLat := degrees(n.field(3), n.field(4), "N", "S")
	lng, okLng := degrees(n.field(5), n.field(6), "E", "W")
	if okLat && okLng {
		f.where = placeAt(lat, lng)
	}
	knots, ok := parseNumber(n.field(7))
	f.speed, f.hasSpeed = knots*mpsPerKnot, ok
	if f.hasSpeed {
		return n.add(f.at, f.where, f.speed, true)
	}
	n.pending, n.waiting = f, true
	return true
}

func (n *nmeaReader) vtg() bool {
	if !satelliteFix(n.field(9)) {
		n.track.LeftOut.NoFix++
		return true
	}
	speed, ok := vtgSpeed(n.field(5), n.field(7))
	if !ok {
		n.track.LeftOut.Malformed++
		return true
	}
	if !n.waiting {
		n.vtgAlone++
		return true
	}
	n.pending.speed, n.pending.hasSpeed = speed, true
	return n.flush()
}

// vtgSpeed returns m/s from the knots, or from the km/h where these are missing.
func vtgSpeed(knots, kmh []byte) (float64, bool) {
	if v, ok := parseNumber(knots); ok {
		return v * mpsPerKnot, true
	}
	v, ok := parseNumber(kmh)
	return v * mpsPerKMH, ok
}

// flush adds the RMC that waited for a speed, with or without one.
func (n *nmeaReader) flush() bool {
	if !n.waiting {
		return true
	}
	n.waiting = false
	f := n.pending
	if !f.hasSpeed && !f.where.known {
		n.track.LeftOut.Malformed++
		return true
	}
	return n.add(f.at, f.where, f.speed, f.hasSpeed)
}

// nmeaTime joins ddmmyy and hhmmss.sss, UTC. Years from 80 are of the last century (GPS time begins in
// 1980); common practice, no source.
func nmeaTime(date, clock []byte) (time.Time, bool) {
	if len(date) != 6 || len(clock) < 6 {
		return time.Time{}, false
	}
	var v [6]int
	for i, part := range [][]byte{date[:2], date[2:4], date[4:], clock[:2], clock[2:4], clock[4:6]} {
		if !digits(part) {
			return time.Time{}, false
		}
		v[i] = int(part[0]-'0')*10 + int(part[1]-'0')
	}
	day, month, year, hour, minute, second := v[0], v[1], v[2], v[3], v[4], v[5]
	if year += 2000; year >= 2080 {
		year -= 100
	}
	nanos := 0
	if fraction := clock[6:]; len(fraction) > 0 {
		if fraction[0] != '.' || len(fraction) > 10 || !digits(fraction[1:]) {
			return time.Time{}, false
		}
		for i := range 9 {
			nanos *= 10
			if i+1 < len(fraction) {
				nanos += int(fraction[i+1] - '0')
			}
		}
	}
	if hour > 23 || minute > 59 || second > 60 {
		return time.Time{}, false
	}
	at := time.Date(year, time.Month(month), day, hour, minute, second, nanos, time.UTC)
	if at.Day() != day && second < 60 || month < 1 || month > 12 || day < 1 || day > 31 {
		return time.Time{}, false
	}
	return at, plausible(at)
}

func digits(b []byte) bool {
	for _, c := range b {
		if c < '0' || c > '9' {
			return false
		}
	}
	return true
}

// degrees reads ddmm.mmm or dddmm.mmm with its hemisphere.
func degrees(text, hemisphere []byte, plus, minus string) (float64, bool) {
	v, ok := parseNumber(text)
	if !ok || v < 0 || v > 18000 {
		return 0, false
	}
	whole := float64(int(v / 100))
	minutes := v - whole*100
	if minutes >= 60 {
		return 0, false
	}
	switch string(hemisphere) {
	case plus:
		return whole + minutes/60, true
	case minus:
		return -(whole + minutes/60), true
	}
	return 0, false
}
