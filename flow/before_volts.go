package flow

import (
	"strconv"
	"strings"

	"milepost/calib/unit"
	"milepost/flow/understand"
	"milepost/flow/words"
)

// lowVolts is the least supply voltage for a write: common practice, no
// source; the maker's figure wins.
const lowVolts = 13.0

func voltsText(v float64) string {
	if v == 0 {
		return ""
	}
	return unit.Figure(v, 1)
}

func takeVolts(t *turn, in *input) bool {
	v, ok, ask := understand.Voltage(in.Text)
	if !ok {
		if ask != nil {
			t.askBack(ask)
			return true
		}
		if a := yesNo(in); a == "no" || a == "none" || a == "not_sure" {
			t.record(&AnswerFact{Question: QVolts, Value: "none"})
			t.understood("before.supply.waits", nil)
			return true
		}
		return false
	}
	if !voltsFine(v.Value, in.Text) {
		t.askVolts(v.Value)
		return true
	}
	f := t.s.Checks["before"]
	f.Volts = v.Value
	t.record(&f)
	t.record(&AnswerFact{Question: QVolts, Number: v.Value, Unit: "V"})
	in.take(v.Start, v.End)
	return true
}

// voltsFine says whether a voltage will do for a write. "maker says 12.4" lets
// the maker's figure win.
func voltsFine(v float64, text string) bool {
	return v >= lowVolts || strings.Contains(strings.ToLower(text), "maker")
}

// askVolts asks again about a voltage too low for a write.
func (t *turn) askVolts(v float64) {
	t.ask(QLine, strconv.Itoa(lineSupply), "before.volts.low", words.Args{"Volts": unit.Figure(v, 1)}, "yes", "no")
}
