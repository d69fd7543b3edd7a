package flow

import (
	"math"
	"strings"

	"milepost/calib/tyre"
	"milepost/calib/unit"
	"milepost/flow/understand"
	"milepost/flow/words"
)

// fittedPhase finds out what is on the vehicle now.
func fittedPhase() phaseOf {
	return phaseOf{Questions: []question{
		{ID: QFitted, Ask: askFitted, Take: takeFitted, Also: alsoFitted, Why: "why.fitted-size", Hint: "hint.size"},
		{ID: QBig, When: bigChange, Ask: askBig, Take: takeBig, Why: "why.big-change", Hint: "hint.yes-no"},
		{ID: QTread, Ask: func(t *turn) { t.ask(QTread, "", "fitted.tread", nil, "as_new", "not_known") },
			Take: takeTread, Also: alsoTread, Skip: true, Bare: true, Why: "why.tread", Hint: "hint.tread"},
		{ID: QPressure, Ask: func(t *turn) { t.ask(QPressure, "", "fitted.pressure", nil, "placard") },
			Take: takePressure, Also: alsoPressure, Skip: true, Bare: true, Why: "why.pressure", Hint: "hint.pressure"},
		{ID: QGears, Ask: func(t *turn) { t.ask(QGears, "", "fitted.gears", nil, "unchanged", "changed") },
			Take: takeGears, Also: alsoGears, Bare: true, Why: "why.gears", Hint: "hint.gears"},
		{ID: QRatio, When: func(s *State) bool { return s.Value(QGears) == "changed" },
			Done: func(s *State) bool { return s.HasFor(QRatio, "now") || s.HasFor(QRatio, "") },
			Ask:  func(t *turn) { t.ask(QRatio, "", "fitted.ratio", nil) }, Take: takeRatio, Skip: true, Bare: true,
			Why: "why.gears", Hint: "hint.ratio"},
		{ID: QSensing, When: func(s *State) bool { return s.Value(QGears) == "changed" },
			Ask:  func(t *turn) { t.ask(QSensing, "", "fitted.sensing", nil, "wheels", "gearbox", "not_known") },
			Take: takeSensing, Also: alsoSensing, Why: "why.sensing", Hint: "hint.sensing"},
		{ID: QRevs, When: never, Ask: func(t *turn) { t.ask(QRevs, "", "fitted.revs", nil) }, Take: takeRevs, Also: alsoRevs,
			Skip: true, Bare: true, Why: "why.published-revs", Hint: "hint.revs"},
		{ID: QRollout, When: never, Ask: func(t *turn) { t.ask(QRollout, "", "fitted.rollout", nil) }, Take: takeRollout, Also: alsoRollout,
			Skip: true, Bare: true, Why: "why.rollout", Hint: "hint.rollout"},
		{ID: QLoad, When: loadWants, Ask: askLoad, Done: func(*State) bool { return false }, Take: takeLoad, Why: "why.load", Hint: "hint.load"},
	}, Next: func(t *turn) Event { return EvDescribed }}
}

// never is for what is taken when said, and not asked for.
func never(*State) bool { return false }

func askFitted(t *turn) { t.ask(QFitted, "", "fitted.ask", nil) }

func takeFitted(t *turn, in *input) bool {
	ms, ask := understand.Sizes(in.Text)
	if len(ms) == 0 {
		in.ask = ask
		return false
	}
	if t.severalSizes(ms) {
		in.Text = ""
		return true
	}
	m := ms[len(ms)-1]
	t.recordSize("fitted", m.Value.Size)
	t.otherSize(m.Value.Size.Text)
	in.take(m.Start, m.End)
	t.sayFitted()
	return true
}

// otherSize records the size of the axle without the sensor, where two were
// named and this is the other one.
func (t *turn) otherSize(sensor string) {
	said := strings.Split(t.s.Answers[Key{QAxles, "said"}].Value, ", ")
	for _, text := range said {
		if z, err := tyre.Parse(text); err == nil && len(said) > 1 && !same(text, sensor) {
			t.recordSize("fitted_other", z)
			return
		}
	}
}

// alsoFitted takes a size beside another answer: one that the words call new,
// or a second one once the placard's is known.
func alsoFitted(t *turn, in *input) {
	ms, _ := understand.Sizes(in.Text)
	for _, m := range ms {
		if m.Value.Which == "fitted" || (m.Value.Which == "" && t.s.Has(QPlacard) && t.s.Phase != PhaseFactory) {
			t.recordSize("fitted", m.Value.Size)
			in.take(m.Start, m.End)
			t.sayFitted()
			return
		}
	}
}

// severalSizes asks which one counts where a message names two sizes for the
// vehicle as it is now, front and rear say.
func (t *turn) severalSizes(ms []understand.Match[understand.Size]) bool {
	var now []string
	for _, m := range ms {
		if m.Value.Which != "factory" {
			now = append(now, m.Value.Size.Text)
		}
	}
	if len(now) < 2 || now[0] == now[len(now)-1] {
		return false
	}
	t.record(&AnswerFact{Question: QAxles, About: "said", Value: strings.Join(now, ", ")})
	t.hint("fitted.several", words.Args{"Sizes": joinAnd(now)})
	return true
}

// difference is D1/D0 − 1 of the nominal diameters, 0 while one is not known.
func (s *State) difference() float64 {
	d0, d1 := s.Sizes["factory"].DiameterMM, s.Sizes["fitted"].DiameterMM
	if d0 == 0 || d1 == 0 {
		return 0
	}
	return d1/d0 - 1
}

// sayFitted echoes the size with how it compares, load and speed included.
func (t *turn) sayFitted() {
	f := t.s.Sizes["fitted"]
	d := t.s.difference()
	args := words.Args{"Size": f.Text, "Percent": unit.Figure(math.Abs(d)*100, 1), "Larger": d > 0, "Same": math.Abs(d) < 0.0005,
		"Known": t.s.Sizes["factory"].Text != ""}
	t.understood("echo.fitted", args)
	t.sayLoad()
}

// bigChange: over 15 % is asked again (calibration method, section 2).
func bigChange(s *State) bool { return math.Abs(s.difference()) > 0.15 }

func askBig(t *turn) {
	t.ask(QBig, t.s.Sizes["fitted"].Text, "fitted.big", words.Args{"Factory": t.s.Sizes["factory"].Text,
		"Fitted": t.s.Sizes["fitted"].Text, "Percent": unit.Figure(math.Abs(t.s.difference())*100, 1)}, "yes", "no")
}

func takeBig(t *turn, in *input) bool {
	switch yesNo(in) {
	case "yes":
		t.record(&AnswerFact{Question: QBig, Value: "yes"})
		return true
	case "no":
		askFitted(t)
		return true
	}
	ms, _ := understand.Sizes(in.Text)
	return len(ms) > 0 && takeFitted(t, in)
}
