package flow

import (
	"regexp"
	"slices"
	"strconv"
	"strings"

	"milepost/flow/understand"
	"milepost/flow/words"
)

// The lines of the checklist before anything.
const (
	lineLamps  = 1
	lineCodes  = 2
	lineSupply = 3
	lineTyres  = 4
	lineCount  = 4
)

// beforePhase puts the safety and readiness questions as one checklist, and
// opens a line only where it was not confirmed.
func beforePhase() phaseOf {
	return phaseOf{Questions: []question{
		{ID: QBefore, Ask: askBefore, Take: takeBefore, Done: listSettled, Bare: true,
			Why: "why.before", Hint: "hint.before", Help: "help.before"},
		{ID: QLine, When: func(s *State) bool { return s.openLine() > 0 }, Done: func(s *State) bool { return s.openLine() == 0 },
			Ask: askLine, Take: takeLine, Bare: true, Why: "why.before", Hint: "hint.line"},
		{ID: QVolts, When: func(s *State) bool { return s.confirmed(lineSupply) && s.Checks["before"].Volts == 0 },
			Ask: func(t *turn) { t.ask(QVolts, "", "before.volts", nil) }, Take: takeVolts, Bare: true,
			Why: "why.volts", Hint: "hint.volts"},
	}, Next: func(*turn) Event { return EvReady }}
}

// confirmed says whether a line of the checklist was confirmed.
func (s *State) confirmed(line int) bool { return slices.Contains(s.Checks["before"].Lines, line) }

// settled says whether a line was confirmed or answered apart for good.
func (s *State) settled(line int) bool {
	return s.confirmed(line) || s.Answers[Key{QLine, strconv.Itoa(line)}].Value == "no"
}

// listSettled says whether the list as a whole was answered, if not every line.
func listSettled(s *State) bool {
	_, ok := s.Checks["before"]
	return ok
}

// openLine is the first line that is neither confirmed nor settled, 0 if none.
func (s *State) openLine() int {
	if !listSettled(s) {
		return 0
	}
	for n := 1; n <= lineCount; n++ {
		if !s.settled(n) {
			return n
		}
	}
	return 0
}

func (t *turn) vehicleArgs() words.Args {
	v := " " + strings.ToLower(t.s.Vehicle) + " "
	electric := false
	for _, w := range []string{"hybrid", "electric", " ev ", "phev", "plug-in", "battery car"} {
		electric = electric || strings.Contains(v, w)
	}
	return words.Args{"Electric": electric, "TwoWheels": t.s.onTwoWheels()}
}

func askBefore(t *turn) { t.ask(QBefore, "", "before.list", t.vehicleArgs(), "all_yes") }

func takeBefore(t *turn, in *input) bool {
	return t.spare(in) || t.takeLines(in)
}

var sparePattern = regexp.MustCompile(`(?i)\bspare\b`)

// spare takes what is said of the spare: one of another size is a caution, not
// a stop.
func (t *turn) spare(in *input) bool {
	if !sparePattern.MatchString(in.Text) || allWord.MatchString(in.Text) {
		return false
	}
	t.record(&NoteFact{}, Item{ItemText, in.Text})
	t.caution("spare", false)
	in.Text = ""
	return true
}

var allWord = regexp.MustCompile(`(?i)\ball\b`)

// takeLines reads an answer to the checklist: confirmed lines, lines that are
// not so, lines to be opened, codes and lamps, the voltage.
func (t *turn) takeLines(in *input) bool {
	codes, saidCodes, _ := understand.Codes(in.Text)
	lamps, saidLamps, _ := understand.Lamps(in.Text)
	m, ok, ask := understand.Checklist(in.Text, lineCount)
	if in.Choice == "all_yes" {
		m.Value, ok = understand.Ticks{All: true}, true
	}
	codesListed := saidCodes && len(codes.Value.List) > 0
	lampsListed := saidLamps && len(lamps.Value.List) > 0
	if !ok && !codesListed && !lampsListed {
		if ask != nil {
			t.askBack(ask)
			return true
		}
		return false
	}
	ticks := m.Value
	if v, said, _ := understand.Voltage(understand.Mask(in.Text, codes.Start, codes.End)); said && ticks.Volts == nil {
		ticks.Volts = &v.Value
	}
	if len(ticks.Open) == 1 && !ticks.All && len(ticks.Yes) == 0 && len(ticks.No) == 0 {
		t.openOne(ticks.Open[0])
		return true
	}
	if len(ticks.Why) > 0 {
		t.openOne(ticks.Why[0])
		return true
	}
	f := &ChecklistFact{List: "before", Lines: t.s.Checks["before"].Lines, Volts: t.s.Checks["before"].Volts}
	for n := 1; n <= lineCount; n++ {
		if ticks.All && !slices.Contains(ticks.No, n) && !slices.Contains(ticks.Open, n) || slices.Contains(ticks.Yes, n) {
			f.add(n)
		}
	}
	for _, n := range slices.Concat(ticks.No, ticks.Open) {
		f.drop(n) // said to be so before, and not any more
	}
	safety := lampsListed && slices.ContainsFunc(lamps.Value.List, understand.Lamp.Safety)
	if safety {
		f.drop(lineLamps)
	}
	if codesListed {
		f.add(lineCodes)
	}
	low := ticks.Volts != nil && !voltsFine(*ticks.Volts, in.Text)
	wrong, isWrong := understand.WrongSupply(in.Text)
	isWrong = isWrong && (ticks.Volts != nil || slices.Contains(f.Lines, lineSupply))
	switch {
	case low, isWrong:
		f.drop(lineSupply)
	case ticks.Volts != nil:
		f.Volts = *ticks.Volts
		f.add(lineSupply)
	}
	t.record(f)
	for _, n := range ticks.No {
		t.notSo(n, codesListed || lampsListed)
	}
	if codesListed || lampsListed || t.s.confirmed(lineCodes) && !t.s.Has(QCodes) {
		t.recordCodesBefore(codes.Value.List, lamps.Value.List)
	}
	in.Text = ""
	if len(f.Lines) > 0 {
		t.understood("echo.checked", words.Args{"Lines": figures(f.Lines), "Volts": voltsText(f.Volts), "Heavy": f.Volts > heavyVolts})
	}
	switch {
	case isWrong:
		t.ask(QLine, strconv.Itoa(lineSupply), "before.supply.wrong", words.Args{"Said": wrong.Echo}, "yes", "no")
	case low:
		t.askVolts(*ticks.Volts)
	}
	return true
}

func (f *ChecklistFact) add(line int) {
	if !slices.Contains(f.Lines, line) {
		f.Lines = append(slices.Clone(f.Lines), line)
		slices.Sort(f.Lines)
	}
}

func (f *ChecklistFact) drop(line int) {
	f.Lines = slices.DeleteFunc(slices.Clone(f.Lines), func(n int) bool { return n == line })
}

// recordCodesBefore keeps the codes and lamps present before the work. With a
// brake, stability, steering or airbag lamp there is no road drive.
func (t *turn) recordCodesBefore(codes []string, seen []understand.Lamp) {
	f := &CodesFact{When: "before", List: codes}
	other := ""
	for _, l := range seen {
		f.Lamps = append(f.Lamps, l.Category)
		if l.Category == "other" {
			other = l.Words
		}
	}
	for _, c := range t.s.Codes { // what was told before stays told
		if c.When == "before" {
			f.List, f.Lamps = union(c.List, f.List), union(c.Lamps, f.Lamps)
		}
	}
	t.record(f, Item{ItemOther, other})
	lamps, safe := strings.Join(f.Lamps, ", "), t.s.roadSafe()
	if !safe {
		lamps = "" // said below
	}
	if len(f.List) > 0 || lamps != "" {
		t.understood("echo.codes", words.Args{"Codes": strings.Join(f.List, ", "), "Lamps": lamps})
	}
	if !safe {
		t.record(&AnswerFact{Question: QLine, About: strconv.Itoa(lineLamps), Value: "no"})
		t.understood("before.lamp.stop", words.Args{"Lamps": strings.Join(f.Lamps, ", ")})
	}
}
