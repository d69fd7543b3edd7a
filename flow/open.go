package flow

import (
	"regexp"

	"milepost/calib/unit"
	"milepost/calib/vin"
	"milepost/flow/understand"
	"milepost/flow/words"
)

// openPhase finds out which vehicle, where and under what rules, and whether
// its use is regulated.
func openPhase() phaseOf {
	return phaseOf{Questions: []question{
		{ID: QVehicle, Ask: func(t *turn) { t.ask(QVehicle, "", "open.vehicle", nil) }, Take: takeVehicle,
			Why: "why.vehicle", Hint: "hint.vehicle"},
		{ID: QKnown, When: func(s *State) bool { return s.KnownSet != "" }, Ask: askKnown, Take: takeKnown,
			Why: "why.known", Hint: "hint.yes-no"},
		{ID: QPlace, Ask: func(t *turn) { t.ask(QPlace, "", "open.place", nil, "bay", "home") }, Take: takePlace, Also: alsoPlace,
			Why: "why.place", Hint: "hint.place"},
		{ID: QOdometer, Ask: func(t *turn) {
			t.ask(QOdometer, "", "open.odometer", words.Args{"Unit": t.distanceUnit()}, "not_known")
		}, Take: takeOdometer, Also: alsoOdometer, Skip: true, Bare: true, Why: "why.odometer", Hint: "hint.odometer"},
		{ID: QOdoLow, When: (*State).odometerBelow, Done: func(s *State) bool { n, _ := s.Num(QOdoLow); return n == s.Answers[Key{QOdometer, ""}].Number },
			Ask: askOdoLow, Take: takeOdoLow, Bare: true, Why: "why.odometer", Hint: "hint.odometer"},
		{ID: QVIN, When: vinDoubted, Done: func(s *State) bool { return !vinDoubted(s) }, Ask: askVIN, Take: takeVIN, Also: alsoVIN,
			Skip: true, Why: "why.vehicle", Hint: "hint.vin"},
		{ID: QUnits, When: never, Ask: func(t *turn) { t.ask(QUnits, "", "open.units", nil, "mph", "kmh") }, Take: takeUnits,
			Also: alsoUnits, Skip: true, Why: "why.units", Hint: "hint.units"},
		{ID: QRule, When: never, Ask: func(t *turn) { t.ask(QRule, "", "open.rule", nil, "never_under", "no_rule") }, Take: takeRule,
			Skip: true, Why: "why.rule", Hint: "hint.rule"},
		{ID: QRegulated, Ask: func(t *turn) { t.ask(QRegulated, "", "open.regulated", nil, "no", "yes") }, Take: takeRegulated,
			Why: "why.regulated", Hint: "hint.yes-no"},
		{ID: QAmend, When: never, Ask: askAmend, Take: takeAmend, Why: "why.general", Hint: "hint.yes-no"},
	}, Next: nextOpen}
}

// nextOpen ends the job at an approved workshop where the use is regulated and
// no supervisor has stated that this is one.
func nextOpen(t *turn) Event {
	if open, _ := gateOpen(t.s, GateRegulated); !open && t.s.Value(QRegulated) == "yes" {
		t.record(&GateFact{Name: GateRegulated, Open: false, Needs: "approved workshop"})
		t.record(&StoppedFact{How: "approved_workshop"})
		t.say(Refusal, "open.approved", nil)
		return EvRegulated
	}
	return EvOpened
}

// rulePattern is the accuracy rule where it is named beside a vehicle.
var rulePattern = regexp.MustCompile(`(?i)\bnever[- ]under\b|\bUN ?R ?39\b`)

// freePattern says beside a vehicle that its use is not regulated.
var freePattern = regexp.MustCompile(`(?i)[,;]?\s*\b(not regulated|unregulated|no tacho(graph)?( or (limiter|taximeter))?|not a taxi)\b`)

func takeVehicle(t *turn, in *input) bool {
	if r := rulePattern.FindStringIndex(in.Text); r != nil {
		t.record(&AnswerFact{Question: QRule, Value: "never-under"})
		in.take(r[0], r[1])
	}
	if v, ok, ask := understand.VIN(in.Text); ok && ask != nil {
		// The rest of the message is not lost for it: the number is asked for again.
		t.recordVIN(v, ask, in)
	}
	if r := freePattern.FindStringIndex(in.Text); r != nil {
		t.record(&AnswerFact{Question: QRegulated, Value: "no"})
		in.take(r[0], r[1])
	}
	m, ask := understand.Open(in.Text, t.context())
	if ask != nil {
		t.askBack(ask)
		return true
	}
	o := m.Value
	if o.Units != "" && o.Units != t.env.Policy.Speed {
		t.record(&AnswerFact{Question: QUnits, Value: o.Units})
	}
	if o.Place != "" {
		t.record(&AnswerFact{Question: QPlace, Value: o.Place})
	}
	if o.Odometer != nil {
		t.record(&OdometerFact{Value: o.Odometer.Value, Unit: o.Odometer.Unit})
		t.unitsByOdometer(*o.Odometer)
	}
	if o.VIN != "" {
		if v, ok, _ := understand.VIN(o.VIN); ok {
			t.record(&VINFact{Check: string(v.Value.Check)}, Item{ItemVIN, v.Value.Text})
		}
	}
	if o.Vehicle == "" && o.VIN != "" {
		o.Vehicle = "VIN …" + o.VIN[len(o.VIN)-6:]
	}
	in.Text = ""
	if o.Vehicle == "" {
		return o.New || o.Place != "" || o.Odometer != nil // the vehicle is asked for again
	}
	t.record(&VehicleFact{}, Item{ItemVehicle, o.Vehicle})
	t.understood("echo.opened", words.Args{"Vehicle": o.Vehicle, "Place": o.Place, "Odometer": t.odometerText(), "Unit": t.speedUnit()})
	t.offerKnown()
	return true
}

// odometerText is the odometer reading as it is said, "" if not known.
func (t *turn) odometerText() string {
	a, ok := t.s.Answers[Key{QOdometer, ""}]
	if !ok || a.Skipped || a.Unit == "" {
		return ""
	}
	return unit.Count(int64(a.Number)) + " " + a.Unit
}

// offerKnown notes that the vehicle is known from an earlier job, so that its
// figures can be offered for one yes.
func (t *turn) offerKnown() {
	k := t.env.Known
	if k == nil || t.s.KnownSet != "" || k.Job == t.s.Job || k.Module.Now.Zero() {
		return
	}
	t.record(&KnownFact{Job: k.Job, Factory: k.Factory, Fitted: k.Size, ValueKind: k.Module.Kind, Quantity: k.Module.Quantity,
		Unit: k.Module.Unit, Original: k.Module.Original, Estimated: k.Module.Estimated, Left: k.Module.Now,
		Step: k.Module.Step, Min: k.Module.Min, Max: k.Module.Max})
	if k.Odometer > 0 {
		t.record(&AnswerFact{Question: QOdometer, About: aboutKnown, Number: k.Odometer, Unit: k.OdometerUnit})
	}
}

// aboutKnown marks the odometer as an earlier job read it.
const aboutKnown = "known"

// odometerBelow says whether the odometer stands below what an earlier job of
// this vehicle read: a slip, or another instrument.
func (s *State) odometerBelow() bool {
	now, old := s.Answers[Key{QOdometer, ""}], s.Answers[Key{QOdometer, aboutKnown}]
	from, to := unit.Distance(now.Unit), unit.Distance(old.Unit)
	if now.Skipped || old.Number <= 0 || !from.Valid() || !to.Valid() {
		return false
	}
	return to.FromMetres(from.Metres(now.Number)) < old.Number-1 // a figure is cut to the unit
}

func askOdoLow(t *turn) {
	old := t.s.Answers[Key{QOdometer, aboutKnown}]
	t.ask(QOdoLow, t.odometerText(), "open.odometer.below", words.Args{"Now": t.odometerText(), "Job": t.s.KnownSet,
		"Then": unit.Count(int64(old.Number)) + " " + old.Unit}, "yes", "no")
}

func takeOdoLow(t *turn, in *input) bool {
	if m, ok, _ := understand.Odometer(in.Text, t.context()); in.Choice == "" && ok {
		t.recordOdometer(m, in)
		return true
	}
	switch yesNo(in) {
	case "yes":
		a := t.s.Answers[Key{QOdometer, ""}]
		t.record(&AnswerFact{Question: QOdoLow, Number: a.Number, Unit: a.Unit, Value: "yes"})
		return true
	case "no":
		find(QOdometer).Ask(t)
		return true
	}
	return false
}

func askKnown(t *turn) {
	k := t.s.Known
	m := &Module{Unit: k.Unit, Kind: k.ValueKind, Step: k.Step}
	t.ask(QKnown, "", "open.known", words.Args{"Job": k.Job, "Value": withUnit(m, k.Left), "Size": k.Fitted.Text,
		"Original": withUnit(m, k.Original)}, "yes", "no")
}

// takeKnown starts from what the earlier job left: placard size, factory value
// and limits are not asked again.
func takeKnown(t *turn, in *input) bool {
	a := yesNo(in)
	if a != "yes" && a != "no" {
		return false
	}
	t.record(&AnswerFact{Question: QKnown, Value: a})
	if a == "no" {
		return true
	}
	k := t.s.Known
	f := k.Factory
	f.Which = "factory"
	t.record(&f)
	s := &StoredFact{Value: k.Original, Unit: k.Unit, Quantity: k.Quantity, KindName: k.ValueKind, Which: "factory",
		Estimated: k.Estimated, Step: k.Step, Min: k.Min, Max: k.Max}
	t.record(s)
	if k.Left != k.Original {
		l := *s
		l.Which, l.Value, l.Estimated = "as_found", k.Left, false
		t.record(&l)
	}
	t.record(&AnswerFact{Question: QSteps, Value: "known"})
	t.record(&AnswerFact{Question: QOnly, Value: "yes_both"})
	return true
}

func takePlace(t *turn, in *input) bool {
	if in.Choice != "" {
		t.record(&AnswerFact{Question: QPlace, Value: in.Choice})
		t.understood("echo.place", words.Args{"Place": in.Choice})
		return true
	}
	n := len(t.entries)
	alsoPlace(t, in)
	return len(t.entries) > n
}

func alsoPlace(t *turn, in *input) {
	if t.s.Phase != PhaseOpen {
		return
	}
	if m, ok, _ := understand.Place(in.Text); ok {
		in.take(m.Start, m.End)
		t.record(&AnswerFact{Question: QPlace, Value: m.Value})
		t.understood("echo.place", words.Args{"Place": m.Value})
	}
}

func takeOdometer(t *turn, in *input) bool {
	m, ok, ask := understand.Odometer(in.Text, t.context())
	switch {
	case in.Choice == "not_known":
		t.record(&AnswerFact{Question: QOdometer, Value: "not_known", Skipped: true})
		return true
	case ok:
		t.recordOdometer(m, in)
		return true
	case ask != nil:
		t.askBack(ask)
		return true
	}
	if a := yesNo(in); a == "not_sure" || a == "none" || a == "no" {
		t.record(&AnswerFact{Question: QOdometer, Value: "not_known", Skipped: true})
		return true
	}
	return false
}

func alsoOdometer(t *turn, in *input) {
	if m, ok, _ := understand.Odometer(in.Text, t.context()); ok && m.Value.Said {
		t.recordOdometer(m, in)
	}
}

func (t *turn) recordOdometer(m understand.Match[understand.Distance], in *input) {
	in.take(m.Start, m.End)
	t.record(&OdometerFact{Value: m.Value.Value, Unit: m.Value.Unit})
	t.understood("echo.odometer", words.Args{"Value": unit.Count(int64(m.Value.Value)), "Unit": m.Value.Unit})
	if t.unitsByOdometer(m.Value) {
		t.understood("echo.units", words.Args{"Unit": t.speedUnit()})
	}
}

// unitsByOdometer takes the dash for one in km/h where its odometer counts
// kilometres and nobody has said otherwise.
func (t *turn) unitsByOdometer(d understand.Distance) bool {
	if !d.Said || d.Unit != understand.Km || !t.env.Policy.SpeedAssumed || t.s.Has(QUnits) {
		return false
	}
	t.record(&AnswerFact{Question: QUnits, Value: understand.KmH})
	return true
}

// vinDoubted says whether the VIN that was typed has a slip in it.
func vinDoubted(s *State) bool { return s.Value(QVIN) == vinFails }

// vinFails is the contract's word for a VIN whose check does not hold.
const vinFails = "fails"

func askVIN(t *turn) {
	text := ""
	if _, ok, ask := understand.VIN(t.s.VIN); ok && ask != nil {
		text = ask.Text()
	}
	t.ask(QVIN, "", "open.vin", words.Args{"Text": text})
}

func takeVIN(t *turn, in *input) bool {
	m, ok, ask := understand.VIN(in.Text)
	switch {
	case ok && ask != nil && m.Value.Text == t.s.VIN, !ok && t.s.VIN != "" && yesNo(in) == "yes":
		t.record(&AnswerFact{Question: QVIN, Value: "kept"}) // insisted on
		in.Text = ""
	case ok:
		t.recordVIN(m, ask, in)
	case yesNo(in) != "":
		t.record(&AnswerFact{Question: QVIN, Skipped: true})
	default:
		return false
	}
	return true
}

func alsoVIN(t *turn, in *input) {
	m, ok, ask := understand.VIN(in.Text)
	if !ok {
		return
	}
	t.recordVIN(m, ask, in)
	if ask != nil && t.s.Phase != PhaseOpen { // where it is not asked for
		t.understood("open.vin.questioned", words.Args{"Text": ask.Text()})
	}
}

// recordVIN records a VIN as typed; one that is in doubt with a check that
// fails, to be asked about.
func (t *turn) recordVIN(m understand.Match[vin.Result], ask *understand.Ask, in *input) {
	in.take(m.Start, m.End)
	if ask != nil {
		t.record(&VINFact{Check: vinFails}, Item{ItemVIN, m.Value.Text})
		return
	}
	t.record(&VINFact{Check: string(m.Value.Check)}, Item{ItemVIN, m.Value.Text})
	t.understood("echo.vin", words.Args{"Check": string(m.Value.Check)})
}

func takeUnits(t *turn, in *input) bool {
	u, ok := pick(in, map[string]string{"mph": "mph", "kmh": "km/h"}, understand.Units)
	if ok {
		t.record(&AnswerFact{Question: QUnits, Value: u})
		t.understood("echo.units", words.Args{"Unit": u})
	}
	return ok
}

// pick is what a choice stands for, else what a reader finds in the text.
func pick(in *input, choices map[string]string, read func(string) (understand.Match[string], bool, *understand.Ask)) (string, bool) {
	if v := choices[in.Choice]; v != "" {
		return v, true
	}
	m, ok, _ := read(in.Text)
	if ok {
		in.take(m.Start, m.End)
	}
	return m.Value, ok
}

// speedWords are units of speed that are no unit of distance as well.
var speedWords = regexp.MustCompile(`(?i)\b(mph|km ?/ ?h|km ?h|kph|(?:miles|kilomet(?:re|er)s) per hour)\b`)

// alsoUnits takes the dash's unit where the words name one, at any prompt of
// the opening.
func alsoUnits(t *turn, in *input) {
	at := speedWords.FindStringIndex(in.Text)
	if at == nil || t.s.Phase != PhaseOpen {
		return
	}
	m, ok, _ := understand.Units(in.Text[at[0]:at[1]])
	in.take(at[0], at[1])
	if a := t.s.Answers[Key{QUnits, ""}]; !ok || a.Value == m.Value && len(t.entries) > 0 && a.Seq >= t.entries[0].Seq {
		return // the odometer has said so already
	}
	t.record(&AnswerFact{Question: QUnits, Value: m.Value})
	t.understood("echo.units", words.Args{"Unit": m.Value})
}

func takeRule(t *turn, in *input) bool {
	r, ok := pick(in, map[string]string{"never_under": "never-under", "no_rule": "none"}, understand.Rule)
	if ok {
		t.record(&AnswerFact{Question: QRule, Value: r})
		t.understood("echo.rule", words.Args{"Rule": r})
	}
	return ok
}

func takeRegulated(t *turn, in *input) bool {
	switch yesNo(in) {
	case "no", "none":
		t.record(&AnswerFact{Question: QRegulated, Value: "no"})
		return true
	case "yes":
		t.record(&AnswerFact{Question: QRegulated, Value: "yes"})
		return true
	}
	return false
}
