package track

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"
	"strconv"
	"time"
)

// Format is the kind of a track file.
type Format string

// The formats this package can tell apart.
const (
	Unknown Format = ""
	GPX     Format = "gpx"
	NMEA    Format = "nmea"
)

// sniffBytes is how much of a file Sniff needs at most: room for comments before the first element.
const sniffBytes = 4096

// Sniff tells the format from the first bytes of a file; 4096 are enough. It looks at the content, never
// at a name. Unknown means: not a track file that can be read here.
func Sniff(header []byte) Format {
	h := bytes.TrimLeft(bytes.TrimPrefix(header, utf8BOM), " \t\r\n")
	if len(h) > 0 && h[0] == '<' {
		if hasElement(h, "gpx") {
			return GPX
		}
		return Unknown
	}
	for line := range bytes.Lines(h) {
		if i := bytes.IndexByte(line, '$'); i >= 0 && looksLikeSentence(line[i:]) {
			return NMEA
		}
	}
	return Unknown
}

var utf8BOM = []byte("\ufeff")

// hasElement reports whether an element of that local name begins in b.
func hasElement(b []byte, local string) bool {
	for {
		i := bytes.IndexByte(b, '<')
		if i < 0 {
			return false
		}
		b = b[i+1:]
		name := b
		if end := bytes.IndexAny(b, " \t\r\n/>"); end >= 0 {
			name = b[:end]
		}
		if colon := bytes.IndexByte(name, ':'); colon >= 0 {
			name = name[colon+1:]
		}
		if string(name) == local {
			return true
		}
	}
}

// looksLikeSentence reports whether b begins like an NMEA sentence: $, five capitals or digits, a comma.
func looksLikeSentence(b []byte) bool {
	if len(b) < 7 || b[6] != ',' {
		return false
	}
	for _, c := range b[1:6] {
		if (c < 'A' || c > 'Z') && (c < '0' || c > '9') {
			return false
		}
	}
	return true
}

// Limits bounds what a reader takes in. The zero value is the default.
type Limits struct {
	Bytes  int64 // largest file; 0 is 64 MB (64·2²⁰)
	Points int   // most points; 0 is 500,000, which is fourteen hours at ten a second
}

func (l Limits) withDefaults() Limits {
	if l.Bytes <= 0 {
		l.Bytes = 64 << 20
	}
	if l.Points <= 0 {
		l.Points = 500_000
	}
	return l
}

// The causes a read can end with, to be asked for with errors.Is. Any other cause is the source's or the
// XML decoder's own.
var (
	ErrFormat   = errors.New("neither GPX nor NMEA")
	ErrTooLarge = errors.New("file too large")
	ErrTooMany  = errors.New("too many points")
	ErrUnsafe   = errors.New("structure that no track file needs")
	ErrSyntax   = errors.New("XML syntax") // also a file that breaks off
	ErrEmpty    = errors.New("no usable point")
	ErrOrder    = errors.New("times run backwards")
)

// Error says how far a file was understood and what is wrong with it. It repeats no content of the file.
type Error struct {
	Format Format
	Points int    // points understood before the fault
	Line   int    // line of the fault, from 1; 0 where the fault has no place
	Detail string // what is wrong, a clause in plain words; may be empty
	Err    error  // the cause
}

func (e *Error) Error() string {
	s := "read track"
	if e.Format != Unknown {
		s = "read " + string(e.Format)
	}
	s += ": " + strconv.Itoa(e.Points) + " points understood"
	if e.Line > 0 {
		s += ", then at line " + strconv.Itoa(e.Line)
	}
	s += ": " + e.Err.Error()
	if e.Detail != "" {
		s += " (" + e.Detail + ")"
	}
	return s
}

// Unwrap returns the cause.
func (e *Error) Unwrap() error { return e.Err }

// Read reads a track file of either format, told by its content. With an *Error the points before the
// fault come back too (nil if there were none), since a phone that died leaves a file without an end:
// whether to go on with them is the caller's decision.
func Read(r io.Reader, limits Limits) (*Track, Format, error) {
	br := bufio.NewReaderSize(r, 64<<10)
	header, err := br.Peek(sniffBytes)
	if err != nil && err != io.EOF {
		return nil, Unknown, fmt.Errorf("read track: %w", err)
	}
	switch Sniff(header) {
	case GPX:
		t, err := ReadGPX(br, limits)
		return t, GPX, err
	case NMEA:
		t, err := ReadNMEA(br, limits)
		return t, NMEA, err
	default:
		return nil, Unknown, &Error{Err: ErrFormat}
	}
}

// done closes a reading: the track, and the fault if there was one or if nothing usable came of it.
func (b *builder) done(format Format, line int, cause error, detail string) (*Track, error) {
	t := b.finish()
	n := len(t.Points)
	switch {
	case cause != nil && n == 0:
		return nil, &Error{Format: format, Line: line, Detail: detail, Err: cause}
	case cause != nil:
		return t, &Error{Format: format, Points: n, Line: line, Detail: detail, Err: cause}
	case n == 0:
		return nil, &Error{Format: format, Detail: t.LeftOut.reason(detail), Err: ErrEmpty}
	case t.LeftOut.OutOfOrder > n:
		// One time far ahead would silently hide the drive behind it.
		return t, &Error{Format: format, Points: n, Err: ErrOrder,
			Detail: strconv.Itoa(t.LeftOut.OutOfOrder) + " points are not later than the one before"}
	}
	return t, nil
}

// reason names the most frequent ground for which points were passed over.
func (l LeftOut) reason(otherwise string) string {
	most, text := 0, otherwise
	for _, c := range []struct {
		n    int
		text string
	}{
		{l.NoTime, "points without a time, as in a planned route"},
		{l.NoFix, "sentences without a satellite fix"},
		{l.BadChecksum, "sentences with a wrong or missing checksum"},
		{l.Malformed, "entries that can't be read"},
	} {
		if c.n > most {
			most, text = c.n, strconv.Itoa(c.n)+" "+c.text
		}
	}
	return text
}

// capReader ends with ErrTooLarge instead of reading past its limit.
type capReader struct {
	r    io.Reader
	left int64
}

func (c *capReader) Read(p []byte) (int, error) {
	if c.left < 0 {
		return 0, ErrTooLarge
	}
	if int64(len(p)) > c.left+1 {
		p = p[:c.left+1]
	}
	n, err := c.r.Read(p)
	c.left -= int64(n)
	if c.left < 0 {
		return n - 1, ErrTooLarge
	}
	return n, err
}

// plausible reports whether a time can belong to a satellite fix: 1980, when GPS time begins, to 2199. It
// also keeps differences of times inside a time.Duration.
func plausible(t time.Time) bool {
	return t.Year() >= 1980 && t.Year() < 2200
}
