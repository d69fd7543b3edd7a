package flow

import (
	"regexp"
	"strings"

	"milepost/flow/words"
)

// Anything else that someone changes in the same step is a deviation: logged,
// and to be undone or made a change of its own.

var otherSettingWords = regexp.MustCompile(`(?i)\b(?:i |we )?(?:also|too|as well)\b.*\b(?:changed|change|set|wrote|ticked|enabled|disabled|switched|turned|reset|coded|adjusted)\b|\b(?:changed|set|wrote|ticked|enabled|disabled|switched|reset|coded|adjusted)\b.*\b(?:too|as well|also)\b|\bchanged another\b`)

// otherSetting notes another setting that was changed in the same step.
func (t *turn) otherSetting(in *input) bool {
	if in.Choice != "" || !otherSettingWords.MatchString(in.Text) {
		return false
	}
	t.record(&DeviationFact{What: "other_setting", Module: t.s.Writing.Module}, Item{ItemOther, in.Text})
	in.Text = ""
	return true
}

// otherSettingQuestion asks what becomes of it.
func otherSettingQuestion() question {
	return question{ID: QOther, When: (*State).otherSettingOpen, Done: func(*State) bool { return false },
		Ask:  func(t *turn) { t.ask(QOther, "", "change.other-setting", nil, "undone", "own_change") },
		Take: takeOther, Why: "why.one-thing", Hint: "hint.other-setting"}
}

func (s *State) otherSettingOpen() bool {
	for _, d := range s.openDeviations() {
		if d.What == "other_setting" {
			return true
		}
	}
	return false
}

func takeOther(t *turn, in *input) bool {
	text := strings.ToLower(in.Text)
	d := DeviationFact{What: "other_setting", Undone: true}
	for _, o := range t.s.openDeviations() {
		if o.What == "other_setting" {
			d.Module, d.Value = o.Module, o.Value
		}
	}
	switch {
	case in.Choice == "undone" || hasWord(text, "undone", "undid", "put back", "set back", "changed back", "back as it was", "reversed"):
		t.record(&d)
		t.understood("echo.undone", nil)
	case in.Choice == "own_change":
		t.hint("change.own", nil)
		return true
	case figurePattern.MatchString(in.Text) || len(strings.Fields(text)) >= 3:
		t.record(&d)
		t.record(&NoteFact{}, Item{ItemText, in.Text})
		c := &ChangeFact{Number: t.s.Writing.Change, Setting: "other", Module: t.s.Writing.Module, Why: "own", Took: true}
		t.recordOther(c, in.Text)
	default:
		return false
	}
	in.Text = ""
	return true
}

// recordOther records the other setting as a change of its own, without
// disturbing the write that is under way.
func (t *turn) recordOther(c *ChangeFact, text string) {
	w := *t.s.Writing
	t.record(c, Item{ItemOther, text})
	w.Change = len(t.s.Changes) + 1
	t.record(&w)
	t.understood("echo.own-change", words.Args{"Change": c.Number})
}
