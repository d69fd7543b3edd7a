package demo

import (
	"math"
	"math/rand/v2"
	"strconv"
	"strings"
)

// kmhPerMPH is exact.
const kmhPerMPH = 1.609344

// Vehicle is an invented one. It answers what a service tool, a dash and a
// phone would show, by I = b + (1+g)·(S/C)·v (calibration method, sections 1
// and 12).
type Vehicle struct {
	dashUnit  string  // mph or km/h
	work      float64 // W: the speed for which C holds, dash unit
	trueMM    float64 // C: true circumference of the fitted tyre at W, mm
	growth    float64 // of C, per (100 km/h)²
	gain      float64 // g
	offset    float64 // o, dash unit; without what truncating takes
	truncates bool    // the dash rounds down

	gpsStep      float64 // 1 or 0.1
	gpsTruncates bool
	gpsNoise     float64 // sd, dash unit

	modules []*module
	mishaps []mishap // of coming writes, one each
	taken   int      // writes that took
	codes   []string // present now
}

// module holds a value of its own. The first is the one the dash follows.
type module struct {
	name     string // "" where it is the only one
	scale    scale
	step     float64
	min, max float64
	told     bool        // whether the tool shows step and limits
	list     []listEntry // the sizes offered, of a size list
	now      float64     // the value held; of a list, the entry's index
}

// listEntry is a size that a tool offers, with the circumference behind it.
type listEntry struct {
	label string
	mm    float64
	shown bool // whether the tool shows the circumference
}

// mishap is what goes wrong with one write.
type mishap string

const (
	fine       mishap = ""
	notTaken   mishap = "not taken"  // the tool says it took
	brokeOff   mishap = "broke off"  // nothing written, the same again takes
	conditions mishap = "conditions" // refused until a door is shut
	busCode    mishap = "bus code"   // takes, and leaves a communication code that clears
)

// circumference is what the module believes now, mm.
func (m *module) circumference() float64 {
	if m.list != nil {
		return m.list[int(m.now)].mm
	}
	return m.scale.circumference(m.now)
}

// shows is the value as the tool displays it.
func (m *module) shows() string { return m.text(m.now) }

func (m *module) text(v float64) string {
	if m.list != nil {
		return m.list[int(v)].label
	}
	return figure(v, m.step)
}

// parse reads a value that somebody asks to be written.
func (m *module) parse(text string) (float64, bool) {
	for i, e := range m.list {
		if strings.EqualFold(e.label, text) {
			return float64(i), true
		}
	}
	v, err := strconv.ParseFloat(strings.ReplaceAll(text, ",", ""), 64)
	return v, err == nil && m.list == nil
}

// write writes a value and gives what the tool says of it.
func (v *Vehicle) write(m *module, value float64) string {
	if m.list == nil && (value < m.min-1e-9 || value > m.max+1e-9) {
		if value < m.min {
			return "refused, value out of range, min " + m.text(m.min)
		}
		return "refused, value out of range, max " + m.text(m.max)
	}
	what := fine
	if len(v.mishaps) > 0 {
		what, v.mishaps = v.mishaps[0], v.mishaps[1:]
	}
	switch what {
	case notTaken:
		return "took"
	case brokeOff:
		return "broke off"
	case conditions:
		return "refused, conditions not met"
	case busCode:
		v.codes = append(v.codes, "U0121")
	}
	m.now = value
	v.taken++
	return "took"
}

// clear clears the codes once: what came of the write itself is gone for good.
func (v *Vehicle) clear() { v.codes = nil }

// per100 is a speed of the dash's unit in hundreds of km/h.
func (v *Vehicle) per100(speed float64) float64 {
	if v.dashUnit == "mph" {
		speed *= kmhPerMPH
	}
	return speed / 100
}

// q is dash units per mph.
func (v *Vehicle) q() float64 {
	if v.dashUnit == "mph" {
		return 1
	}
	return kmhPerMPH
}

// wheel is the circumference at a true speed on a day, mm (calibration method,
// section 12).
func (v *Vehicle) wheel(speed, day float64) float64 {
	x, w := v.per100(speed), v.per100(v.work)
	return v.trueMM * (1 + v.growth*(x*x-w*w)) * (1 + day)
}

// shown is what the dash would show at a true speed, before its display rounds.
func (v *Vehicle) shown(speed, day float64) float64 {
	return v.offset + (1+v.gain)*v.modules[0].circumference()/v.wheel(speed, day)*speed
}

// errorAt is the dash's mean error at a true speed on an average day, dash unit.
func (v *Vehicle) errorAt(speed float64) float64 {
	return v.shown(speed, 0) - v.lost() - speed
}

// lost is what a truncating display takes away on average.
func (v *Vehicle) lost() float64 {
	if v.truncates {
		return 0.5
	}
	return 0
}

// ideal is the value, in the module's own unit and before its step, with which
// the dash is true at W; of a list the circumference, mm.
func (v *Vehicle) ideal() float64 {
	mm := v.trueMM / (1 + v.gain) * (v.work - v.offset + v.lost()) / v.work
	if v.modules[0].list != nil {
		return mm
	}
	return v.modules[0].scale.value(mm)
}

// read is one look at dash and phone while the driver holds about a true speed.
func (v *Vehicle) read(r *rand.Rand, asked, day float64) (dash, gps float64) {
	speed := asked + 0.4*v.q()*r.NormFloat64()
	dash = v.shown(speed, day) + 0.10*v.q()*r.NormFloat64()
	if v.truncates {
		dash = math.Floor(dash)
	} else {
		dash = math.Round(dash)
	}
	gps = speed + v.gpsNoise*r.NormFloat64()
	if v.gpsTruncates && v.gpsStep == 1 {
		return dash, math.Floor(gps)
	}
	return dash, snap(gps, v.gpsStep)
}

// compare is an odometer's reading over a tracked way: free of the dash's gain
// and offset.
func (v *Vehicle) compare(r *rand.Rand, distance float64) (odometer float64) {
	d := distance * v.modules[0].circumference() / v.wheel(v.work*0.8, 0)
	return snap(d*(1+0.001*r.NormFloat64()), 0.1)
}

// module finds a module by words of a message that name it; the first where
// none does.
func (v *Vehicle) module(words string) *module {
	words = strings.ToLower(words)
	for _, m := range v.modules {
		for _, w := range moduleWords[m.name] {
			if strings.Contains(words, w) {
				return m
			}
		}
	}
	return v.modules[0]
}

// moduleWords are what the modules played are called in either register.
var moduleWords = map[string][]string{"cluster": {"cluster", "instrument"}, "abs": {"abs", "brake"}}
