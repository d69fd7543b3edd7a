package flow

import (
	"math"
	"strconv"
	"strings"

	"milepost/calib"
	"milepost/calib/tyre"
	"milepost/calib/unit"
	"milepost/flow/words"
)

// How values, speeds and names are said. All printing of figures goes through
// package unit.

// lengthUnits are units in which a tool may show a length, in mm.
var lengthUnits = map[string]float64{"in": unit.MillimetresPerInch, "cm": 10, "m": 1000}

// figureOf prints a value as the module's tool shows it, without its unit.
func figureOf(m *Module, v Value) string {
	if v.Label != "" {
		return v.Label
	}
	if m == nil {
		return plainFigure(v.Num)
	}
	if mm, ok := lengthUnits[m.Shown]; ok && m.Unit == "mm" {
		return unit.Figure(v.Num/mm, m.shownDecimals(v.Num/mm))
	}
	if m.Step > 0 {
		if d := unit.Decimals(m.Step); math.Abs(unit.RoundTo(v.Num, d)-v.Num) < 1e-9 {
			return unit.Figure(v.Num, d)
		}
	}
	return plainFigure(v.Num)
}

// shownDecimals are the decimals with which the tool shows a length: those of
// its step, more where the figure has them.
func (m *Module) shownDecimals(v float64) int {
	usual := map[string]int{"in": 2, "cm": 1, "m": 3}[m.Shown]
	if m.Shown != "in" || m.Step <= 0 {
		return usual
	}
	d := unit.Decimals(unit.RoundTo(m.Step/lengthUnits["in"], 6))
	if d > 3 {
		return usual // a step that is none in inches
	}
	if math.Abs(unit.RoundTo(v, d)-v) > 1e-6 {
		d = max(d, usual)
	}
	return d
}

// unitOf is the unit that stands behind a module's value, "" for a label or a
// ratio.
func unitOf(m *Module) string {
	switch {
	case m == nil || m.Kind == string(calib.SizeList):
		return ""
	case lengthUnits[m.Shown] > 0 && m.Unit == "mm":
		return m.Shown
	}
	return m.Unit
}

// withUnit prints a value with its unit.
func withUnit(m *Module, v Value) string {
	return strings.TrimSpace(figureOf(m, v) + " " + unitOf(m))
}

// plainFigure prints a number with no more decimals than it has.
func plainFigure(v float64) string {
	v = unit.RoundTo(v, 6)
	return unit.Figure(v, unit.Decimals(math.Abs(v)))
}

// figure prints a value of the main module.
func (t *turn) figure(v Value) string { return figureOf(t.s.Main(), v) }

// toWrite is the value that is to be written next, as its button shows it.
func (t *turn) toWrite() string {
	if w := t.s.Writing; w != nil {
		return figureOf(t.s.Module(w.Module), w.To)
	}
	if g := t.s.Target(t.s.mainName()); g != nil {
		return t.figure(g.Value)
	}
	return ""
}

// boundOf prints an end of an interval, in the decimals of the module's step.
func boundOf(m *Module, v float64) string {
	if lengthUnits[m.Shown] > 0 && m.Unit == "mm" {
		return figureOf(m, Number(v))
	}
	return unit.ForStep(v, m.step())
}

// speedFigure prints a speed: whole where it is whole, else with a tenth.
func speedFigure(v float64) string {
	if math.Abs(v-math.Round(v)) < 0.05 {
		return unit.Figure(v, 0)
	}
	return unit.Figure(v, 1)
}

// speedList prints speeds in a row: "65, 60, 50".
func speedList(vs []float64) string {
	parts := make([]string, len(vs))
	for i, v := range vs {
		parts[i] = speedFigure(v)
	}
	return strings.Join(parts, ", ")
}

// symbolCap is the speed of the fitted tyre's symbol, in the dash's unit; very
// large where no symbol is known.
func (t *turn) symbolCap() float64 {
	kmh, ok := tyre.SpeedKmh(t.s.Sizes["fitted"].SpeedSymbol)
	if !ok {
		return math.MaxFloat64
	}
	return unit.Speed(t.speedUnit()).FromKMH(kmh)
}

// numberWords are small counts as they are said.
var numberWords = []string{"no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve"}

// inWords says a small number as a word.
func inWords(n int) string {
	if n >= 0 && n < len(numberWords) {
		return numberWords[n]
	}
	return strconv.Itoa(n)
}

// count prints a whole number with thousands marked.
func count(n int64) string { return unit.Count(n) }

// hashEnd is the end of a hash, in two groups: enough to tell files apart.
func hashEnd(h string) string {
	if len(h) < 8 {
		return h
	}
	h = h[len(h)-8:]
	return h[:4] + " " + h[4:]
}

// nameOf is what people call someone, or the role where no name is known.
func (t *turn) nameOf(w Who) string {
	p, ok := t.s.People[w]
	switch {
	case w == "":
		return t.text(t.worker(), "who.assistant", nil)
	case ok && p.Name != "":
		return p.Name
	case ok:
		return t.text(t.worker(), "who."+string(p.Role), nil)
	}
	return t.text(t.worker(), "who.someone", nil)
}

// nameOfRole is the name of who holds a role in the job, or the role's word.
func (t *turn) nameOfRole(r Role) string {
	if to := t.addressed(r); len(to) > 0 {
		return t.nameOf(to[0])
	}
	return t.text(t.worker(), "who."+string(r), nil)
}

// moduleWord is a module's name as it is said, "" for the only one.
func (t *turn) moduleWord(name string) string {
	if name == "" {
		return ""
	}
	if key := "module." + name; catalogue().Has(key) {
		return t.text(t.worker(), key, nil)
	}
	return strings.ReplaceAll(name, "_", " ")
}

// answerText says an answer in a few words.
func (t *turn) answerText(a Answer) string {
	s := t.s
	switch {
	case a.Skipped:
		return t.text(t.m.Role, "answer.skipped", nil)
	case a.Question == QVehicle && s.Vehicle != "":
		return s.Vehicle
	case a.Question == QVIN && s.VIN != "":
		return s.VIN
	case a.Question == QStored && s.Module(a.About) != nil:
		m := s.Module(a.About)
		return withUnit(m, m.Factory())
	case a.Question == QGears:
		return a.Value
	case a.Question == QPressure && a.Unit == "ratio" && a.Number == 1:
		return t.text(t.m.Role, "choice.placard", nil)
	case a.Question == QPressure && a.Unit == "ratio":
		return t.text(t.m.Role, "answer.pressure", words.Args{"Percent": unit.Figure(a.Number*100, 0)})
	case a.Number != 0 && a.Unit == "ratio":
		return unit.Figure(a.Number*100, 0) + " %"
	case a.Number != 0:
		return strings.TrimSpace(plainFigure(a.Number) + " " + a.Unit)
	case a.Value != "" && catalogue().Has("choice."+a.Value):
		return t.text(t.m.Role, "choice."+a.Value, words.Args{"Value": ""})
	}
	return a.Value
}
