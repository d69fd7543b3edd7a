package flow

import (
	"math"
	"regexp"
	"strings"

	"milepost/calib"
	"milepost/calib/unit"
	"milepost/flow/understand"
	"milepost/flow/words"
)

// The check of a stored value against the placard size, before anything hangs
// on it.

// checkEntries compares each module's value with the placard size: another
// unit, a slip, or a vehicle that was changed before is asked about before
// anything hangs on it. A bare figure that fits the size as it stands is taken
// as that.
func (t *turn) checkEntries() {
	z, ok := t.s.size("factory")
	if !ok {
		return
	}
	for i := range t.s.Modules {
		m := t.s.Modules[i]
		if m.Original.Zero() || m.Original.Label != "" || t.s.entrySettled(&m) {
			continue
		}
		kind := calib.Kind(m.Kind)
		if kind == "" {
			kind = calib.CircumferenceMM
		}
		e, err := calib.EntryCheck(kind, m.Original.Num, calib.SizeText(z.Text))
		if err != nil {
			continue
		}
		f := restate(&m)
		switch {
		case e.Fits && m.Kind == "":
			f.setKind(kind)
			f.Questioned = ""
		case e.Fits:
			f.Questioned = ""
		case len(e.Others) > 0:
			f.Questioned = "entry_unit"
		case m.Kind == "":
			f.Questioned = ""
		default:
			f.Questioned = "entry_mismatch"
		}
		if f.KindName != m.Kind || f.Questioned != m.Question {
			t.record(f)
		}
	}
}

func entryDoubted(s *State) bool {
	m := s.Main()
	return m != nil && m.Question != "" && !s.entrySettled(m)
}

// entrySettled says whether somebody has answered for a module's value as it
// is now: the answer for another figure does not count.
func (s *State) entrySettled(m *Module) bool {
	for _, about := range []string{m.Name, ""} {
		if a, ok := s.Answers[Key{QEntry, about}]; ok && (a.Number == 0 || a.Number == m.Original.Num) {
			return true
		}
	}
	return false
}

// doubtLate asks about a value that came into doubt once the target was worked
// out from another. It says whether there is one.
func (t *turn) doubtLate() bool {
	if t.s.Target(t.s.mainName()) == nil || !entryDoubted(t.s) {
		return false
	}
	askEntry(t)
	return true
}

// otherFit is the most typical other reading of the main module's figure.
func (t *turn) otherFit() (calib.EntryFit, calib.Entry, bool) {
	m := t.s.Main()
	z, ok := t.s.size("factory")
	if !ok {
		return calib.EntryFit{}, calib.Entry{}, false
	}
	kind := calib.Kind(m.Kind)
	if kind == "" {
		kind = calib.CircumferenceMM
	}
	e, err := calib.EntryCheck(kind, m.Original.Num, calib.SizeText(z.Text))
	if err != nil || len(e.Others) == 0 {
		return calib.EntryFit{}, e, false
	}
	return e.Others[0], e, true
}

func askEntry(t *turn) {
	m := t.s.Main()
	fit, e, other := t.otherFit()
	args := words.Args{"Value": plainFigure(m.Original.Num), "Unit": m.Unit, "Size": t.s.Sizes["factory"].Text,
		"Factor": unit.Figure(e.Factor, 3)}
	if other {
		q, _ := calib.QuantityOf(fit.Kind)
		args["Quantity"], args["As"] = t.text(t.worker(), "quantity."+q.Name, nil), fit.Unit
		args["MM"] = unit.Figure(fit.CircumferenceMM, 0)
		t.ask(QEntry, m.Name, "factory.entry.unit", args, "yes", "no")
		return
	}
	if t.s.Value(QOnly) == "changed" { // it is to be the factory's, said as such
		t.ask(QEntry, m.Name, "factory.entry.record", args, "mistyped", "estimate", "other_size")
		return
	}
	t.ask(QEntry, m.Name, "factory.entry.mismatch", args, "mistyped", "changed", "other_size")
}

func takeEntry(t *turn, in *input) bool {
	m := t.s.Main()
	fit, _, other := t.otherFit()
	if other {
		if in.Choice == "" {
			if a, ok := understand.YesNo(in.Text); ok {
				in.Choice = string(a.Value)
				in.take(a.Start, a.End)
			}
		}
		if in.Choice == "yes" {
			f := restate(m)
			f.setKind(fit.Kind)
			f.Value, f.Questioned, f.Shown = Number(fit.Value), "", shownIn(fit.Unit)
			t.record(f)
			t.record(&AnswerFact{Question: QEntry, About: m.Name, Value: "yes"})
			return true
		}
		if in.Choice == "no" && in.rest() == "" {
			t.ask(QStored, m.Name, "factory.stored.again", nil)
			return true
		}
	}
	if in.Choice == "" && !other {
		in.Choice = entryChoice(t, in.Text)
	}
	switch {
	case in.Choice == "estimate":
		t.record(&AnswerFact{Question: QEntry, About: m.Name, Number: m.Original.Num, Value: "estimate"})
		return t.estimateOriginal()
	case in.Choice == "mistyped" && t.s.Value(QOnly) == "changed":
		askChanged(t)
		return true
	case in.Choice == "changed":
		t.record(&AnswerFact{Question: QEntry, Number: m.Original.Num, Value: "changed"})
		t.record(&AnswerFact{Question: QOnly, Value: "changed"})
		t.foundNotFactory()
		return true
	case in.Choice == "mistyped":
		t.ask(QStored, m.Name, "factory.stored.again", nil)
		return true
	case in.Choice == "other_size":
		t.ask(QPlacard, "", "factory.size", nil)
		return true
	}
	// A new figure, or the same with its unit, is as good as an answer; so is
	// the size that stands on the placard.
	ms, _ := understand.StoredValues(in.Text, t.context())
	if zs, _ := understand.Sizes(in.Text); len(ms) == 0 && len(zs) > 0 {
		return takePlacard(t, in)
	}
	if len(ms) == 0 && !other {
		t.hint("hint.entry.mismatch", words.Args{"Said": t.inOwnWords(short(in.Text)), "Record": t.s.Value(QOnly) == "changed"})
		return true
	}
	if len(ms) == 0 {
		return false
	}
	v := ms[0].Value
	if same := math.Abs(v.Typed-m.Original.Num) < 1e-9 && v.Known() && kindNamed(v.Quantity, v.Unit) == m.Kind; same {
		t.record(&AnswerFact{Question: QEntry, About: m.Name, Number: m.Original.Num, Value: "kept"}) // insisted on
		in.Text = ""
		return true
	}
	v.Module = m.Name
	t.recordStored(v, "factory", false)
	in.take(ms[0].Start, ms[0].End)
	t.checkEntries()
	t.doubtLate()
	return true
}

var (
	mistypedWords = regexp.MustCompile(`(?i)\b(mis-?typed|mistake|typo|slip|wrong)\b`)
	changedWords  = regexp.MustCompile(`(?i)\b(changed|someone|somebody|before)\b`)
	otherWords    = regexp.MustCompile(`(?i)\b(size|placard|sticker)\b`)
	estimateWords = regexp.MustCompile(`(?i)\bestimate\b`)
)

// entryChoice reads the choices about a value in doubt from free words.
func entryChoice(t *turn, text string) string {
	switch record := t.s.Value(QOnly) == "changed"; {
	case strings.ContainsAny(text, "0123456789"):
		return "" // a value or a size
	case mistypedWords.MatchString(text):
		return "mistyped"
	case record && estimateWords.MatchString(text):
		return "estimate"
	case !record && changedWords.MatchString(text):
		return "changed"
	case otherWords.MatchString(text):
		return "other_size"
	}
	return ""
}

// foundNotFactory turns the value recorded as the factory's into one found.
func (t *turn) foundNotFactory() {
	for i := range t.s.Modules {
		f := restate(&t.s.Modules[i])
		f.Which = "as_found"
		t.record(f)
	}
}

// sayFits tells that the value belongs to the placard size.
func (t *turn) sayFits() {
	m := t.s.Main()
	z, ok := t.s.size("factory")
	if !ok || m == nil || m.Original.Zero() || m.Original.Label != "" {
		return
	}
	e, err := calib.EntryCheck(calib.Kind(m.Kind), m.Original.Num, calib.SizeText(z.Text))
	if err != nil || !e.Checked || !e.Fits {
		return
	}
	q, _ := calib.QuantityOf(calib.Kind(m.Kind))
	mm, _ := q.Circumference(m.Original.Num)
	t.understood("echo.fits", words.Args{"Value": withUnit(m, m.Original), "Size": t.s.Sizes["factory"].Text,
		"Factor": unit.Figure(e.Factor, 3), "Quantity": t.text(t.worker(), "quantity."+m.Quantity, nil)})
	if t.s.Home() {
		t.tell(Helper, Notice, "factory.helper", words.Args{"Value": withUnit(m, m.Original),
			"MM": unit.Figure(mm, 0), "Factor": unit.Figure(e.Factor, 3), "Size": t.s.Sizes["factory"].Text})
	}
}
