package flow

import (
	"regexp"
	"strings"

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
var rulePattern = regexp.MustCompile(`(?i)(?:\b(?:accuracy )?rule\b[ :=]*(?:is )?)?(?:\bnever[- ]under\b|\bUN ?R ?39\b)(?: rule\b)?`)

// freePattern says beside a vehicle that its use is not regulated.
var freePattern = regexp.MustCompile(`(?i)[,;]?\s*\b(not regulated|unregulated|no tacho(graph)?((,|,? or) ((speed )?limiter|taxi-?meter))*|not a taxi)\b`)

func takeVehicle(t *turn, in *input) bool {
	if r := rulePattern.FindStringIndex(in.Text); r != nil {
		t.record(&AnswerFact{Question: QRule, Value: "never-under"})
		in.take(r[0], r[1])
	}
	if v, ok, ask := understand.VIN(in.Text); ok && ask != nil {
		// The rest of the message is not lost for it: the number is asked for again.
		t.recordVIN(v, ask, in)
	}
	if r := freePattern.FindStringIndex(in.Text); r != nil && devices(in.Text) == "" {
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

func takePlace(t *turn, in *input) bool {
	if in.Choice != "" {
		t.record(&AnswerFact{Question: QPlace, Value: in.Choice})
		t.understood("echo.place", words.Args{"Place": in.Choice})
		return true
	}
	return t.recordedBy(alsoPlace, in)
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
		if d := devices(in.Text); d != "" {
			t.hint("open.regulated.which", words.Args{"Said": d})
			return true
		}
		t.record(&AnswerFact{Question: QRegulated, Value: "no"})
		return true
	case "yes":
		t.record(&AnswerFact{Question: QRegulated, Value: "yes"})
		return true
	}
	if deniesAll(in.Text) {
		t.record(&AnswerFact{Question: QRegulated, Value: "no"})
		in.Text = ""
		return true
	}
	return false
}

// deniesAll says whether a text is a "no" before each of the devices that are
// asked about: "no tachograph, taximeter or limiter".
func deniesAll(text string) bool {
	var kinds [3]bool
	for _, d := range devicePattern.FindAllString(strings.ToLower(text), -1) {
		for i, k := range []string{"tacho", "taxi", "limiter"} {
			kinds[i] = kinds[i] || strings.Contains(d, k)
		}
	}
	return allDenied.MatchString(text) && kinds == [3]bool{true, true, true} && devices(text) == "" && !exceptPattern.MatchString(text)
}

var (
	devicePattern = regexp.MustCompile(`(?i)\b(?:taxis?|taxicab|mini-?cab|tacho(?:graph)?s?|taxi-?meter|(?:speed )?limiter)\b`)
	deniedPattern = regexp.MustCompile(`(?i)\b(?:no|not|never|without|isn'?t|hasn'?t|doesn'?t|neither|nor|or|ex|former|formerly)\b[^,.;!]*$|\b(?:ex|non)-$`)
	// allDenied begins a "no" to what is asked about: "not sure" is none.
	allDenied = regexp.MustCompile(`(?i)^\W*(?:(?:it has|it's got|there is|there's|has) )?(?:no|without|neither|not an?) (?:(?:speed|road|fitted|digital) )*(?:tacho|taxi|limiter)`)
	// exceptPattern is where a "no" ends: "no tacho but a taximeter".
	exceptPattern = regexp.MustCompile(`(?i)\b(?:but|though|although|except|only|just)\b|\?`)
	// listPattern stands between the things of a list, so that a "no" before the
	// first is one before the next.
	listPattern = regexp.MustCompile(`(?i)^ *[,/] *(?:(?:and|or|nor) +)?(?:(?:an?|any|the|speed|road|fitted|digital) +)*$`)
)

// devices is what a message names of regulated use without denying it, "" if
// nothing: "no, but it is a taxi" is no plain no. A "no" carries over a list: "no
// tachograph, taximeter or limiter".
func devices(text string) string {
	listed := 0 // where the device before ends, which was denied
	for _, d := range devicePattern.FindAllStringIndex(text, -1) {
		before := text[:d[0]]
		if e := exceptPattern.FindAllStringIndex(before, -1); len(e) > 0 {
			before = before[e[len(e)-1][1]:]
		}
		if !deniedPattern.MatchString(before) && !(listed > 0 && listPattern.MatchString(text[listed:d[0]])) {
			return text[d[0]:d[1]]
		}
		listed = d[1]
	}
	return ""
}
