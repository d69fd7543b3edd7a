package flow

import (
	"math"
	"regexp"
	"strconv"
	"strings"

	"milepost/flow/understand"
	"milepost/flow/words"
)

// The read-back: nothing counts as written before it equals what was meant.

func readBackQuestion() question {
	return question{ID: QReadBack, When: func(s *State) bool { return s.Writing != nil }, Done: func(*State) bool { return false },
		Ask: askReadBack, Take: takeReadBack, Bare: true, Why: "why.read-back", Hint: "hint.read-back"}
}

func askReadBack(t *turn) {
	if t.s.Writing == nil { // read back meanwhile
		t.advance()
		return
	}
	key := "change.read-back"
	if t.s.Writing.Word == "not_sure" {
		key = "change.read-back.unsure"
	}
	if t.s.Writing.Setting == otherName {
		t.ask(QReadBack, t.s.writeAbout(), "recover.read-back.other", t.otherArgs(), "yes", "no")
		return
	}
	t.ask(QReadBack, t.s.writeAbout(), key, t.writeArgs())
}

func takeReadBack(t *turn, in *input) bool {
	if t.otherSetting(in) {
		return true
	}
	if t.readBackOther(in) {
		return true
	}
	m := t.s.Module(t.s.Writing.Module)
	if v, ok := t.typedValue(in.Text, m); ok && t.likely(v) {
		in.Text = ""
		t.readBack(v)
		return true
	}
	w, ask := understand.ToolSays(in.Text)
	if ask == nil {
		switch w.Value.Word {
		case understand.BrokeOff, understand.NoAnswer, understand.Refused:
			t.toolSaid(w.Value.Word, w.Value.Reason)
		default:
			askReadBack(t) // "took" says nothing of what is in it now
		}
		in.Text = ""
		return true
	}
	return false
}

// readBack compares what the module shows with what was meant.
func (t *turn) readBack(v Value) {
	w := *t.s.Writing
	c := &ChangeFact{Number: w.Change, Setting: t.settingOf(&w), Before: w.From, After: w.To, Module: w.Module, Why: "target", Of: w.Of}
	if t.s.Phase == PhaseRecover {
		c.Why = "restore"
	}
	t.readIn(c, &w, v)
}

// retyped takes a read-back typed anew: a slip of the finger is no second write,
// so that it belongs to the change that is there.
func (t *turn) retyped(last ChangeFact, v Value) {
	w := *t.s.Writing
	t.undone(w.Module)
	t.readIn(&last, &w, v)
}

// readIn records a change with what was read back of it.
func (t *turn) readIn(c *ChangeFact, w *WriteFact, v Value) {
	m := t.s.Module(w.Module)
	c.ReadBack, c.Took = v, t.sameValue(m, v, c.After)
	switch {
	case c.Took:
		c.ReadBack = c.After // equal as far as the tool's display goes
		t.record(c)
		t.undone(w.Module)
		t.sayReadBack(w, v)
	case t.sameValue(m, v, c.Before):
		c.ReadBack = c.Before
		t.record(c)
	default:
		t.record(c)
		t.record(&DeviationFact{What: "other_value", Value: v, Module: w.Module})
	}
	t.amendedMeanwhile()
}

// sayReadBack echoes what was read back.
func (t *turn) sayReadBack(w *WriteFact, v Value) {
	value, _ := t.figures(&WriteFact{Module: w.Module, Setting: w.Setting, From: v})
	args := words.Args{"Value": value, "Module": t.moduleWord(w.Module)}
	if w.Setting == otherName {
		args["Value"], args["Module"] = t.writeWord(w), ""
	}
	t.understood("echo.read-back", args)
}

// undone notes that a value written out of turn is no longer there.
func (t *turn) undone(module string) {
	for _, d := range t.s.openDeviations() {
		if d.Module == module && d.What == "other_value" {
			d.Undone = true
			t.record(&d)
		}
	}
}

// openDeviations are those neither undone nor made a change of their own.
func (s *State) openDeviations() (open []DeviationFact) {
	for _, d := range s.Deviations {
		switch {
		case d.Undone || d.Own > 0:
			for i := len(open) - 1; i >= 0; i-- {
				if open[i].What == d.What && open[i].Module == d.Module && open[i].Value == d.Value {
					open = append(open[:i], open[i+1:]...)
					break
				}
			}
		default:
			open = append(open, d)
		}
	}
	return open
}

// adopt makes a value that was written in place of the one meant a change of
// its own: it is then what the drive checks.
func (t *turn) adopt() {
	last := lastChange(t.s)
	if last == nil || !t.s.adoptable(last) {
		askWritten(t)
		return
	}
	g := *t.s.Target(last.Module)
	g.Value, g.Limited = last.ReadBack, ""
	t.record(&g)
	t.record(&ChangeFact{Number: len(t.s.Changes) + 1, Setting: last.Setting, Before: last.Before, After: last.ReadBack,
		ReadBack: last.ReadBack, Took: true, Module: last.Module, Why: "target"})
	t.undone(last.Module)
	t.understood("echo.adopted", words.Args{"Value": figureOf(t.s.Module(last.Module), last.ReadBack)})
}

// settingOf names the one setting that a write changes.
func (t *turn) settingOf(w *WriteFact) string {
	if w.Setting != "" {
		return w.Setting
	}
	if m := t.s.Module(w.Module); m != nil {
		return m.Quantity
	}
	return ""
}

var figurePattern = regexp.MustCompile(`\d[\d,]*(?:\.\d+)?`)

// typedValue reads a value of a module as its tool shows it: the last one of
// the text where there are several.
func (t *turn) typedValue(text string, m *Module) (Value, bool) {
	if m == nil || t.s.Writing != nil && t.s.Writing.Setting == axleSetting {
		all := figurePattern.FindAllString(text, -1)
		if len(all) == 0 {
			return Value{}, false
		}
		v, err := strconv.ParseFloat(strings.ReplaceAll(all[len(all)-1], ",", ""), 64)
		return Number(v), err == nil && v > 0
	}
	ctx := t.context()
	ctx.Labels = nil
	for _, e := range m.List {
		ctx.Labels = append(ctx.Labels, e.Label)
	}
	ms, _ := understand.StoredValues(text, ctx)
	if len(ms) == 0 {
		if all := figurePattern.FindAllString(text, -1); len(all) > 1 {
			ms, _ = understand.StoredValues(all[len(all)-1], ctx)
		}
	}
	if len(ms) == 0 {
		return Value{}, false
	}
	r := ms[len(ms)-1].Value
	if r.Label != "" {
		return Value{Label: r.Label}, true
	}
	if len(m.List) > 0 {
		return Value{}, false
	}
	v := r.Value
	if per, ok := lengthUnits[m.Shown]; ok && r.TypedIn == "" && m.Unit == "mm" {
		v = r.Typed * per
	} else if ref := m.Factory().Num; m.Unit == "mm" && r.TypedIn == "" && v < ref/2 && 10*v > ref/2 && 10*v < 2*ref {
		v *= 10 // a display in cm, spoken of in mm
	}
	return Number(v), v > 0
}

// likely says whether a figure can be the value at all: a module does not hold
// half or double of what it held.
func (t *turn) likely(v Value) bool { return plausible(t.s.Writing, v) }

func plausible(w *WriteFact, v Value) bool {
	if v.Label != "" || w.From.Label != "" {
		return v.Label != ""
	}
	low, high := min(w.From.Num, w.To.Num), max(w.From.Num, w.To.Num)
	if w.Setting == otherName { // a flag may go from 0 to 1, and not every figure is known
		return !w.To.Zero()
	}
	return v.Num > low/2 && v.Num < high*2
}

// sameValue compares two stored values as far as the tool's display goes.
func (t *turn) sameValue(m *Module, a, b Value) bool { return sameStored(m, a, b) }

func sameStored(m *Module, a, b Value) bool {
	if a.Label != "" || b.Label != "" {
		return strings.EqualFold(strings.ReplaceAll(a.Label, " ", ""), strings.ReplaceAll(b.Label, " ", ""))
	}
	tolerance := 1e-6
	if m != nil && lengthUnits[m.Shown] > 0 && m.Unit == "mm" {
		tolerance = lengthUnits[m.Shown] / 20 // half of the last decimal shown
		if m.Shown == "in" {
			tolerance = 0.005*lengthUnits["in"] + 1e-6
		} else if m.Shown == "m" {
			tolerance = 0.5
		}
	}
	return math.Abs(a.Num-b.Num) <= tolerance
}
