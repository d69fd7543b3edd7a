package calib

import (
	"math"
	"sort"
)

// A Model is a case with its readings pooled: the state from which targets, decisions and predictions are made.
type Model struct {
	c        *Case
	j        *job
	drives   []driveState
	obs      []observation
	f        *fit
	now      setting // stored at present
	odometer Odometer
	choice   choice
	signs    signs
}

// signs are what sections 2, 3 and 10 look out for.
type signs struct {
	sourcesApart, rolloutOff bool
	didNotTake               bool // read-back differs, or the dash behaves as at the old value
	didNotTakeByDash         bool // the latter
	unitMix                  bool
	contradict               bool
	far                      bool // first drive far from the target
	questioned, swapped      int
	repeats                  int
}

// Fit pools all readings of a case with what its sizes predict (sections 3 and 4). Errors are *FieldError.
func Fit(c Case) (*Model, error) { return newModel(&c, true) }

// newModel builds a model; without drives it is the one behind a first target.
func newModel(c *Case, withDrives bool) (*Model, error) {
	j, err := prepare(c)
	if err != nil {
		return nil, err
	}
	m := &Model{c: c, j: j, now: j.factory}
	if withDrives {
		if m.drives, m.obs, err = j.observe("drives", c.Drives); err != nil {
			return nil, err
		}
		if n := len(m.drives); n > 0 {
			m.now = m.drives[n-1].actual
		}
	}
	if v := c.ValueNow; v != nil && (v.Known() || v.bad) {
		if m.now, err = j.settingOf("value_now", *v); err != nil {
			return nil, err
		}
	}
	m.seeDidNotTake()
	m.markDriven()
	p, err := m.prior()
	if err != nil {
		return nil, err
	}
	m.pool(p)
	if withDrives {
		m.odometer = m.odometerEvidence()
	}
	m.choice = j.choose(m.f, m.odometer.CircumferenceMM)
	m.look()
	return m, nil
}

func (m *Model) prior() (prior, error) {
	if m.j.earlier != nil {
		return m.j.earlierPrior(m.j.earlier.S), nil
	}
	circumference, apart, off := m.j.priorCircumference()
	m.signs.sourcesApart, m.signs.rolloutOff = apart, off
	return m.oldTyresPrior(m.j.marketPrior(circumference))
}

// markDriven notes which entries of a list have counted readings.
func (m *Model) markDriven() {
	for i := range m.j.list {
		e := &m.j.list[i]
		for n := range m.obs {
			if m.obs[n].counted() && same(m.drives[m.obs[n].drive].actual, *e) {
				e.driven = true
				break
			}
		}
		if same(*e, m.now) {
			m.now.driven = e.driven
		}
		if same(*e, m.j.factory) {
			m.j.factory.driven = e.driven
		}
	}
}

// pool fits, and fits again with a wide prior where the readings are far from what the sizes say (section 10,
// first drive far from the target).
func (m *Model) pool(p prior) {
	sds := m.j.deltaSDs(m.obs, m.drives, m.now)
	m.f = estimate(p, m.obs, sds, m.j.q)
	if m.f.n < fewest || p.sp >= sdFarTarget {
		return
	}
	for i := range m.obs {
		if m.obs[i].counted() && m.obs[i].z() > questionedOver {
			return
		}
	}
	before := fit{prior: p, u: p.uMean, b: p.bMean}
	if math.Abs(m.j.aimTrue(m.f)/m.j.aimTrue(&before)-1) <= farTarget {
		return
	}
	m.signs.far = true
	p.uSD = math.Hypot(sdFarTarget, math.Sqrt(math.Max(p.uSD*p.uSD-p.sp*p.sp, 0)))
	m.f = estimate(p, m.obs, sds, m.j.q)
}

// Thresholds of section 10.
const (
	farTarget       = 0.045
	contradictZ     = 2.5
	contradictShift = 0.025
	unitMixWithin   = 0.08
	swappedUnder    = 2.0
	stepNoticed     = 0.03
	fewest          = 3 // section 9, rule 1, and every comparison of medians
)

// look fills the signs that need the fit.
func (m *Model) look() {
	over, counted := 0, 0
	for i := range m.obs {
		o := &m.obs[i]
		if o.repeat {
			m.signs.repeats++
		}
		if !o.counted() {
			continue
		}
		counted++
		if o.z() > contradictZ {
			over++
		}
		if o.z() > questionedOver {
			m.signs.questioned++
			if m.fitsReversed(o) {
				m.signs.swapped++
			}
		}
	}
	m.signs.unitMix = m.seeUnitMix()
	m.signs.contradict = over >= 2 && 3*over >= counted || m.medianShift() > contradictShift
}

// fitsReversed tells whether a questioned pair fits with its figures exchanged (section 10, swapped).
func (m *Model) fitsReversed(o *observation) bool {
	r := *o
	r.I, r.G = o.G, o.I
	m.f.place(&r, m.j.q)
	return r.z() < swappedUnder
}

// seeUnitMix: median I/G near 1.609 or 0.621 within 8 %, over all counted readings or those of the last drive.
func (m *Model) seeUnitMix() bool {
	ratio := func(o *observation) float64 { return o.I / o.G }
	near := func(x float64) bool {
		const k = 1.609344 // section 1
		return math.Abs(x/k-1) <= unitMixWithin || math.Abs(x*k-1) <= unitMixWithin
	}
	all := m.ratios(ratio, func(int) bool { return true })
	if len(all) > 0 && near(median(all)) {
		return true
	}
	last := m.ratios(ratio, func(d int) bool { return d == len(m.drives)-1 })
	return len(last) >= fewest && near(median(last))
}

// medianShift is how far the medians of S·G/I of the last two drives with three counted readings lie apart.
func (m *Model) medianShift() float64 {
	var medians []float64
	for d := len(m.drives) - 1; d >= 0 && len(medians) < 2; d-- {
		r := m.ratios(rolled, func(k int) bool { return k == d })
		if len(r) >= fewest {
			medians = append(medians, median(r))
		}
	}
	if len(medians) < 2 {
		return 0
	}
	return math.Abs(math.Log(medians[0] / medians[1]))
}

// rolled is S·G/I: how far the wheel really rolls, by one reading.
func rolled(o *observation) float64 { return o.S * o.G / o.I }

func (m *Model) ratios(of func(*observation) float64, drive func(int) bool) []float64 {
	var r []float64
	for i := range m.obs {
		if o := &m.obs[i]; o.counted() && drive(o.drive) {
			r = append(r, of(o))
		}
	}
	return r
}

// seeDidNotTake looks at the last value said to be written (section 10): by read-back, or without one by the dash.
// Such drives then count at the old value.
func (m *Model) seeDidNotTake() {
	n := len(m.drives)
	if n == 0 {
		return
	}
	last := m.drives[n-1]
	given := m.c.ValueNow != nil && m.c.ValueNow.Known()
	if last.missed {
		m.signs.didNotTake = !given || same(m.now, last.actual)
		return
	}
	first := n // the last drives, all at the value that was written last
	for first > 0 && same(m.drives[first-1].said, last.said) && !m.drives[first-1].read {
		first--
	}
	if first == n || first == 0 || given && !same(m.now, last.actual) {
		return
	}
	old := m.drives[first-1].actual
	from := first - 1
	for from > 0 && same(m.drives[from-1].actual, old) {
		from--
	}
	step := math.Log(last.actual.S / old.S)
	fresh := m.ratios(rolled, func(d int) bool { return d >= first })
	before := m.ratios(rolled, func(d int) bool { return d >= from && d < first })
	if math.Abs(last.actual.S/old.S-1) < stepNoticed || len(fresh) < fewest || len(before) < fewest {
		return
	}
	if r := math.Log(median(fresh) / median(before)); math.Abs(r-step) >= math.Abs(r) {
		return
	}
	m.signs.didNotTake, m.signs.didNotTakeByDash = true, true
	for d := first; d < n; d++ {
		m.drives[d].actual = old
	}
	for i := range m.obs {
		if m.obs[i].drive >= first {
			m.obs[i].S = old.S
		}
	}
	m.now = old
}

func median(x []float64) float64 {
	sort.Float64s(x)
	n := len(x)
	if n%2 == 1 {
		return x[n/2]
	}
	return (x[n/2-1] + x[n/2]) / 2
}
