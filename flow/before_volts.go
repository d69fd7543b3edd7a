package flow

import (
	"strconv"
	"strings"

	"milepost/calib/unit"
	"milepost/flow/understand"
	"milepost/flow/words"
)

// lowVolts is the least supply voltage for a write: common practice, no
// source; the maker's figure wins. A 24 V vehicle has two batteries in a row.
const lowVolts = 13.0

// heavyVolts is where the supply of a 24 V vehicle begins: no 12 V one shows it.
const heavyVolts = 18.0

func voltsText(v float64) string {
	if v == 0 {
		return ""
	}
	return unit.Figure(v, 1)
}

func takeVolts(t *turn, in *input) bool {
	if t.wrongSupply(in.Text) {
		return true
	}
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
	return v >= leastVolts(v) || strings.Contains(strings.ToLower(text), "maker")
}

// leastVolts is the least voltage for a write, of a 24 V vehicle where the
// voltage is that of one.
func leastVolts(v float64) float64 {
	if v > heavyVolts {
		return 2 * lowVolts
	}
	return lowVolts
}

// lowArgs are what is said of a voltage too low for a write.
func lowArgs(v float64) words.Args {
	return words.Args{"Volts": unit.Figure(v, 1), "Least": unit.Figure(leastVolts(v), 0)}
}

// wrongSupply asks again where a message tells of what is no supply for a write.
// "No, only a charger" is a plain no.
func (t *turn) wrongSupply(text string) bool {
	w, wrong := understand.WrongSupply(text)
	if a, ok := understand.YesNo(text); ok && a.Value == understand.No {
		_, volts, _ := understand.Voltage(text)
		wrong = wrong && volts
	}
	if wrong {
		t.hint("before.supply.wrong", words.Args{"Said": w.Echo})
	}
	return wrong
}

// askVolts asks again about a voltage too low for a write.
func (t *turn) askVolts(v float64) {
	t.ask(QLine, strconv.Itoa(lineSupply), "before.volts.low", lowArgs(v), "yes", "no")
}
