package calib

import (
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"testing"

	"milepost/calib/unit"
)

// vehicle is one of population.json: method page, section 12.
type vehicle struct {
	ID    int   `json:"id"`
	Known Known `json:"known"`
	Truth struct {
		C         float64 `json:"c_true_at_work_speed_mm"`
		Growth    float64 `json:"growth"`
		Gain      float64 `json:"dash_gain"`
		Offset    float64 `json:"dash_offset_unit"`
		Truncates bool    `json:"dash_truncates"`
		GPSTrunc  bool    `json:"gps_truncates"`
		Hidden    float64 `json:"hidden_reference"`
		Ideal     float64 `json:"ideal_circumference_mm"`
		Wrong     string  `json:"wrong_factory_entry"`
	} `json:"truth"`
	Script []scriptDrive `json:"script"`
}

type scriptDrive struct {
	Day        float64      `json:"day"`
	DidNotTake bool         `json:"write_before_this_drive_did_not_take"`
	Draws      [][6]float64 `json:"draws"`
}

// loadPopulation reads population.json from the shared folder beside the module root.
func loadPopulation(t testing.TB) []vehicle {
	t.Helper()
	data, err := os.ReadFile(filepath.Join("..", "..", "shared", "population.json"))
	if os.IsNotExist(err) {
		t.Skip("population.json is not beside the module (../shared)")
	}
	if err != nil {
		t.Fatal(err)
	}
	var p struct{ Vehicles []vehicle }
	if err := json.Unmarshal(data, &p); err != nil {
		t.Fatal(err)
	}
	return p.Vehicles
}

// play is one vehicle's job, played by the rules of section 12.
type play struct {
	v     *vehicle
	known Known
	unit  unit.Speed
	W     float64
	c     Case

	script        int // last script drive used
	draw          int // next draw in it
	writes, drove int
	log           []Decision
	last          Answer
	target        Answer
}

// newPlay takes what the person knows; policy, threshold and GPS step of override are used where given.
func newPlay(v *vehicle, override Known) *play {
	p := &play{v: v, known: v.Known, unit: unit.MPH, W: workSpeedMPH}
	if v.Known.DashUnit == unit.KMH {
		p.unit, p.W = unit.KMH, workSpeedKMH
	}
	p.known.Policy, p.known.Threshold = override.Policy, override.Threshold
	p.c.Known = p.known
	return p
}

// stored is the S that the vehicle really computes with: section 12.
func (p *play) stored(value float64) float64 {
	switch p.known.ValueKind {
	case PulseKM:
		return p.v.Truth.Hidden * 1000 / value
	case AxleRatio:
		return p.v.Truth.Hidden * p.known.StoredFactoryValue.Number / value
	}
	q, _ := QuantityOf(p.known.ValueKind)
	s, _ := q.Circumference(value)
	return s
}

// circumference is C(x) without the day: x in dash units.
func (p *play) circumference(x float64) float64 {
	a, b := p.unit.KMH(x)/100, p.unit.KMH(p.W)/100
	return p.v.Truth.C * (1 + p.v.Truth.Growth*(a*a-b*b))
}

// trueError is the dash's error at true speed x with a value, d = 0.
func (p *play) trueError(value, x float64) float64 {
	o := p.v.Truth.Offset
	if p.v.Truth.Truncates {
		o -= 0.5
	}
	return o + (1+p.v.Truth.Gain)*p.stored(value)/p.circumference(x)*x - x
}

// read plays one reading: the person holds dash speed T.
func (p *play) read(value, T float64) Reading {
	t := &p.v.Truth
	d := &p.v.Script[p.script]
	draw := d.Draws[p.draw]
	p.draw++
	raw := T + draw[0]
	if t.Truncates {
		raw += 0.5
	}
	x := raw
	for range 4 {
		x = (raw - t.Offset) / (1 + t.Gain) * p.circumference(x) * (1 + d.Day) / p.stored(value)
	}
	dash := math.Round(raw + draw[1])
	if t.Truncates {
		dash = math.Floor(raw + draw[1])
	}
	dash += draw[3]
	step := *p.known.GPSDisplayStep
	gps := (x + draw[2]) / step
	if t.GPSTrunc && step == 1 {
		gps = math.Floor(gps)
	} else {
		gps = math.Round(gps)
	}
	gps = plain(gps * step)
	if draw[4] != 0 {
		dash, gps = gps, dash
	}
	return Reading{Indicated: dash, Reference: gps}
}

// speeds are the dash speeds of section 8.
func (p *play) speeds(first bool) []float64 { return DriveSpeeds(p.unit, first, 0) }

// drive appends a drive at script drive k, or the last there is.
func (p *play) drive(k int, value Value, speeds []float64) {
	p.script, p.draw = min(k, len(p.v.Script)-1), 0
	p.drove++
	d := Drive{Value: value, ReadBack: &value}
	for _, T := range speeds {
		d.Readings = append(d.Readings, p.read(value.Number, T))
	}
	p.c.Drives = append(p.c.Drives, d)
}

// more asks for three readings near V on the same drive, on a new one once its ten draws are used.
func (p *play) more(near float64) {
	value := p.c.Drives[len(p.c.Drives)-1].Value
	expected, _, err := mustFit(p.c).ErrorAt(value, near)
	if err != nil {
		panic(err)
	}
	T := math.Round(near + expected)
	for i := range 3 {
		if p.draw == len(p.v.Script[p.script].Draws) {
			p.drive(p.drove, value, nil)
		}
		d := &p.c.Drives[len(p.c.Drives)-1]
		d.Readings = append(d.Readings, p.read(value.Number, T-float64(i)))
	}
}

func mustFit(c Case) *Model {
	m, err := Fit(c)
	if err != nil {
		panic(err)
	}
	return m
}

// run plays a whole job. The error is one of the package; a job that never ends is an error too.
func (p *play) run(driveFirst bool) (err error) {
	if p.target, err = Target(p.c); err != nil {
		return err
	}
	if driveFirst {
		p.drive(0, p.known.StoredFactoryValue, p.speeds(true))
	} else {
		p.drove = 1 // script drive 1 is the first
		p.writes++
		p.drive(1, p.target.Target.Value, p.speeds(true))
	}
	for range 40 {
		a, err := p.review()
		if err != nil {
			return err
		}
		if p.strike(a) {
			continue
		}
		p.last = a
		p.log = append(p.log, a.Decision)
		now := p.c.Drives[len(p.c.Drives)-1].Value
		switch a.Decision.Do {
		case Done, CannotFix:
			return nil
		case Write:
			p.writes++
			p.drive(p.drove, *a.Decision.Value, p.speeds(false))
		case Read:
			p.more(*a.Decision.Near)
		case Ask:
			if a.Decision.Reason == ReasonEntryUnit { // "no, it is as I said"
				p.known.EntryConfirmed, p.c.Known.EntryConfirmed = true, true
				continue
			}
			if a.Decision.Reason == ReasonManyWrites || a.Decision.Reason == ReasonManyReadings {
				return nil
			}
			p.drive(p.drove, now, p.speeds(false))
		}
	}
	return errEndless
}

// review goes the way of a line of `review --lines`: through JSON in, and rounded out.
func (p *play) review() (Answer, error) {
	line, err := json.Marshal(p.c)
	if err != nil {
		return Answer{}, err
	}
	c, err := ParseCase(line)
	if err != nil {
		return Answer{}, err
	}
	a, err := Review(c)
	return a.Rounded(), err
}

var errEndless = &FieldError{"", "the job does not end"}

// strike strikes what is questioned, except under did not take and mixed units.
func (p *play) strike(a Answer) (struck bool) {
	if a.Decision.Reason == ReasonDidNotTake || a.Decision.Reason == ReasonUnitMix {
		return false
	}
	for _, r := range a.Readings {
		if r.Questioned {
			p.c.Drives[r.Drive].Readings[r.Index].Struck = true
			struck = true
		}
	}
	return struck
}

// end is the value the job ends with.
func (p *play) end() float64 { return p.c.Drives[len(p.c.Drives)-1].Value.Number }

// writable tells whether the ideal lies inside the limits.
func (p *play) writable() bool {
	k := p.known
	low, high := p.stored(*k.ValueMin), p.stored(*k.ValueMax)
	if low > high {
		low, high = high, low
	}
	return p.v.Truth.Ideal >= low && p.v.Truth.Ideal <= high
}
