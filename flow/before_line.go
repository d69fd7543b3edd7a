package flow

import (
	"regexp"
	"strconv"
	"strings"

	"milepost/flow/understand"
)

// notSo records that a line is not so, where nothing more has to be asked.
func (t *turn) notSo(line int, told bool) {
	switch line {
	case lineSupply:
		t.record(&AnswerFact{Question: QLine, About: strconv.Itoa(line), Value: "no"})
		t.record(&AnswerFact{Question: QVolts, Value: "none"})
		t.understood("before.supply.waits", nil)
	case lineLamps:
		if told {
			t.record(&AnswerFact{Question: QLine, About: strconv.Itoa(line), Value: "no"})
		}
	}
}

// openOne opens a line to be answered apart.
func (t *turn) openOne(line int) {
	if !listSettled(t.s) {
		t.record(&ChecklistFact{List: "before"})
	}
	t.ask(QLine, strconv.Itoa(line), "before.line."+strconv.Itoa(line), t.vehicleArgs(), "yes", "no")
}

// askLine asks the line that is open again, else the first that is not settled.
func askLine(t *turn) {
	line := t.s.openLine()
	if a := t.s.Asked; a != nil && a.Question == QLine {
		if n, err := strconv.Atoi(a.About); err == nil && !t.s.settled(n) {
			line = n
		}
	}
	t.openOne(line)
}

var lampWords = regexp.MustCompile(`(?i)\b(lamps?|lights?|warnings?|lit)\b`)

func takeLine(t *turn, in *input) bool {
	line, err := strconv.Atoi(t.s.Asked.About)
	if err != nil {
		return false
	}
	if t.spare(in) {
		return true
	}
	if n, ok := choiceNumber(in.Text); ok && in.Choice == "" && n >= 1 && n <= lineCount {
		t.openOne(n)
		return true
	}
	codes, saidCodes, _ := understand.Codes(in.Text)
	lamps, saidLamps, _ := understand.Lamps(in.Text)
	if line == lineSupply && !lampWords.MatchString(in.Text) {
		saidLamps = false // "only a battery charger" tells of a supply
	}
	told := saidCodes && len(codes.Value.List) > 0 || saidLamps && len(lamps.Value.List) > 0
	f := &ChecklistFact{List: "before", Lines: t.s.Checks["before"].Lines, Volts: t.s.Checks["before"].Volts}
	if line == lineSupply && t.wrongSupply(in.Text) {
		return true
	}
	if v, ok, _ := understand.Voltage(in.Text); ok && line == lineSupply {
		if !voltsFine(v.Value, in.Text) {
			t.askVolts(v.Value)
			return true
		}
		f.Volts = v.Value
		f.add(line)
		t.record(f)
		in.Text = ""
		return true
	}
	switch {
	case told:
		if saidCodes && len(codes.Value.List) > 0 || line == lineCodes {
			f.add(lineCodes)
		}
		t.record(f)
		t.recordCodesBefore(codes.Value.List, lamps.Value.List)
		if line == lineLamps && t.s.roadSafe() {
			f2 := t.s.Checks["before"]
			f2.add(lineLamps)
			t.record(&f2)
		}
		in.Text = ""
		return true
	case line == lineCodes && saidCodes && codes.Value.None:
		in.Choice = "yes"
	case in.Choice == "" && !plainYesNo(in.Text) && understand.Checklisted(in.Text):
		return t.takeLines(in)
	}
	switch yesNo(in) {
	case "yes":
		f.add(line)
		t.record(f)
		if line == lineCodes && !t.s.Has(QCodes) {
			t.recordCodesBefore(nil, nil)
		}
		return true
	case "none":
		if line == lineCodes {
			f.add(line)
			t.record(f)
			t.recordCodesBefore(nil, nil)
			return true
		}
		return false
	case "no", "not_sure":
		switch line {
		case lineSupply:
			t.notSo(line, true)
			return true
		case lineLamps:
			t.hint("before.lamp.which", nil)
		case lineCodes:
			t.hint("before.line.2", nil)
		default:
			t.hint("before.tyres.fix", nil)
		}
		return true
	}
	return false
}

// plainYesNo says whether a text is nothing but a yes or a no.
func plainYesNo(text string) bool {
	a, ok := understand.YesNo(text)
	return ok && strings.Trim(text[a.End:], " .!") == ""
}
