package flow

import (
	"math"
	"slices"
	"strings"

	"milepost/calib"
	"milepost/calib/tyre"
	"milepost/calib/unit"
	"milepost/flow/understand"
	"milepost/flow/words"
)

// factoryPhase finds out what the vehicle left the factory with: the placard's
// tyre size and the stored value of each module.
func factoryPhase() phaseOf {
	return phaseOf{Questions: []question{
		{ID: QPlacard, Ask: (*turn).askPlacard, Take: takePlacard, Also: alsoPlacard,
			Why: "why.placard-size", Hint: "hint.size"},
		{ID: QStored, Done: hasStored, Ask: (*turn).askStored, Take: takeStored, Also: alsoStored, Bare: true,
			Why: "why.stored", Hint: "hint.stored"},
		{ID: QQuantity, When: quantityUnknown, Done: func(s *State) bool { return !quantityUnknown(s) },
			Ask: askQuantity, Take: takeQuantity, Why: "why.quantity", Hint: "hint.stored"},
		{ID: QEntry, When: entryDoubted, Done: func(s *State) bool { return !entryDoubted(s) },
			Ask: askEntry, Take: takeEntry, Bare: true, Why: "why.entry", Hint: "hint.entry"},
		{ID: QList, When: func(s *State) bool { return s.Main() != nil && s.Main().Kind == string(calib.SizeList) },
			Done: func(s *State) bool { return len(s.Main().List) > 1 },
			Ask:  func(t *turn) { t.ask(QList, "", "factory.list", nil) }, Take: takeList, Bare: true,
			Why: "why.list", Hint: "hint.list"},
		{ID: QPercent, When: func(s *State) bool { return s.Main() != nil && s.Main().Kind == string(calib.Percent) },
			Done: func(s *State) bool { return s.Main().Direction != "" },
			Ask:  func(t *turn) { t.ask(QPercent, "", "factory.percent", nil, "up", "down", "not_known") }, Take: takePercent,
			Why: "why.percent", Hint: "hint.percent"},
		{ID: QOnly, Ask: askOnly, Take: takeOnly, Why: "why.only-module", Hint: "hint.only"},
		{ID: QModules, When: func(s *State) bool { return s.Value(QOnly) == "several" },
			Ask: func(t *turn) { t.ask(QModules, "", "factory.modules", nil) }, Take: takeModules, Bare: true,
			Why: "why.only-module", Hint: "hint.modules"},
		{ID: QChanged, When: func(s *State) bool { return s.Value(QOnly) == "changed" },
			Ask: askChanged, Take: takeChanged, Bare: true, Why: "why.changed", Hint: "hint.changed"},
		{ID: QSteps, When: func(s *State) bool { return s.Main() != nil && s.Main().Kind != string(calib.SizeList) },
			Done: func(s *State) bool { m := s.Main(); return s.Has(QSteps) || m.Step > 0 || m.Min != nil || m.Max != nil },
			Ask:  askSteps, Take: takeSteps, Also: alsoSteps, Skip: true, Bare: true,
			Why: "why.steps", Hint: "hint.steps"},
	}, Next: func(t *turn) Event { return EvOriginal }}
}

func (t *turn) askPlacard() {
	key := "factory.size"
	if len(t.s.Modules) == 0 && RegisterOf(t.worker()) == Trade {
		key = "factory.size-and-value"
	}
	t.ask(QPlacard, "", key, nil)
}

func takePlacard(t *turn, in *input) bool {
	ms, ask := understand.Sizes(in.Text)
	if len(ms) == 0 {
		if ask == nil {
			return false
		}
		t.askBack(ask)
		return true
	}
	for _, m := range ms {
		if m.Value.Which == "fitted" && len(ms) > 1 {
			continue // left for the fitted size
		}
		t.recordSize("factory", m.Value.Size)
		in.take(m.Start, m.End)
		t.checkEntries()
		return true
	}
	return false
}

// alsoPlacard takes a size only where the words say that it is the placard's,
// or where one of two can be nothing else.
func alsoPlacard(t *turn, in *input) {
	ms, _ := understand.Sizes(in.Text)
	for _, m := range ms {
		if m.Value.Which == "factory" || (len(ms) == 1 && m.Value.Which == "" && t.s.Phase == PhaseFactory) {
			t.recordSize("factory", m.Value.Size)
			in.take(m.Start, m.End)
			t.checkEntries()
			return
		}
	}
}

// recordSize records a size with each part its marking gives.
func (t *turn) recordSize(which string, z tyre.Size) {
	f := &SizeFact{Which: which, Text: z.Text, DiameterMM: round(z.DiameterMM(), 1),
		SectionMM: z.SectionMM, OverallIn: z.OverallIn, SectionIn: z.SectionIn, Aspect: z.Aspect,
		RimIn: z.RimIn, Construction: z.Construction, LoadIndex: z.LoadIndex, LoadRange: z.LoadRange,
		SpeedSymbol: z.SpeedSymbol}
	t.record(f)
}

// size gives a recorded size in calib's form.
func (s *State) size(which string) (tyre.Size, bool) {
	f, ok := s.Sizes[which]
	if !ok {
		return tyre.Size{}, false
	}
	z, err := tyre.Parse(f.Text)
	if err != nil {
		return tyre.Size{}, false
	}
	if z.LoadIndex == "" {
		z.LoadIndex = f.LoadIndex
	}
	if z.SpeedSymbol == "" {
		z.SpeedSymbol = f.SpeedSymbol
	}
	return z, true
}

func hasStored(s *State) bool { return len(s.Modules) > 0 }

func (t *turn) askStored() { t.ask(QStored, "", "factory.stored", nil) }

func (t *turn) context() understand.Context {
	c := understand.Context{SpeedUnit: t.speedUnit(), DistanceUnit: t.distanceUnit()}
	if m := t.s.Main(); m != nil {
		for _, e := range m.List {
			c.Labels = append(c.Labels, e.Label)
		}
	}
	return c
}

func takeStored(t *turn, in *input) bool {
	ms, ask := understand.StoredValues(in.Text, t.context())
	if len(ms) == 0 {
		if ask == nil {
			return false
		}
		t.askBack(ask)
		return true
	}
	for _, m := range ms {
		t.recordStored(m.Value, "factory", false)
		in.take(m.Start, m.End)
	}
	alsoSteps(t, in)
	t.checkEntries()
	return true
}

// alsoStored takes a value beside another answer only where its unit or
// quantity is named, so that no tread or pressure is taken for it; in this
// phase a bare figure will do.
func alsoStored(t *turn, in *input) {
	ms, _ := understand.StoredValues(in.Text, t.context())
	for _, m := range ms {
		if !m.Value.Known() && t.s.Phase != PhaseFactory {
			continue
		}
		t.recordStored(m.Value, "factory", false)
		in.take(m.Start, m.End)
	}
	t.checkEntries()
}

// recordStored records a value as read. Which is factory or as_found.
func (t *turn) recordStored(v understand.Stored, which string, estimated bool) {
	f := &StoredFact{Value: Value{Num: v.Value, Label: v.Label}, Unit: v.Unit, Quantity: v.Quantity,
		KindName: kindNamed(v.Quantity, v.Unit), Which: which, Estimated: estimated, Module: v.Module, Shown: shownIn(v.TypedIn)}
	if v.Label != "" {
		f.Value.Num = 0
	}
	if v.Limits.Step != nil {
		f.Step = *v.Limits.Step
	}
	f.Min, f.Max = v.Limits.Min, v.Limits.Max
	if old := t.s.Module(v.Module); old != nil {
		f.keep(old)
	}
	t.record(f)
}

// keep takes over what was known of a module and is not said anew.
func (f *StoredFact) keep(m *Module) {
	if f.Step == 0 {
		f.Step = m.Step
	}
	if f.Min == nil {
		f.Min = m.Min
	}
	if f.Max == nil {
		f.Max = m.Max
	}
	if f.List == nil {
		f.List = m.List
	}
	if f.Direction == "" {
		f.Direction = m.Direction
	}
	if f.KindName == "" {
		f.KindName, f.Quantity, f.Unit = m.Kind, m.Quantity, m.Unit
	}
	if f.Shown == "" {
		f.Shown = m.Shown
	}
}

// restate gives a module's present facts as an entry, to be changed and
// recorded anew.
func restate(m *Module) *StoredFact {
	f := &StoredFact{Value: m.Original, Which: "factory", Estimated: m.Estimated, Module: m.Name}
	if m.Original.Zero() {
		f.Value, f.Which = m.AsFound, "as_found"
	}
	f.keep(m)
	return f
}

// kindNamed gives the contract's value_kind of a quantity, "" if not known.
func kindNamed(quantity, _ string) string {
	q, ok := calib.QuantityNamed(quantity)
	if !ok {
		return ""
	}
	return string(q.Kind)
}

// shownIn is the unit in which the tool shows a length, where it is not mm.
func shownIn(unit string) string {
	if unit == "in" || unit == "cm" || unit == "m" {
		return unit
	}
	return ""
}

func quantityUnknown(s *State) bool {
	m := s.Main()
	return m != nil && m.Kind == "" && m.Question == ""
}

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
		if m.WrittenSeq > 0 || m.Original.Zero() || m.Original.Label != "" || t.s.HasFor(QEntry, m.Name) {
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

// setKind makes a fact's value one of a kind, in its usual unit.
func (f *StoredFact) setKind(k calib.Kind) {
	q, _ := calib.QuantityOf(k)
	f.KindName, f.Quantity, f.Unit = string(k), q.Name, q.Unit
}

// bareKinds are offered where a bare figure could be several things, most
// likely first.
var bareKinds = []calib.Kind{calib.CircumferenceMM, calib.RevMile, calib.RevKM, calib.DiameterMM, calib.RadiusMM,
	calib.PulseKM, calib.PulseMile, calib.AxleRatio, calib.Percent}

func askQuantity(t *turn) {
	m := t.s.Main()
	var ids []string
	for _, k := range bareKinds {
		q, _ := calib.QuantityOf(k)
		if m.Original.Num >= q.Low && m.Original.Num <= q.High && len(ids) < 4 {
			ids = append(ids, string(k))
		}
	}
	t.ask(QQuantity, m.Name, "factory.quantity", words.Args{"Value": plainNumber(m.Original.Num)}, ids...)
}

func takeQuantity(t *turn, in *input) bool {
	m := t.s.Main()
	kind := calib.Kind(in.Choice)
	if kind == "" {
		ms, _ := understand.StoredValues(plainNumber(m.Original.Num)+" "+in.Text, t.context())
		if len(ms) == 0 || !ms[0].Value.Known() {
			return false
		}
		f := restate(m)
		v := ms[0].Value
		f.Value, f.KindName, f.Quantity, f.Unit = Number(v.Value), kindNamed(v.Quantity, v.Unit), v.Quantity, v.Unit
		f.Shown = shownIn(v.TypedIn)
		t.record(f)
		t.checkEntries()
		in.Text = ""
		return true
	}
	f := restate(m)
	f.setKind(kind)
	t.record(f)
	t.checkEntries()
	return true
}

func entryDoubted(s *State) bool {
	m := s.Main()
	return m != nil && m.Question != "" && !s.Has(QEntry)
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
	args := words.Args{"Value": plainNumber(m.Original.Num), "Unit": m.Unit, "Size": t.s.Sizes["factory"].Text,
		"Factor": unit.Figure(e.Factor, 3)}
	if other {
		q, _ := calib.QuantityOf(fit.Kind)
		args["Quantity"], args["As"] = t.text(t.worker(), "quantity."+q.Name, nil), fit.Unit
		args["MM"] = unit.Figure(fit.CircumferenceMM, 0)
		t.ask(QEntry, m.Name, "factory.entry.unit", args, "yes", "no")
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
			t.sayFits()
			return true
		}
		if in.Choice == "no" && in.rest() == "" {
			t.ask(QStored, m.Name, "factory.stored.again", nil)
			return true
		}
	}
	switch {
	case in.Choice == "changed":
		t.record(&AnswerFact{Question: QEntry, Value: "changed"})
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
	// A new figure, or the same with its unit, is as good as an answer.
	ms, _ := understand.StoredValues(in.Text, t.context())
	if len(ms) == 0 {
		return false
	}
	v := ms[0].Value
	if same := math.Abs(v.Typed-m.Original.Num) < 1e-9 && v.Known() && kindNamed(v.Quantity, v.Unit) == m.Kind; same {
		t.record(&AnswerFact{Question: QEntry, About: m.Name, Value: "kept"}) // insisted on
		in.Text = ""
		return true
	}
	v.Module = m.Name
	t.recordStored(v, "factory", false)
	in.take(ms[0].Start, ms[0].End)
	t.checkEntries()
	return true
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
	t.understood("echo.fits", words.Args{"Value": t.shownValue(m, m.Original), "Size": t.s.Sizes["factory"].Text,
		"Factor": unit.Figure(e.Factor, 3), "Quantity": t.text(t.worker(), "quantity."+m.Quantity, nil)})
	if t.s.Home() {
		t.tell(Helper, Notice, "factory.helper", words.Args{"Value": t.shownValue(m, m.Original),
			"MM": unit.Figure(mm, 0), "Factor": unit.Figure(e.Factor, 3), "Size": t.s.Sizes["factory"].Text})
	}
}

func askOnly(t *turn) {
	t.sayFits()
	if m := t.s.Main(); t.s.Has(QEntry) && m != nil && m.Question == "entry_mismatch" {
		t.understood("echo.kept-entry", nil)
	}
	t.ask(QOnly, "", "factory.only", nil, "yes_both", "several", "changed")
}

func takeOnly(t *turn, in *input) bool {
	if in.Choice == "" {
		text := strings.ToLower(in.Text)
		a, ok := understand.YesNo(in.Text)
		switch {
		case ok && a.Value == understand.Yes && len(understand.Modules(in.Text)) == 0:
			in.Choice = "yes_both"
			in.take(a.Start, a.End)
		case strings.Contains(text, "several") || strings.Contains(text, "more than one") || len(understand.Modules(in.Text)) > 0:
			in.Choice = "several"
		case strings.Contains(text, "changed") || strings.Contains(text, "someone"):
			in.Choice = "changed"
		case ok && a.Value == understand.NotSure:
			in.Choice = "yes_both" // as far as anyone can see
			in.take(a.Start, a.End)
		default:
			return false
		}
	}
	t.record(&AnswerFact{Question: QOnly, Value: in.Choice})
	if in.Choice == "changed" {
		t.foundNotFactory()
	}
	if in.Choice == "several" && len(understand.Modules(in.Text)) > 0 {
		takeModules(t, in)
	}
	return true
}

// takeModules takes each module with its value; the first named is the one the
// dash follows, and takes the place of the one that had no name yet.
func takeModules(t *turn, in *input) bool {
	ms, ask := understand.StoredValues(in.Text, t.context())
	named := 0
	for _, m := range ms {
		if m.Value.Module != "" {
			named++
		}
	}
	if named == 0 {
		if ask != nil && len(ms) == 0 {
			t.askBack(ask)
			return true
		}
		return false
	}
	main := t.s.Main()
	for _, m := range ms {
		v := m.Value
		if v.Module == "" {
			continue
		}
		if v.Quantity == "" && main != nil {
			v.Quantity, v.Unit = main.Quantity, main.Unit
		}
		f := &StoredFact{Value: Value{Num: v.Value, Label: v.Label}, Unit: v.Unit, Quantity: v.Quantity,
			KindName: kindNamed(v.Quantity, v.Unit), Which: "factory", Module: v.Module, Shown: shownIn(v.TypedIn)}
		if v.Limits.Step != nil {
			f.Step = *v.Limits.Step
		}
		f.Min, f.Max = v.Limits.Min, v.Limits.Max
		if first := t.s.Main(); first != nil && first.Name == "" && f.KindName == first.Kind {
			f.Renames = true
			f.keep(first)
		}
		t.record(f)
		in.take(m.Start, m.End)
	}
	t.record(&AnswerFact{Question: QModules, Number: float64(len(t.s.Modules))})
	t.checkEntries()
	if t.s.disagree() {
		t.understood("factory.disagree", nil)
	}
	return true
}

// disagree says whether modules of the same kind hold different values.
func (s *State) disagree() bool {
	for i := range s.Modules {
		for j := range i {
			a, b := s.Modules[i], s.Modules[j]
			if a.Kind == b.Kind && a.Original != b.Original {
				return true
			}
		}
	}
	return false
}

func askChanged(t *turn) {
	t.ask(QChanged, "", "factory.changed", nil, "estimate")
}

// takeChanged takes the factory value from the maker's record, or works it out
// from the placard size, marked as estimated.
func takeChanged(t *turn, in *input) bool {
	m := t.s.Main()
	a, ok := understand.YesNo(in.Text)
	if in.Choice == "estimate" || (ok && (a.Value == understand.NotSure || a.Value == understand.No)) ||
		strings.Contains(strings.ToLower(in.Text), "estimate") {
		return t.estimateOriginal()
	}
	ms, ask := understand.StoredValues(in.Text, t.context())
	if len(ms) == 0 {
		if ask == nil {
			return false
		}
		t.askBack(ask)
		return true
	}
	v := ms[0].Value
	if !v.Known() {
		v.Quantity, v.Unit = m.Quantity, m.Unit
	}
	f := &StoredFact{Value: Number(v.Value), Unit: v.Unit, Quantity: v.Quantity, KindName: kindNamed(v.Quantity, v.Unit),
		Which: "factory", Module: m.Name}
	f.keep(m)
	t.record(f)
	t.record(&AnswerFact{Question: QChanged, Value: "record"})
	in.take(ms[0].Start, ms[0].End)
	t.checkEntries()
	return true
}

func (t *turn) estimateOriginal() bool {
	z, ok := t.s.size("factory")
	if !ok {
		return false
	}
	mm, err := calib.StoredFromSize(calib.SizeText(z.Text))
	if err != nil {
		return false
	}
	for i := range t.s.Modules {
		m := t.s.Modules[i]
		f := &StoredFact{Value: m.AsFound, Which: "factory", Estimated: true, Module: m.Name}
		f.keep(&m)
		if q, ok := calib.QuantityOf(calib.Kind(m.Kind)); ok && q.Absolute && m.AsFound.Label == "" {
			if v, ok := q.Value(mm); ok {
				step := m.Step
				if step == 0 {
					step = q.Step
				}
				f.Value = Number(round(math.Round(v/step)*step, 6))
			}
		}
		t.record(f)
		t.understood("echo.estimated", words.Args{"Value": t.shownValue(&m, f.Value)})
	}
	t.record(&AnswerFact{Question: QChanged, Value: "estimated"})
	return true
}

func askSteps(t *turn) { t.ask(QSteps, "", "factory.steps", nil, "not_known") }

func takeSteps(t *turn, in *input) bool {
	a, ok := understand.YesNo(in.Text)
	if in.Choice == "not_known" || (ok && a.Value != understand.Yes) {
		t.record(&AnswerFact{Question: QSteps, Value: "not_known"})
		return true
	}
	n := len(t.entries)
	alsoSteps(t, in)
	return len(t.entries) > n
}

// alsoSteps takes step and limits where a message names them.
func alsoSteps(t *turn, in *input) {
	if len(t.s.Modules) == 0 {
		return
	}
	l, ok, _ := understand.FindLimits(in.Text)
	if !ok || !l.Value.Any() {
		return
	}
	in.take(l.Start, l.End)
	for i := range t.s.Modules {
		m := t.s.Modules[i]
		if m.Kind == string(calib.SizeList) {
			continue
		}
		f := restate(&m)
		f.Questioned = m.Question
		if l.Value.Step != nil {
			f.Step = *l.Value.Step
		}
		if l.Value.Min != nil {
			f.Min = l.Value.Min
		}
		if l.Value.Max != nil {
			f.Max = l.Value.Max
		}
		t.record(f)
	}
	if l.Value.StepUnknown || l.Value.LimitsUnknown {
		t.record(&AnswerFact{Question: QSteps, Value: "not_known"})
	}
}

func takePercent(t *turn, in *input) bool {
	dir := in.Choice
	if dir == "" {
		text := strings.ToLower(in.Text)
		switch {
		case strings.Contains(text, "up") || strings.Contains(text, "larger") || strings.Contains(text, "higher"):
			dir = "up"
		case strings.Contains(text, "down") || strings.Contains(text, "smaller") || strings.Contains(text, "lower"):
			dir = "down"
		default:
			a, ok := understand.YesNo(in.Text)
			if !ok || a.Value != understand.NotSure {
				return false
			}
			dir = "not_known"
		}
	}
	f := restate(t.s.Main())
	f.Direction = dir
	if dir == "not_known" {
		f.Direction = "up" // the usual way; the first drive tells
		t.understood("factory.percent.usual", nil)
	}
	t.record(f)
	return true
}

// takeList takes the sizes a tool offers, with the circumference where it is
// read off beside them.
func takeList(t *turn, in *input) bool {
	ms, ask := understand.Sizes(in.Text)
	if len(ms) < 2 {
		if ask != nil && len(ms) == 0 {
			t.askBack(ask)
			return true
		}
		return false
	}
	f := restate(t.s.Main())
	for i, m := range ms {
		end := len(in.Text)
		if i+1 < len(ms) {
			end = ms[i+1].Start
		}
		e := ListEntry{Label: m.Value.Text}
		if vs, _ := understand.StoredValues(in.Text[m.End:end], understand.Context{}); len(vs) == 1 && vs[0].Value.Value > 1000 {
			e.CircumferenceMM = vs[0].Value.Value
		}
		f.List = append(f.List, e)
	}
	if !slices.ContainsFunc(f.List, func(e ListEntry) bool { return same(e.Label, f.Value.Label) }) {
		f.List = append([]ListEntry{{Label: f.Value.Label}}, f.List...)
	}
	t.record(f)
	in.Text = ""
	return true
}
