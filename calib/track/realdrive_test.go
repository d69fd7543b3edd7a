package track_test

import (
	"encoding/csv"
	"math"
	"os"
	"path/filepath"
	"sort"
	"strconv"
	"testing"
	"time"

	"gonum.org/v1/gonum/stat"
	"milepost/calib/track"
)

// One minute of a real drive: open data set comma2k19, segment 40 of its Example_1, MIT licence, copyright
// 2018 comma.ai. The files lie in the folder beside the project; its README names the figures below.
//
// Those figures were found once elsewhere, it doesn't say with which rule for the ends of the record or on
// how dense a vehicle record (the file holds every fourth sample). Hence tolerances of a few units of the
// last digit printed, far below the noise of 0.16 mph. The residual is flat about its least: from 0.14 to
// 0.20 s of shift it changes by 0.006 m/s.
const latency = 160 * time.Millisecond // receiver later than vehicle

// drive is the whole minute. Columns of speed: 0 the broadcast speed, 1 to 4 the wheels.
type drive struct {
	track    *track.Track
	received []float64    // s of Unix time, when each fix arrived
	receiver []float64    // m/s
	at       []float64    // s, vehicle samples
	speed    [5][]float64 // m/s
}

func loadDrive(t testing.TB) drive {
	t.Helper()
	folder := filepath.Join(moduleRoot(t), "..", "shared", "real-drive")
	file, err := os.Open(filepath.Join(folder, "track.gpx"))
	if os.IsNotExist(err) {
		t.Skip("the folder shared/real-drive is not beside the project; the table in testdata is tested all the same")
	}
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	var d drive
	if d.track, _, err = track.Read(file, track.Limits{}); err != nil {
		t.Fatal(err)
	}
	for _, row := range table(t, filepath.Join(folder, "receiver_times.csv")) {
		d.received = append(d.received, row[1]/1000)
		d.receiver = append(d.receiver, row[2])
	}
	for _, row := range table(t, filepath.Join(folder, "vehicle_speed.csv")) {
		d.at = append(d.at, row[0]/1000)
		for c := range d.speed {
			d.speed[c] = append(d.speed[c], row[1+c])
		}
	}
	return d
}

// table reads the numbers of a comma-separated file with one heading line.
func table(t testing.TB, path string) [][]float64 {
	t.Helper()
	file, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	r := csv.NewReader(file)
	r.Comment = '#'
	rows, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var out [][]float64
	for _, row := range rows[1:] {
		numbers := make([]float64, len(row))
		for i, text := range row {
			if numbers[i], err = strconv.ParseFloat(text, 64); err != nil {
				t.Fatal(err)
			}
		}
		out = append(out, numbers)
	}
	return out
}

// vehicleAt interpolates a column of vehicle speed; beyond the ends the end stands.
func (d drive) vehicleAt(column int, at float64) float64 {
	v := d.speed[column]
	i := sort.SearchFloat64s(d.at, at)
	switch {
	case i == 0:
		return v[0]
	case i == len(v):
		return v[len(v)-1]
	}
	f := (at - d.at[i-1]) / (d.at[i] - d.at[i-1])
	return v[i-1] + f*(v[i]-v[i-1])
}

// pairs sets receiver speeds over 5 m/s beside the vehicle's so much earlier.
func (d drive) pairs(column int, shift float64) (receiver, vehicle []float64) {
	for i, g := range d.receiver {
		if g > 5 {
			receiver = append(receiver, g)
			vehicle = append(vehicle, d.vehicleAt(column, d.received[i]-shift))
		}
	}
	return receiver, vehicle
}

// ratio is least squares through the origin, and the rms that is left.
func ratio(x, y []float64) (k, rms float64) {
	_, k = stat.LinearRegression(x, y, nil, true)
	for i := range x {
		rms += (y[i] - k*x[i]) * (y[i] - k*x[i])
	}
	return k, math.Sqrt(rms / float64(len(x)))
}

func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	t.Logf("%s: %.5g (printed %.5g)", what, got, want)
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s: %v, want %v within %v", what, got, want, tolerance)
	}
}

func TestRealDriveReading(t *testing.T) {
	d := loadDrive(t)
	if len(d.track.Points) != 579 || d.track.Speeds != track.FromReceiver || d.track.LeftOut != (track.LeftOut{}) {
		t.Fatalf("%d points, speeds %q, left out %+v; want 579 clean ones", len(d.track.Points), d.track.Speeds, d.track.LeftOut)
	}
	for i, p := range d.track.Points {
		if p.SpeedMPS != d.receiver[i] {
			t.Fatalf("point %d: %v m/s in the track, %v in the table", i, p.SpeedMPS, d.receiver[i])
		}
	}
}

func TestRealDriveRatio(t *testing.T) {
	d := loadDrive(t)
	best, least := 0.0, math.Inf(1)
	for shift := -0.5; shift < 1; shift += 0.01 {
		if _, rms := ratio(d.pairs(0, shift)); rms < least {
			best, least = shift, rms
		}
	}
	near(t, "best shift, s", best, 0.16, 0.025)
	near(t, "residual at the best shift, m/s", least, 0.073, 0.0005)
	near(t, "residual, mph", least/mph, 0.16, 0.005)

	x, y := d.pairs(0, latency.Seconds())
	k, rms := ratio(x, y)
	near(t, "k", k, 0.9913, 0.0001)
	near(t, "residual, m/s", rms, 0.073, 0.002)
	intercept, slope := stat.LinearRegression(x, y, nil, false)
	near(t, "slope with an intercept", slope, 0.9875, 0.0002)
	near(t, "intercept, m/s", intercept, 0.066, 0.002)
	for i, want := range []float64{0.9923, 0.9922, 0.9906, 0.9901} {
		wheel, _ := ratio(d.pairs(1+i, latency.Seconds()))
		near(t, "wheel "+strconv.Itoa(i+1), wheel, want, 0.0002)
	}
}

func TestRealDriveDistances(t *testing.T) {
	d := loadDrive(t)
	got := d.track.Distance()
	near(t, "by positions, m", got.ByPosition, 1010.9, 0.05)
	near(t, "by receiver speed and arrival, m", trapezoid(d.received, d.receiver), 1009.2, 0.05)
	near(t, "by vehicle speed, m", trapezoid(d.at, d.speed[0]), 1003.8, 0.05)
	// The track holds when each fix was taken, not when it arrived.
	near(t, "by receiver speed, m", got.BySpeed, 1009.2, 0.5)
	if got.Gap != 0 {
		t.Errorf("gap %v m", got.Gap)
	}
}

func trapezoid(x, y []float64) (area float64) {
	for i := 1; i < len(x); i++ {
		area += (y[i-1] + y[i]) / 2 * (x[i] - x[i-1])
	}
	return area
}

// In this minute no speed was held for ten seconds, so by the method nothing of it is a reading.
func TestRealDriveSteady(t *testing.T) {
	d := loadDrive(t)
	if got := d.track.Steady(track.Steadiness{}); len(got) != 0 {
		t.Errorf("stretches %+v, want none", got)
	}
	if got := d.track.Steady(nearlySteady); len(got) < 4 {
		t.Errorf("%d stretches of two seconds, want at least 4", len(got))
	}
}

// The same ratios from the table kept with the tests: every fifth fix.
func TestRealDrivePairs(t *testing.T) {
	rows := table(t, filepath.Join("testdata", "real-drive-pairs.csv"))
	if len(rows) != 116 {
		t.Fatalf("%d rows", len(rows))
	}
	columns := make([][]float64, 7)
	for _, row := range rows {
		for c, v := range row {
			columns[c] = append(columns[c], v)
		}
	}
	for i, want := range []float64{0.9913, 0.9923, 0.9922, 0.9906, 0.9901} {
		k, rms := ratio(columns[1], columns[2+i])
		near(t, "column "+strconv.Itoa(2+i), k, want, 0.0004) // sd of k from 116 pairs: 0.0004
		if rms > 0.1 {
			t.Errorf("column %d: residual %v m/s", 2+i, rms)
		}
	}
}

// moduleRoot finds the folder with go.mod above the package.
func moduleRoot(t testing.TB) string {
	t.Helper()
	dir, err := os.Getwd()
	if err != nil {
		t.Fatal(err)
	}
	for {
		if _, err := os.Stat(filepath.Join(dir, "go.mod")); err == nil {
			return dir
		}
		up := filepath.Dir(dir)
		if up == dir {
			t.Fatal("no go.mod above the package")
		}
		dir = up
	}
}

const mph = 0.44704 // m/s

// nearlySteady stands for the moments at which a passenger would read in traffic: two seconds, within
// 2 mph, slope inside the method's limit.
var nearlySteady = track.Steadiness{Min: 2 * time.Second, Band: 2 * mph}
