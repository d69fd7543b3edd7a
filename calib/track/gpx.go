package track

import (
	"bytes"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"time"
)

// maxDepth is the deepest nesting that is followed. GPX with extensions needs about eight.
const maxDepth = 64

// maxTag is the most bytes between two '<'. It bounds what one element, its attributes included, can
// make the decoder hold.
const maxTag = 256 << 10

// ReadGPX reads the track points of a GPX 1.0 or 1.1 file, all tracks and segments in the order written.
//
//	<gpx><trk><trkseg><trkpt lat="" lon=""><time/><speed/>
//	    <extensions><…TrackPointExtension><…speed/>…
//
// Speed is in m/s: an element of trkpt in GPX 1.0, anywhere in extensions in 1.1 (TrackPointExtension v2
// and most others; check-values 8.5). Namespaces and prefixes are not insisted on. Where no point has a
// speed it is worked out from positions. Limits, errors and what comes back with them: see Read.
func ReadGPX(r io.Reader, limits Limits) (*Track, error) {
	limits = limits.withDefaults()
	g := gpxReader{builder: builder{limit: limits.Points}}
	g.dec = xml.NewDecoder(&tagReader{r: &capReader{r: r, left: limits.Bytes}})
	g.dec.CharsetReader = charset
	err := g.run()
	line, _ := g.dec.InputPos()
	switch {
	case errors.Is(err, io.EOF) && !g.sawRoot:
		return nil, &Error{Format: GPX, Detail: "no gpx element", Err: ErrFormat}
	case errors.Is(err, io.EOF):
		return g.done(GPX, 0, nil, "no track points; waypoints and routes are not read")
	}
	return g.done(GPX, line, err, g.detail)
}

// gpxReader is one pass over a file. Fields of a point live from its start to its end tag.
type gpxReader struct {
	builder
	dec     *xml.Decoder
	sawRoot bool
	detail  string

	depth      int
	pointDepth int // depth of the open trkpt, 0 outside
	extDepth   int // depth of the open extensions inside it, 0 outside
	text       *[]byte

	where    place
	timeText []byte
	speed    []byte // of trkpt itself
	extSpeed []byte // of its extensions
}

// run reads tokens until the end (io.EOF) or a fault.
func (g *gpxReader) run() error {
	for {
		tok, err := g.dec.Token()
		if err != nil {
			var syntax *xml.SyntaxError
			if errors.As(err, &syntax) {
				// The message may quote the file; only its kind is passed on.
				g.detail = "not well-formed XML, or broken off"
				if g.depth > 0 && strings.Contains(syntax.Msg, "unexpected EOF") {
					g.detail = "the file ends in the middle"
				}
				return ErrSyntax
			}
			return err
		}
		switch tok := tok.(type) {
		case xml.StartElement:
			if err := g.start(tok); err != nil {
				return err
			}
		case xml.EndElement:
			if err := g.end(); err != nil {
				return err
			}
		case xml.CharData:
			if g.text != nil && len(*g.text)+len(tok) <= 64 {
				*g.text = append(*g.text, tok...)
			}
		case xml.Directive:
			g.detail = "a document type or entity declaration"
			return ErrUnsafe
		}
	}
}

func (g *gpxReader) start(el xml.StartElement) error {
	g.depth++
	g.text = nil
	if g.depth > maxDepth {
		g.detail = "nested deeper than " + strconv.Itoa(maxDepth)
		return ErrUnsafe
	}
	name := el.Name.Local
	switch {
	case g.depth == 1:
		if name != "gpx" {
			g.detail = "the outermost element is not gpx"
			return ErrFormat
		}
		g.sawRoot = true
	case g.pointDepth == 0:
		if name == "trkpt" {
			g.pointDepth = g.depth
			g.timeText, g.speed, g.extSpeed = g.timeText[:0], g.speed[:0], g.extSpeed[:0]
			g.where = placeOf(el.Attr)
		}
	case g.extDepth > 0:
		if name == "speed" && len(g.extSpeed) == 0 {
			g.text = &g.extSpeed
		}
	case g.depth == g.pointDepth+1:
		switch name {
		case "time":
			g.text = &g.timeText
		case "speed":
			g.text = &g.speed
		case "extensions":
			g.extDepth = g.depth
		}
	}
	return nil
}

func (g *gpxReader) end() error {
	g.text = nil
	switch g.depth {
	case g.pointDepth:
		g.pointDepth = 0
		if !g.point() {
			g.detail = "the limit is " + strconv.Itoa(g.limit)
			return ErrTooMany
		}
	case g.extDepth:
		g.extDepth = 0
	}
	g.depth--
	return nil
}

// point adds the point just closed. It reports false at the limit.
func (g *gpxReader) point() bool {
	at, ok := gpxTime(string(bytes.TrimSpace(g.timeText)))
	if !ok {
		g.track.LeftOut.NoTime++
		return true
	}
	speed, hasSpeed := parseNumber(g.speed)
	if !hasSpeed {
		speed, hasSpeed = parseNumber(g.extSpeed)
	}
	if !hasSpeed && !g.where.known {
		g.track.LeftOut.Malformed++
		return true
	}
	return g.add(at, g.where, speed, hasSpeed)
}

// placeOf reads lat and lon, in degrees.
func placeOf(attrs []xml.Attr) place {
	lat, lng := math.NaN(), math.NaN()
	for _, a := range attrs {
		v, err := strconv.ParseFloat(strings.TrimSpace(a.Value), 64)
		if err != nil {
			continue
		}
		switch a.Name.Local {
		case "lat":
			lat = v
		case "lon":
			lng = v
		}
	}
	return placeAt(lat, lng)
}

// gpxTime reads an xsd:dateTime. GPX times are UTC; one without a zone is taken so.
func gpxTime(s string) (time.Time, bool) {
	at, err := time.Parse(time.RFC3339, s)
	if err != nil {
		at, err = time.Parse("2006-01-02T15:04:05", s)
	}
	if err != nil || !plausible(at) {
		return time.Time{}, false
	}
	return at.UTC(), true
}

// parseNumber reads a finite decimal.
func parseNumber(b []byte) (float64, bool) {
	v, err := strconv.ParseFloat(string(bytes.TrimSpace(b)), 64)
	if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
		return 0, false
	}
	return v, true
}

// tagReader drops a byte order mark and refuses a run of more than maxTag bytes without a '<'.
type tagReader struct {
	r       io.Reader
	started bool
	since   int
}

func (t *tagReader) Read(p []byte) (int, error) {
	n, err := t.r.Read(p)
	if !t.started && n > 0 {
		t.started = true
		if rest, found := bytes.CutPrefix(p[:n], utf8BOM); found {
			n = copy(p, rest)
		}
	}
	b := p[:n]
	for {
		i := bytes.IndexByte(b, '<')
		if i < 0 {
			t.since += len(b)
			break
		}
		t.since += i
		if t.since > maxTag {
			break
		}
		t.since, b = 0, b[i+1:]
	}
	if t.since > maxTag {
		return 0, fmt.Errorf("%w: over %d bytes in one element", ErrUnsafe, maxTag)
	}
	return n, err
}

// charset lets the single-byte encodings of older programs pass. Everything read here is ASCII, so what
// their upper half means does not matter; it only has to be valid.
func charset(label string, input io.Reader) (io.Reader, error) {
	switch strings.ToLower(label) {
	case "us-ascii", "ascii", "iso-8859-1", "iso-8859-15", "latin1", "windows-1252":
		return &asciiReader{r: input}, nil
	}
	return nil, errors.New("encoding other than UTF-8, ASCII or Latin-1")
}

// asciiReader replaces every byte over 127 by a question mark.
type asciiReader struct{ r io.Reader }

func (a *asciiReader) Read(p []byte) (int, error) {
	n, err := a.r.Read(p)
	for i, c := range p[:n] {
		if c > 127 {
			p[i] = '?'
		}
	}
	return n, err
}
