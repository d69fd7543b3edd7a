package demo

import (
	"fmt"
	"math"
	"math/rand/v2"

	"milepost/calib/tyre"
	"milepost/flow"
)

// between is a uniform draw.
func between(r *rand.Rand, low, high float64) float64 { return low + (high-low)*r.Float64() }

func clamp(v, low, high float64) float64 { return math.Min(high, math.Max(low, v)) }

// roll makes the tyres: how far they really go, and what is known of them.
func (s *scenario) roll(r *rand.Rand) error {
	v := s.vehicle
	old, err := tyre.Parse(s.placard)
	if err != nil {
		return fmt.Errorf("invent placard: %w", err)
	}
	fitted, err := tyre.Parse(s.fitted)
	if err != nil {
		return fmt.Errorf("invent tyres: %w", err)
	}
	factor := clamp(0.966+0.0045*r.NormFloat64(), 0.952, 0.983)
	stored := math.Pi * old.DiameterMM() * clamp(factor*(1+0.004*r.NormFloat64()), 0.950, 0.985)

	d := fitted.DiameterMM()
	if fitted.OverallIn > 0 {
		d *= 1 - 0.012 + 0.008*r.NormFloat64()
	} else {
		d += 2 * fitted.SectionHeightMM() * clamp(0.012*r.NormFloat64(), -0.03, 0.04)
	}
	news := 8 + float64(r.IntN(7))
	now := news
	s.tread = "as new"
	if r.Float64() < 0.4 {
		now = news - math.Round(between(r, 1, 5))
		d -= 2 * (news - now) * between(r, 0.6, 1)
		s.tread = fmt.Sprintf("%v mm new, %v now", news, now)
	}
	s.pressure = "placard pressure"
	if r.Float64() < 0.3 {
		psi := math.Round(36 * clamp(1+0.07*r.NormFloat64(), 0.85, 1.2))
		s.pressure = fmt.Sprintf("%v psi, placard 36", psi)
		d *= 1 + between(r, 0.005, 0.015)*(psi/36-1)
	}
	v.trueMM = math.Pi * d * (factor + 0.0045*r.NormFloat64())
	v.growth = between(r, 0.0005, 0.0030)
	s.gears = "gears unchanged"
	switch r.IntN(5) {
	case 0, 1:
		s.extra = fmt.Sprintf("%.0f published revs per mile", mmPerMile/v.trueMM*(1+0.008*r.NormFloat64()))
	case 2:
		s.extra = fmt.Sprintf("rollout %.0f mm", v.trueMM/1.002*(1+0.003*r.NormFloat64()))
	}
	s.store(r, stored)
	return nil
}

// store makes the modules that hold the value.
func (s *scenario) store(r *rand.Rand, mm float64) {
	v := s.vehicle
	metric := v.dashUnit == "km/h"
	kinds := []kind{circumference, circumference, circumference, diameter, radius, pulsesKM, axleRatio, percentUp, percentDown, sizeList}
	if metric {
		kinds = append(kinds, revsKM, revsKM)
	} else {
		kinds = append(kinds, revsMile, revsMile)
	}
	m := makeModule(r, kinds[r.IntN(len(kinds))], mm)
	m.told = r.Float64() < 0.7
	if m.scale.kind == sizeList {
		s.offer(r, m, mm)
	}
	v.modules = []*module{m}
	if m.list == nil && r.IntN(5) == 0 {
		m.name = "cluster"
		other := makeModule(r, m.scale.kind, mm)
		other.name, other.told = "abs", m.told
		other.scale, other.step, other.min, other.max, other.now = m.scale, m.step, m.min, m.max, m.now
		v.modules = append(v.modules, other)
	}
	all := []mishap{fine, fine, fine, fine, fine, notTaken, brokeOff, conditions, busCode}
	v.mishaps = []mishap{all[r.IntN(len(all))], all[r.IntN(len(all))]}
	if v.mishaps[0] == brokeOff {
		v.mishaps[1] = fine // twice in a row is a job of another kind
	}
}

// makeModule makes a module of a kind at about a circumference, with its step
// and limits.
func makeModule(r *rand.Rand, k kind, mm float64) *module {
	m := &module{scale: scale{kind: k, mm: mm}, step: 1}
	switch k {
	case circumference:
		m.step = []float64{1, 1, 1, 1, 0.1, 5, 10}[r.IntN(7)]
	case axleRatio:
		m.step, m.scale.factory = 0.01, snap(between(r, 3.2, 4.6), 0.01)
	case percentUp, percentDown:
		m.step, m.scale.factory = 0.5, 100
	case pulsesKM:
		m.scale.factory = math.Round(mmPerKM / mm * float64(8+r.IntN(40)))
	case revsMile, revsKM, diameter, radius:
		m.step = []float64{1, 1, 0.1}[r.IntN(3)]
	}
	m.now = snap(m.scale.value(mm), m.step)
	if m.scale.factory == 0 {
		m.scale.factory = m.now
	}
	low, high := 0.80, between(r, 1.10, 1.35)
	if r.IntN(12) == 0 {
		high = between(r, 1.005, 1.03) // a module that does not go far enough
	}
	if k.smaller() {
		low, high = 1/high, 1/low
	}
	m.min, m.max = snap(m.now*low, m.step), snap(m.now*high, m.step)
	return m
}

// offer fills a list with the sizes about the factory's and the fitted one.
func (s *scenario) offer(r *rand.Rand, m *module, mm float64) {
	bare := sizeOnly
	labels := []string{bare(s.placard), bare(s.fitted)}
	for _, p := range pairs[s.vehicle.dashUnit] {
		if l := bare(p.fitted); l != labels[0] && l != labels[1] && len(labels) < 5 {
			labels = append(labels, l)
		}
	}
	base, _ := tyre.Parse(labels[0])
	shown := r.IntN(2) == 0
	m.list, m.now = nil, 0
	for i, l := range labels {
		z, _ := tyre.Parse(l)
		d := z.DiameterMM()
		if z.OverallIn > 0 {
			d *= 0.988
		}
		e := listEntry{label: l, mm: mm * d / base.DiameterMM(), shown: shown}
		if i > 0 {
			e.mm *= 1 + 0.007*r.NormFloat64()
		}
		e.mm = math.Round(e.mm)
		m.list = append(m.list, e)
	}
}

// sizeOnly is a marking without load index and speed symbol.
func sizeOnly(marking string) string {
	for i, c := range marking {
		if c == ' ' {
			return marking[:i]
		}
	}
	return marking
}

// display makes the dash and the phone.
func (s *scenario) display(r *rand.Rand) {
	v := s.vehicle
	v.gain = 0.0015 * r.NormFloat64()
	deliberate := 0.25
	if v.dashUnit == "km/h" {
		deliberate = 0.70
	}
	if r.Float64() < deliberate {
		gain, offset := between(r, 0.005, 0.03), between(r, 0.5, 3)/kmhPerMPH*v.q()
		switch x := r.Float64(); {
		case x < 0.5:
			v.gain += gain
		case x < 0.8:
			v.offset = offset
		default:
			v.gain, v.offset = v.gain+gain, offset
		}
	}
	v.truncates = r.Float64() < 0.25
	if v.truncates && v.dashUnit == "km/h" {
		v.offset += 0.5 // its maker keeps it above true all the same
	}
	v.gpsNoise, v.gpsStep = between(r, 0.10, 0.30)*v.q(), 1
	if r.Float64() < 0.2 {
		v.gpsStep = 0.1
	}
	v.gpsTruncates = r.Float64() < 0.1
	s.odometer = 20000 + r.IntN(90000)
}

// people makes who is there and how they go about it.
func (s *scenario) people(r *rand.Rand) {
	all := names[s.vehicle.dashUnit]
	s.name = all[r.IntN(len(all))]
	s.home = r.IntN(3) == 0
	first := []string{"Ann", "Kim", "Lou", "Max", "Pat"}[r.IntN(5)]
	if s.home {
		s.worker, s.watcher = &person{first, flow.Customer}, &person{"Noor", flow.Helper}
	} else {
		s.worker = &person{first, flow.Technician}
		switch r.IntN(4) {
		case 0:
			s.policy.SignOff = true
		case 1:
			s.policy.Holds = []flow.HoldPoint{{What: "write"}}
		}
		if s.policy.SignOff || len(s.policy.Holds) > 0 {
			s.watcher = &person{"Robin", flow.Supervisor}
		}
	}
	s.backup = []string{"file", "file", "file", "attested", "photo", "values"}[r.IntN(6)]
	s.volts = 13 + float64(r.IntN(12))/10
	s.driveFirst = r.IntN(3) > 0
	s.alone = r.IntN(6) == 0
	s.misread = r.IntN(4) == 0
	s.odoCheck = r.IntN(2) == 0
	s.curious = r.IntN(14)
}
