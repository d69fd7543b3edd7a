package demo

import (
	"math/rand/v2"
	"strconv"

	"milepost/flow"
)

// scenario is everything a seed invents: the vehicle, what its people know, and
// how they go about the job.
type scenario struct {
	seed    uint64
	vehicle *Vehicle
	name    string // the vehicle in its people's words
	home    bool

	worker, watcher *person // watcher: helper at home, supervisor where policy wants one, nil
	policy          flow.Policy

	placard, fitted string // sizes with load index and speed symbol
	tread           string // as it is typed
	pressure        string
	gears           string
	extra           string // published revolutions or rollout, "" if nobody knows
	odometer        int
	backup          string // file, attested, photo or values
	volts           float64

	driveFirst bool
	alone      bool // nobody reads along on the drive
	misread    bool // one reading of the first drive is read wrong
	odoCheck   bool // compares odometer and track where asked
	curious    int  // the prompt before which somebody types "why"
}

// pair is a change of tyres as people make it. Sizes and load indices are
// markings only; the diameters follow from them.
type pair struct{ placard, fitted string }

var pairs = map[string][]pair{
	"mph": {
		{"LT265/70R17 121/118S", "LT285/75R17 121/118S"},
		{"265/70R17 115T", "285/70R17 117T"},
		{"245/75R16 111S", "265/75R16 116S"},
		{"235/75R15 105S", "31x10.50R15LT 109S"},
		{"275/65R18 116T", "275/70R18 116T"},
		{"LT245/75R17 121/118S", "LT305/70R17 121/118S"},
		{"255/70R18 113T", "245/65R18 113T"},
	},
	"km/h": {
		{"225/65R17 102H", "235/65R17 104H"},
		{"205/55R16 91V", "195/65R15 91V"},
		{"195/75R16 107S", "215/75R16 113S"},
		{"215/60R17 96H", "225/65R17 102H"},
		{"235/65R17 108V", "225/60R17 108V"},
		{"205/80R16 110S", "235/85R16 120S"},
	},
}

// names are what people call a vehicle, by the market: the one has trucks.
var names = map[string][]string{
	"mph":  {"unit 14", "unit 7", "the old pickup", "farm truck 3", "the white truck", "shop truck 2"},
	"km/h": {"unit 3", "the blue van", "the grey wagon", "the green hatchback", "our family car", "van 12"},
}

// invent draws a scenario. The vehicle follows section 11 of the calibration
// method; what people do is drawn apart from it, so that a change in one leaves
// the other.
func invent(seed uint64) (*scenario, error) {
	r := rand.New(rand.NewPCG(seed, 1))
	s := &scenario{seed: seed}
	v := &Vehicle{dashUnit: "mph", work: 70}
	s.vehicle = v
	if r.Float64() < 0.4 {
		v.dashUnit, v.work = "km/h", 110
	}
	s.policy = flow.Policy{Speed: v.dashUnit}
	if v.dashUnit == "km/h" {
		s.policy.Rule = "never-under"
	} else if r.IntN(4) == 0 {
		v.work, s.policy.WorkSpeed = 65, 65
	}
	p := pairs[v.dashUnit][r.IntN(len(pairs[v.dashUnit]))]
	s.placard, s.fitted = p.placard, p.fitted
	if err := s.roll(r); err != nil {
		return nil, err
	}
	s.display(r)
	s.people(rand.New(rand.NewPCG(seed, 2)))
	return s, nil
}

// distance is the odometer's unit.
func (s *scenario) distance() string {
	if s.vehicle.dashUnit == "mph" {
		return "mi"
	}
	return "km"
}

// storedText is the value as a person reads it off, with step and limits where
// the tool shows them.
func (s *scenario) storedText() string {
	m := s.vehicle.modules[0]
	if m.list != nil {
		return "a list of sizes, now on " + m.shows()
	}
	text := m.shows() + " " + m.scale.kind.unit()
	if m.told && !s.home {
		text += ", " + m.limits()
	}
	return text
}

// limits is step and range as the tool shows them.
func (m *module) limits() string {
	return "step " + plain(m.step) + ", " + m.text(m.min) + " to " + m.text(m.max)
}

func (s *scenario) odometerText() string { return strconv.Itoa(s.odometer) + " " + s.distance() }
