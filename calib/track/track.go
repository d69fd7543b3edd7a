package track

import (
	"math"
	"sort"
	"time"

	"github.com/golang/geo/s2"
)

// earthRadiusM is the mean radius of the Earth, 6371.0088 km (IUGG mean radius R1, from memory; the
// sphere that check-values 8.5 uses).
const earthRadiusM = 6371008.8

// maxSpeedMPS is where a speed stops being one of a road vehicle (540 km/h); a point beyond it counts
// as one without a speed. Our choice, far above anything that is calibrated.
const maxSpeedMPS = 150

// minSpacing is the least time between two points that are kept. Receivers with more than 25 fixes a second
// are thinned: nothing here gains by them, and it bounds the points in a window of time whatever a file says.
const minSpacing = 35 * time.Millisecond

// Longest time between two fixes that still counts as an unbroken record. Our choices: for speeds, a
// phone gives one fix a second, so one missing is let pass and two are not; for distances, the chord of
// ten seconds on a main road's curve is short by a tenth of a percent or so.
const (
	maxSpeedGap    = 2500 * time.Millisecond
	maxDistanceGap = 10 * time.Second
)

// Point is one fix: when, and how fast. Where is not kept.
type Point struct {
	Time     time.Time
	SpeedMPS float64 // m/s, 0 to 150; meaningful only with HasSpeed
	HasSpeed bool

	stepM   float64 // metres from the point before, along the sphere
	hasStep bool    // both points had a position
}

// SpeedSource says where the speeds of a Track come from.
type SpeedSource string

// The sources a Track can have its speeds from.
const (
	NoSpeeds      SpeedSource = ""          // no point has a speed
	FromReceiver  SpeedSource = "receiver"  // the file states them
	FromPositions SpeedSource = "positions" // worked out from position and time: poorer
)

// LeftOut counts what a reader passed over, and why. Zero everywhere is a clean file.
type LeftOut struct {
	NoTime      int // points without a usable time
	OutOfOrder  int // points not later than the one before, repeats and points closer than 35 ms included
	NoFix       int // NMEA: status V, or a mode that is not a satellite fix
	BadChecksum int // NMEA: checksum wrong or missing
	Malformed   int // fields that can't be read
}

// Track is a recorded drive without positions. Points are strictly in order of time.
type Track struct {
	Points  []Point
	Speeds  SpeedSource
	LeftOut LeftOut
}

// Start returns the time of the first point, the zero time if there is none.
func (t *Track) Start() time.Time {
	if len(t.Points) == 0 {
		return time.Time{}
	}
	return t.Points[0].Time
}

// End returns the time of the last point, the zero time if there is none.
func (t *Track) End() time.Time {
	if len(t.Points) == 0 {
		return time.Time{}
	}
	return t.Points[len(t.Points)-1].Time
}

// Distance is how far was driven, worked out in both ways that the file allows.
type Distance struct {
	ByPosition  float64 // m, along the sphere from fix to fix
	BySpeed     float64 // m, receiver speed times time; 0 where speeds come from positions
	HasPosition bool
	HasSpeed    bool
	Gap         float64 // m of these over more than 10 s without a fix: a straight line, or the mean speed of both ends
}

// Metres returns the better of the two: by receiver speed where there is one, since positions of a
// standing or slow vehicle wander and every step of the wandering adds, else by positions.
func (d Distance) Metres() float64 {
	if d.HasSpeed {
		return d.BySpeed
	}
	return d.ByPosition
}

// Distance adds up the whole track.
func (t *Track) Distance() Distance {
	return distance(t.Points)
}

// DistanceBetween adds up the part from one time to another, both included. Times outside the track
// stand for its ends. Within one fix interval at each end nothing is interpolated.
func (t *Track) DistanceBetween(from, to time.Time) Distance {
	return distance(t.between(from, to))
}

func distance(points []Point) Distance {
	var d Distance
	var gapPosition, gapSpeed float64
	for i := 1; i < len(points); i++ {
		a, b := points[i-1], points[i]
		dt := b.Time.Sub(a.Time)
		if b.hasStep {
			d.ByPosition += b.stepM
			d.HasPosition = true
		}
		var bySpeed float64
		if a.HasSpeed && b.HasSpeed {
			bySpeed = (a.SpeedMPS + b.SpeedMPS) / 2 * dt.Seconds()
			d.HasSpeed = true
		} else if b.hasStep {
			bySpeed = b.stepM // a fix without speed among others with one
		}
		d.BySpeed += bySpeed
		if dt > maxDistanceGap {
			gapPosition += b.stepM
			gapSpeed += bySpeed
		}
	}
	d.Gap = math.Max(gapPosition, gapSpeed)
	if !d.HasSpeed {
		d.BySpeed = 0
	}
	return d
}

// between returns the points from one time to another, both included.
func (t *Track) between(from, to time.Time) []Point {
	lo := sort.Search(len(t.Points), func(i int) bool { return !t.Points[i].Time.Before(from) })
	hi := sort.Search(len(t.Points), func(i int) bool { return t.Points[i].Time.After(to) })
	if hi < lo {
		return nil
	}
	return t.Points[lo:hi]
}

// place is a position on its way through a reader. It is never stored in a Track.
type place struct {
	latLng s2.LatLng
	known  bool
}

// placeAt returns the place of a latitude and longitude in degrees, unknown where they are not on the globe.
func placeAt(lat, lng float64) place {
	if !(math.Abs(lat) <= 90) || !(math.Abs(lng) <= 180) { // so written that NaN fails
		return place{}
	}
	return place{latLng: s2.LatLngFromDegrees(lat, lng), known: true}
}

// stepTo returns the distance between two places in metres along the sphere.
func (p place) stepTo(q place) float64 {
	return p.latLng.Distance(q.latLng).Radians() * earthRadiusM
}

// builder collects fixes into a Track and holds the one position that is needed for the next step.
type builder struct {
	track Track
	last  place
	limit int
}

// add takes one fix. It reports false when the limit of points is reached.
func (b *builder) add(at time.Time, where place, speed float64, hasSpeed bool) bool {
	n := len(b.track.Points)
	if n > 0 && at.Sub(b.track.Points[n-1].Time) < minSpacing {
		b.track.LeftOut.OutOfOrder++
		return true
	}
	if n >= b.limit {
		return false
	}
	p := Point{Time: at}
	if hasSpeed && speed >= 0 && speed <= maxSpeedMPS {
		p.SpeedMPS, p.HasSpeed = speed, true
		b.track.Speeds = FromReceiver
	}
	if n > 0 && where.known && b.last.known {
		p.stepM, p.hasStep = b.last.stepTo(where), true
	}
	b.last = where
	b.track.Points = append(b.track.Points, p)
	return true
}

// finish works out speeds from positions where the file had none at all, and returns the track. A file
// with speeds at some points keeps just these: the two kinds don't mix well.
func (b *builder) finish() *Track {
	t := &b.track
	if t.Speeds == NoSpeeds {
		speedsFromSteps(t)
	}
	b.last = place{}
	return t
}

// speedsFromSteps gives each point the speed over the steps on both its sides, or on the one side that
// has one.
func speedsFromSteps(t *Track) {
	for i := range t.Points {
		var metres, seconds float64
		if i > 0 && t.Points[i].hasStep {
			metres += t.Points[i].stepM
			seconds += t.Points[i].Time.Sub(t.Points[i-1].Time).Seconds()
		}
		if i+1 < len(t.Points) && t.Points[i+1].hasStep {
			metres += t.Points[i+1].stepM
			seconds += t.Points[i+1].Time.Sub(t.Points[i].Time).Seconds()
		}
		if seconds > 0 && metres/seconds <= maxSpeedMPS {
			t.Points[i].SpeedMPS, t.Points[i].HasSpeed = metres/seconds, true
			t.Speeds = FromPositions
		}
	}
}
