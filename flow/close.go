package flow

import (
	"slices"
	"strconv"
	"strings"

	"milepost/calib"
	"milepost/calib/unit"
	"milepost/flow/understand"
	"milepost/flow/words"
)

// closePhase hands over: the result, what is still to be done, reminders and,
// where policy says so, a supervisor's signature.
func closePhase() phaseOf {
	return phaseOf{Questions: []question{
		{ID: QClosing, Done: func(s *State) bool { return s.closingLeft() == nil }, Ask: askClosing, Take: takeClosing, Bare: true,
			Why: "why.closing", Help: "help.closing", Hint: "hint.closing"},
		{ID: QRemind, Ask: askRemind, Take: takeRemind, Skip: true, Bare: true, Why: "why.remind", Hint: "hint.remind"},
		{ID: QSignOff, When: never, Ask: askSignOff, Take: takeSignOff, Why: "why.sign-off", Hint: "hint.sign-off"},
	}, Enter: (*turn).sayResult, Next: nextClose}
}

// closingList is the aftercare checklist's name, closingLines how long it is.
const (
	closingList  = "closing"
	closingLines = 8
)

// closingLeft lists the lines nobody has confirmed.
func (s *State) closingLeft() (left []int) {
	done := s.Checks[closingList].Lines
	for i := 1; i <= closingLines; i++ {
		if !slices.Contains(done, i) {
			left = append(left, i)
		}
	}
	return left
}

// Days after which a reminder comes back; common practice, no source: the
// wheel maker's figure for the distance wins.
const (
	retorqueDays = 7
	recheckDays  = 180
)

// sayResult states what the vehicle is handed over with.
func (t *turn) sayResult() {
	a, ok := t.assess(false)
	if !ok {
		return
	}
	s, m := t.s, t.s.Main()
	args := t.reviewArgs()
	args["Original"], args["ValueUnit"] = figureOf(m, m.Restore()), unitOf(m)
	args["Final"] = figureOf(m, m.Now)
	if len(s.Modules) > 1 {
		args["Original"], args["ValueUnit"] = t.eachModule((*Module).Restore), ""
		args["Final"] = t.eachModule(func(m *Module) Value { return m.Now })
	}
	args["List"] = m.Kind == string(calib.SizeList)
	args["Size"], args["Factory"] = s.Sizes["fitted"].Text, s.Sizes["factory"].Text
	t.odometerArgs(a, args)
	args["Wear"], args["WearValue"], args["WearError"] = t.forecast(a)
	t.say(Result, "close.result", args)
	t.sayEffects(a)
	t.say(Result, "close.label", args)
}

// wornTo is the tread for which the forecast is given, mm (calibration method,
// section 10).
const wornTo = 3.0

// forecast tells what becomes of the value when the tread is worn.
func (t *turn) forecast(a assessed) (ok bool, value, miss string) {
	now, known := t.s.Num(QTread)
	if !known || now <= wornTo {
		return false, "", ""
	}
	w, err := a.Model.Forecast(calibValue(t.s.Main().Now), now, wornTo)
	if err != nil {
		return false, "", ""
	}
	return true, t.figure(flowValue(w.Value)), unit.Signed(unit.RoundTo(w.ErrorAtW, 1), 1)
}

func askClosing(t *turn) {
	left := t.s.closingLeft()
	args := t.restoreArgs()
	if len(left) == closingLines {
		t.ask(QClosing, "", "close.list", args, "all_yes")
		return
	}
	t.ask(QClosing, lineText(left), "close.left", words.Args{"Lines": lineText(left), "One": len(left) == 1}, "all_yes")
}

func lineText(lines []int) string {
	parts := make([]string, len(lines))
	for i, l := range lines {
		parts[i] = strconv.Itoa(l)
	}
	return strings.Join(parts, ", ")
}

func takeClosing(t *turn, in *input) bool {
	if in.Choice == "all_yes" {
		t.confirm(t.s.closingLeft())
		return true
	}
	var v understand.Ticks
	if l, err := strconv.Atoi(strings.TrimSpace(in.Text)); err == nil && l >= 1 && l <= closingLines { // here 8 is no voltage
		v.Open = []int{l}
	} else if m, ok, _ := understand.Checklist(in.Text, closingLines); ok {
		v = m.Value
	} else {
		return false
	}
	lines := v.Yes
	if v.All {
		for _, l := range t.s.closingLeft() {
			if !slices.Contains(v.No, l) && !slices.Contains(v.Open, l) {
				lines = append(lines, l)
			}
		}
	}
	if len(lines) > 0 {
		t.confirm(lines)
	}
	in.Text = ""
	for _, l := range slices.Concat(v.Open, v.Why) {
		t.hint("close.line."+strconv.Itoa(l), t.restoreArgs())
		return true
	}
	if len(v.No) > 0 {
		t.hint("close.open", words.Args{"Lines": lineText(v.No)})
	}
	return true
}

// confirm records confirmed lines beside those from before.
func (t *turn) confirm(lines []int) {
	all := slices.Clone(t.s.Checks[closingList].Lines)
	for _, l := range lines {
		if !slices.Contains(all, l) {
			all = append(all, l)
		}
	}
	slices.Sort(all)
	t.record(&ChecklistFact{List: closingList, Lines: all}, Item{ItemOther, t.m.Text})
}

func askRemind(t *turn) {
	t.ask(QRemind, "", "close.remind", words.Args{"Torque": retorqueDays, "Recheck": recheckDays}, "yes", "no")
}

func takeRemind(t *turn, in *input) bool {
	days := figurePattern.FindAllString(in.Text, -1)
	a, ok := understand.YesNo(in.Text)
	torque, recheck := retorqueDays, recheckDays
	switch {
	case strings.Contains(in.Text, "-") && len(days) > 0:
		return false // no day lies back
	case len(days) >= 1:
		torque, _ = strconv.Atoi(days[0])
		if len(days) > 1 {
			recheck, _ = strconv.Atoi(days[1])
		}
		if torque < 1 || torque > 3650 || recheck < 1 || recheck > 3650 {
			return false
		}
	case in.Choice == "no" || ok && (a.Value == understand.No || a.Value == understand.None):
		t.record(&AnswerFact{Question: QRemind, Value: "no"})
		return true
	case in.Choice == "yes" || ok && a.Value == understand.Yes:
	default:
		return false
	}
	t.remind("re-torque", torque)
	t.remind("recheck", recheck)
	t.record(&AnswerFact{Question: QRemind, Value: "yes"})
	in.Text = ""
	return true
}

func (t *turn) remind(what string, days int) {
	day := t.env.Now.AddDate(0, 0, days).Format("2006-01-02")
	t.record(&ReminderFact{What: what, Day: day})
}

func askSignOff(t *turn) {
	t.askRole(QSignOff, t.s.decidedAbout(), Supervisor, "close.sign-off", t.reviewArgs(), "sign_off")
}

func takeSignOff(t *turn, in *input) bool {
	a, ok := understand.YesNo(in.Text)
	if in.Choice == "sign_off" || ok && a.Value == understand.Yes {
		return t.signOff(command{}, in)
	}
	return false
}

// nextClose closes the job, after the signature where policy wants one.
func nextClose(t *turn) Event {
	if t.env.Policy.SignOff && !t.s.SignedOff {
		if t.s.Asked == nil || t.s.Asked.Question != QSignOff {
			t.say(Notice, "close.waits", words.Args{"Name": t.nameOfRole(Supervisor)})
			askSignOff(t)
		}
		return ""
	}
	t.record(&StoppedFact{How: t.s.ending()})
	return EvClose
}

// ending says how a job ends that was not stopped.
func (s *State) ending() string {
	do, reason := s.decided()
	switch {
	case do == string(calib.CannotFix) || do == string(calib.Ask):
		return "cannot_fix"
	case reason == string(calib.ReasonAsGood):
		return "best"
	}
	return "done"
}
