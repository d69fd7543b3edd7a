package flow

import (
	"math"
	"strings"

	"milepost/calib"
	"milepost/calib/unit"
	"milepost/flow/words"
)

// sayTarget says the value first, where it comes from, and what the dash and
// the odometer do without it.
func (t *turn) sayTarget(a assessed) {
	m, g := t.s.Main(), t.s.Target(t.s.mainName())
	var at, shown []float64
	for _, e := range t.s.Errors.Errors {
		at = append(at, e.At)
		shown = append(shown, math.Round(e.At+t.shownAt(a, m.Now, e)))
	}
	short := a.Model.Effects().OdometerShort
	args := words.Args{
		"Value": figureOf(m, g.Value), "Unit": unitOf(m), "Low": boundOf(m, g.Low), "High": boundOf(m, g.High),
		"Now": figureOf(m, m.Now), "At": speedList(at), "Shown": speedList(shown), "Speed": t.speedUnit(),
		"Percent": unit.Figure(math.Abs(short)*100, 1), "Short": short > 0, "Even": math.Abs(short) < 0.0005,
		"Down": t.goesDown(), "Smaller": g.Value.Num < m.Now.Num, "List": m.Kind == string(calib.SizeList),
		"Sources": t.sources(), "Same": g.Value == m.Now, "Read": len(t.s.Readings) > 0, "Limited": g.Limited,
	}
	key := "target.value"
	if v, known := t.s.knownValue(); known && v == g.Value && v != m.Now {
		key = "target.known"
	}
	t.say(Result, key, args)
	t.sayModules()
}

// shownAt is the dash's error at a speed with a value, 0 where it can't be
// worked out.
func (t *turn) shownAt(a assessed, v Value, e SpeedError) float64 {
	mean, _, err := a.Model.ErrorAt(calibValue(v), e.At)
	if err != nil {
		return e.Before
	}
	return mean
}

// goesDown says whether the value gets smaller for a larger tyre.
func (t *turn) goesDown() bool {
	m := t.s.Main()
	q, ok := calib.QuantityOf(calib.Kind(m.Kind))
	if m.Kind == string(calib.Percent) {
		return m.Direction == string(calib.Down)
	}
	return ok && q.Direction == calib.Down
}

// sources names what the target was worked out from.
func (t *turn) sources() string {
	parts := []string{t.text(t.worker(), "source.sizes", nil)}
	if v, ok := t.s.Num(QRevs); ok && v > 0 {
		parts = append(parts, t.text(t.worker(), "source.revs", nil))
	}
	if v, ok := t.s.Num(QRollout); ok && v > 0 {
		parts = append(parts, t.text(t.worker(), "source.rollout", nil))
	}
	if len(t.s.Readings) > 0 {
		parts = append(parts, t.text(t.worker(), "source.readings", nil))
	}
	return joinAnd(parts)
}

// joinAnd joins words: a, b and c.
func joinAnd(parts []string) string {
	switch n := len(parts); n {
	case 0:
		return ""
	case 1:
		return parts[0]
	default:
		return strings.Join(parts[:n-1], ", ") + " and " + parts[n-1]
	}
}

// sayModules lists the value of each further module.
func (t *turn) sayModules() {
	if len(t.s.Modules) < 2 {
		return
	}
	var parts []string
	for i := range t.s.Modules {
		m := &t.s.Modules[i]
		if g := t.s.Target(m.Name); g != nil {
			parts = append(parts, t.moduleWord(m.Name)+" "+figureOf(m, m.Now)+" → "+withUnit(m, g.Value))
		}
	}
	t.say(Result, "target.modules", words.Args{"List": strings.Join(parts, ", "), "N": len(parts)})
}

// sayWarnings says what the method warns of beside the value. Those that are
// questions or decisions of their own are said where they are asked.
func (t *turn) sayWarnings(a assessed) {
	for _, w := range a.Warnings {
		key := "warn." + string(w.Code)
		switch w.Code {
		case calib.BelowTrue, calib.AtLimit, calib.SymbolCap, calib.EntryMismatch, calib.AboveRule,
			calib.OdometerDiffers, calib.BetweenSteps, calib.OffsetSeen:
			if w.Code == calib.BetweenSteps && (a.Decision.Reason == calib.ReasonWithin || a.Decision.Reason == calib.ReasonAsGood) {
				continue // another value would come closer, and need not
			}
			if w.Code == calib.OffsetSeen && a.Decision.Do != calib.Done && a.Decision.Do != calib.CannotFix {
				continue
			}
			t.say(Notice, key, t.warnArgs(a, w))
		}
	}
}

func (t *turn) warnArgs(a assessed, w calib.Warning) words.Args {
	args := words.Args{"Text": upperFirst(w.Text), "Symbol": t.s.Sizes["fitted"].SpeedSymbol, "W": speedFigure(a.W), "Unit": t.speedUnit(),
		"Offset": unit.Signed(a.Estimate.Offset, 1)}
	return args
}

func upperFirst(s string) string {
	if s == "" {
		return s
	}
	return strings.ToUpper(s[:1]) + s[1:]
}
