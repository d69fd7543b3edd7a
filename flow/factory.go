package flow

import (
	"math"
	"strings"

	"milepost/calib"
	"milepost/calib/tyre"
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
		in.ask = ask
		return false
	}
	for _, m := range ms {
		if m.Value.Which == "fitted" && len(ms) > 1 {
			continue // left for the fitted size
		}
		t.recordSize("factory", m.Value.Size)
		in.take(m.Start, m.End)
		t.newSizeToo(ms, in)
		t.checkEntries()
		t.doubtLate()
		return true
	}
	return false
}

// newSizeToo takes the new size beside the placard's: "265/70R17 to 285/70R17",
// but no size that is the stored value of a list.
func (t *turn) newSizeToo(ms []understand.Match[understand.Size], in *input) {
	if hasWord(strings.ToLower(in.Text), "list") {
		return
	}
	for _, m := range ms {
		if m.Value.Which == "fitted" && !t.s.Has(QFitted) && !same(m.Value.Size.Text, t.s.Sizes["factory"].Text) {
			t.recordSize("fitted", m.Value.Size)
			in.take(m.Start, m.End)
			t.sayFitted()
		}
	}
}

// alsoPlacard takes a size only where the words say that it is the placard's,
// or where one of two can be nothing else.
func alsoPlacard(t *turn, in *input) {
	ms, _ := understand.Sizes(in.Text)
	for _, m := range ms {
		if m.Value.Which == "factory" || (len(ms) == 1 && m.Value.Which == "" && t.s.Phase == PhaseFactory) {
			t.recordSize("factory", m.Value.Size)
			in.take(m.Start, m.End)
			t.newSizeToo(ms, in)
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
	t.sayOdd()
	return true
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
		in.ask = ask
		return false
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
	t.doubtLate()
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
		t.understood("echo.estimated", words.Args{"Value": withUnit(&m, f.Value)})
	}
	t.record(&AnswerFact{Question: QChanged, Value: "estimated"})
	return true
}
