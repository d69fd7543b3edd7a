package flow

import (
	"math"
	"regexp"
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

// loadFindings compares load and speed with the placard's.
func (s *State) loadFindings() []tyre.Finding {
	z0, ok0 := s.size("factory")
	z1, ok1 := s.size("fitted")
	if !ok0 || !ok1 {
		return nil
	}
	return tyre.Compare(z0, z1, tyre.Vehicle{Duals: s.Value(QDuals) == "yes", Winter: s.Value(QWinter) == "yes"})
}

func (t *turn) sayLoad() {
	fs := t.s.loadFindings()
	if len(fs) == 0 {
		return
	}
	hold := true
	for _, f := range fs {
		if f.Outcome != tyre.Enough {
			hold = false
		}
	}
	if hold {
		t.understood("echo.load.holds", nil)
	}
}

// loadWants says whether load or speed symbol wants an answer: below the
// placard's, or the marking on the new tyre not told.
func loadWants(s *State) bool {
	z0, ok0 := s.size("factory")
	if !ok0 || !s.Has(QFitted) || (z0.LoadIndex == "" && z0.SpeedSymbol == "") {
		return false
	}
	return len(s.loadLeft()) > 0
}

// loadLeft are the findings that nobody has answered yet.
func (s *State) loadLeft() (left []tyre.Finding) {
	if s.HasFor(QLoad, "") {
		return nil
	}
	for _, f := range s.loadFindings() {
		if f.Outcome != tyre.Enough && !s.HasFor(QLoad, s.loadAbout(f)) {
			left = append(left, f)
		}
	}
	return left
}

// loadAbout names a finding for the question about it: of another size it is
// another one.
func (s *State) loadAbout(f tyre.Finding) string {
	return string(f.Matter) + " " + s.Sizes["fitted"].Text
}

// answerLoad records what was said to the finding that stands first.
func (t *turn) answerLoad(a AnswerFact) {
	left := t.s.loadLeft()
	w := worst(left)
	for _, f := range left {
		if f.Matter == w.Matter || w.Outcome == tyre.Unclear && f.Outcome == tyre.Unclear {
			b := a // what is not marked is asked for in one question
			b.Question, b.About = QLoad, t.s.loadAbout(f)
			t.record(&b)
		}
	}
}

// worst gives the finding to be asked about first.
func worst(fs []tyre.Finding) tyre.Finding {
	var w tyre.Finding
	for _, rank := range []tyre.Outcome{tyre.Unclear, tyre.Caution, tyre.Below} {
		for _, f := range fs {
			if f.Outcome == rank {
				w = f
			}
		}
	}
	return w
}

func askLoad(t *turn) {
	f := worst(t.s.loadLeft())
	about := t.s.loadAbout(f)
	args := words.Args{"Placard": unit.Figure(f.Placard, 0), "Fitted": unit.Figure(f.Fitted, 0), "Derated": f.Derated,
		"Speed": f.Matter == tyre.TopSpeed}
	switch {
	case f.DifferentPressure:
		t.ask(QLoad, about, "fitted.load.sidewall", args)
	case f.Outcome == tyre.Unclear:
		t.ask(QLoad, about, "fitted.load.missing", args)
	case f.Matter == tyre.TopSpeed:
		t.ask(QLoad, about, "fitted.speed.below", args, "winter", "other_tyres", "noted")
	default:
		t.ask(QLoad, about, "fitted.load.below", args, "other_tyres", "noted")
	}
}

func takeLoad(t *turn, in *input) bool {
	switch in.Choice {
	case "winter":
		t.answerLoad(AnswerFact{Value: "winter"})
		t.record(&AnswerFact{Question: QWinter, Value: "yes"})
		t.caution("winter", true)
		return true
	case "noted":
		t.answerLoad(AnswerFact{Value: "noted"})
		t.record(&DeviationFact{What: "below_placard"})
		t.caution("load", true)
		return true
	case "other_tyres":
		askFitted(t)
		return true
	}
	if kg, ok, _ := understand.Load(in.Text); ok {
		f := worst(t.s.loadLeft())
		in.take(kg.Start, kg.End)
		if f.Fitted = kg.Value.Single; f.Derated {
			f.Fitted /= tyre.PassengerOnTruck
		}
		if f.Matter == tyre.SingleLoad && f.Placard > 0 && f.Fitted < f.Placard {
			t.ask(QLoad, t.s.loadAbout(f), "fitted.load.below", words.Args{"Placard": unit.Figure(f.Placard, 0),
				"Fitted": unit.Figure(f.Fitted, 0), "Derated": f.Derated}, "other_tyres", "noted")
			return true
		}
		t.answerLoad(AnswerFact{Number: kg.Value.Single, Unit: "kg"})
		return true
	}
	// The marking itself: "121/118S".
	if z, err := tyre.Parse(t.s.Sizes["fitted"].unmarked() + " " + in.Text); err == nil && (z.LoadIndex != "" || z.SpeedSymbol != "") {
		f := t.s.Sizes["fitted"]
		if bare := f.unmarked(); bare != f.Text {
			f.Text = bare + " " + z.LoadIndex + z.SpeedSymbol // what was typed before was not it
		}
		f.LoadIndex, f.SpeedSymbol = z.LoadIndex, z.SpeedSymbol
		t.record(&f)
		in.Text = ""
		t.sayLoad()
		return true
	}
	if a, ok := understand.YesNo(in.Text); ok && a.Value != understand.Yes {
		t.answerLoad(AnswerFact{Value: "not_known"})
		t.caution("load", true)
		return true
	}
	return false
}

// unmarked is the size's text without load index and speed symbol.
func (f SizeFact) unmarked() string {
	return strings.TrimSpace(strings.Replace(f.Text, f.LoadIndex+f.SpeedSymbol, "", 1))
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

func takeTread(t *turn, in *input) bool {
	if in.Choice == "as_new" || in.Choice == "not_known" {
		t.record(&AnswerFact{Question: QTread, Value: in.Choice})
		return true
	}
	n := len(t.entries)
	if alsoTread(t, in); len(t.entries) > n {
		return true
	}
	if a, ok := understand.YesNo(in.Text); ok && a.Value == understand.NotSure {
		t.record(&AnswerFact{Question: QTread, Value: "not_known"})
		return true
	}
	return false
}

// alsoTread takes tread depths, new and now, in mm.
func alsoTread(t *turn, in *input) {
	m, ok, _ := understand.Treads(treadText(in.Text))
	if !ok {
		return
	}
	in.take(m.Start, m.End)
	v := m.Value
	switch {
	case v.New != nil && v.Now != nil:
		t.record(&AnswerFact{Question: QTread, About: "new", Number: *v.New, Unit: "mm"})
		t.record(&AnswerFact{Question: QTread, Number: *v.Now, Unit: "mm", Value: "measured"})
	case v.Unworn:
		t.record(&AnswerFact{Question: QTread, Value: "as_new"})
	case v.New != nil:
		t.record(&AnswerFact{Question: QTread, About: "new", Number: *v.New, Unit: "mm"})
	case v.Now != nil:
		t.record(&AnswerFact{Question: QTread, About: "now", Number: *v.Now, Unit: "mm"})
	}
	n, hasNew := t.s.Answers[Key{QTread, "new"}]
	w, hasNow := t.s.Answers[Key{QTread, "now"}]
	if hasNew && hasNow && !t.s.Has(QTread) {
		t.record(&AnswerFact{Question: QTread, Number: min(w.Number, n.Number), Unit: "mm", Value: "measured"})
	}
}

func takePressure(t *turn, in *input) bool {
	if in.Choice == "placard" {
		t.record(&AnswerFact{Question: QPressure, Number: 1, Unit: "ratio", Value: "placard"})
		return true
	}
	if now := t.s.Answers[Key{QPressure, "now"}]; t.s.Asked.About == "placard" && now.Number > 0 {
		if v, ok := understand.Bare(in.Text); ok {
			in.Text = plainFigure(v) + " " + now.Unit // in the unit of the pressure just given
		}
	}
	n := len(t.entries)
	if alsoPressure(t, in); len(t.entries) > n {
		return true
	}
	if a, ok := understand.YesNo(in.Text); ok {
		if a.Value == understand.Yes {
			t.record(&AnswerFact{Question: QPressure, Number: 1, Unit: "ratio", Value: "placard"})
			return true
		}
		t.record(&AnswerFact{Question: QPressure, Value: "not_known"})
		return true
	}
	return false
}

// placardAlone is the pressure beside the fitted tyre, in a row of answers.
var placardAlone = regexp.MustCompile(`(?i)(?:^|[,;.])\s*((?:as on (?:the )?|at )?(?:placard|sticker))\s*(?:$|[,;.])`)

// alsoPressure takes the cold pressure, as a ratio to the placard's.
func alsoPressure(t *turn, in *input) {
	m, ok, _ := understand.Pressures(treadText(in.Text))
	if at := placardAlone.FindStringSubmatchIndex(in.Text); !ok && at != nil && t.s.Phase == PhaseFitted {
		in.take(at[2], at[3])
		t.record(&AnswerFact{Question: QPressure, Number: 1, Unit: "ratio", Value: "placard"})
		return
	}
	if !ok {
		return
	}
	in.take(m.Start, m.End)
	if r, ok := m.Value.Ratio(); ok {
		t.record(&AnswerFact{Question: QPressure, Number: round(r, 3), Unit: "ratio", Value: "measured"})
		return
	}
	// One pressure only: the placard's is asked for, with the unit it was typed in.
	now := t.s.Answers[Key{QPressure, "now"}]
	if now.Number > 0 && now.Unit == m.Value.Unit {
		t.record(&AnswerFact{Question: QPressure, Number: round(now.Number/m.Value.Value, 3), Unit: "ratio", Value: "measured"})
		return
	}
	t.record(&AnswerFact{Question: QPressure, About: "now", Number: m.Value.Value, Unit: m.Value.Unit})
	t.ask(QPressure, "placard", "fitted.pressure.placard", words.Args{"Value": m.Echo}, "placard")
}

// neverPattern answers "changed?" in a sentence.
var neverPattern = regexp.MustCompile(`(?i)\b(never|nothing( else)?( was| has been)?|not|nobody) changed\b|\bnever\b`)

var changedAlone = regexp.MustCompile(`(?i)^\s*(?:yes,? )?(?:they (?:are|were|have been) )?changed[.!]?\s*$`)

func takeGears(t *turn, in *input) bool {
	if in.Choice != "" {
		t.record(&AnswerFact{Question: QGears, Value: in.Choice})
		return true
	}
	n := len(t.entries)
	if alsoGears(t, in); len(t.entries) > n {
		return true
	}
	if neverPattern.MatchString(in.Text) {
		in.Text = ""
		t.record(&AnswerFact{Question: QGears, Value: "unchanged"})
		return true
	}
	if changedAlone.MatchString(in.Text) {
		in.Text = ""
		t.record(&AnswerFact{Question: QGears, Value: "changed"})
		return true
	}
	switch yesNo(in) { // "changed?" "no"
	case "no", "none":
		t.record(&AnswerFact{Question: QGears, Value: "unchanged"})
		return true
	case "yes":
		t.record(&AnswerFact{Question: QGears, Value: "changed"})
		return true
	case "not_sure":
		t.record(&AnswerFact{Question: QGears, Value: "unchanged"})
		return true
	}
	return false
}

// nothingChanged says of the gears beside the fitted tyre that nothing was changed,
// without naming them.
var nothingChanged = regexp.MustCompile(`(?i)\b(?:(?:all|everything|the rest) )?(?:unchanged|(?:\w\w )?built)\b`)

func alsoGears(t *turn, in *input) {
	m, ok, _ := understand.FindGears(in.Text)
	if at := nothingChanged.FindStringIndex(in.Text); !ok && at != nil && t.s.Phase == PhaseFitted {
		in.take(at[0], at[1])
		t.recordGears(understand.Gears{Unchanged: true})
		return
	}
	if !ok || m.Value.Unknown {
		return
	}
	in.take(m.Start, m.End)
	t.recordGears(m.Value)
}

func (t *turn) recordGears(g understand.Gears) {
	if g.Unchanged {
		t.record(&AnswerFact{Question: QGears, Value: "unchanged"})
		return
	}
	t.record(&AnswerFact{Question: QGears, Value: "changed"})
	if g.Factory > 0 {
		t.record(&AnswerFact{Question: QRatio, About: "factory", Number: g.Factory})
	}
	if g.Now > 0 {
		t.record(&AnswerFact{Question: QRatio, About: "now", Number: g.Now})
	}
}

func takeRatio(t *turn, in *input) bool {
	m, ok, _ := understand.FindGears(in.Text)
	if !ok || m.Value.Factory == 0 || m.Value.Now == 0 {
		return false
	}
	in.take(m.Start, m.End)
	t.recordGears(m.Value)
	return true
}

func takeSensing(t *turn, in *input) bool {
	if in.Choice != "" {
		t.record(&AnswerFact{Question: QSensing, Value: in.Choice})
		return true
	}
	n := len(t.entries)
	if alsoSensing(t, in); len(t.entries) > n {
		return true
	}
	if a, ok := understand.YesNo(in.Text); ok && a.Value == understand.NotSure {
		t.record(&AnswerFact{Question: QSensing, Value: "not_known"})
		return true
	}
	return false
}

func alsoSensing(t *turn, in *input) {
	if m, ok, _ := understand.SpeedFrom(in.Text); ok && t.s.Value(QGears) == "changed" {
		in.take(m.Start, m.End)
		t.record(&AnswerFact{Question: QSensing, Value: m.Value})
	}
}

func takeRevs(t *turn, in *input) bool {
	n := len(t.entries)
	alsoRevs(t, in)
	return len(t.entries) > n
}

// publishedWords say that revolutions are the tyre maker's figure.
var publishedWords = regexp.MustCompile(`(?i)\b(publish|maker|manufacturer|data ?sheet|tyre|tire)`)

// alsoRevs takes the tyre maker's published revolutions per mile: beside
// the fitted tyre, or where the words say that they are the maker's.
func alsoRevs(t *turn, in *input) {
	open := t.s.Asked != nil && t.s.Asked.Question == QRevs
	if !open && t.s.Phase != PhaseFitted && t.s.Phase != PhaseTarget && !publishedWords.MatchString(in.Text) {
		return
	}
	if m, ok, _ := understand.PublishedRevs(in.Text); ok {
		in.take(m.Start, m.End)
		t.record(&AnswerFact{Question: QRevs, Number: m.Value, Unit: "rev/mile"})
		t.understood("echo.revs", words.Args{"Value": plainFigure(m.Value)})
	}
}

func takeRollout(t *turn, in *input) bool {
	n := len(t.entries)
	alsoRollout(t, in)
	return len(t.entries) > n
}

// alsoRollout takes a measured rollout, mm per turn.
func alsoRollout(t *turn, in *input) {
	if m, ok, _ := understand.Rollouts(in.Text); ok {
		in.take(m.Start, m.End)
		t.record(&AnswerFact{Question: QRollout, Number: round(m.Value, 1), Unit: "mm"})
		t.understood("echo.rollout", words.Args{"Value": unit.Figure(m.Value, 0)})
	}
}
