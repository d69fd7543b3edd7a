package flow

import "testing"

// "Never changed" is no "changed", one of two answers is not taken for both, and
// a "but" behind a yes is heard.
func TestOnlyModuleNeverChanged(t *testing.T) {
	for text, want := range map[string]string{
		"yes": "yes_both", "yes, both": "yes_both", "only one, never changed": "yes_both", "only this one and nobody changed it": "yes_both",
		"yes, never changed": "yes_both", "not changed, only this module": "yes_both", "just the engine, and it hasn't been changed": "yes_both",
		"don't know": "yes_both", "changed before": "changed", "changed": "changed", "someone changed it": "changed", "no, it was changed before": "changed",
		"no it was changed before": "changed", "yes but changed before": "changed", "yes, one module, but someone changed it": "changed",
		"several": "several", "more than one": "several", "no, several modules": "several", "engine and brake": "several",
		// one half of it, or none
		"never changed": "", "unchanged": "", "hasn't been changed": "", "nobody changed it": "", "only one": "", "not several": "",
		"several, and changed before": "", "no": "", "no, never changed": "", "I changed the tyres": "",
		// the value is "tyre size" in many tools
		"yes, but the tyre size was changed before": "", "yes, only here, but the wheel circumference was changed": "", "never changed, But the tyre size was changed": "",
		"yes, but I changed the tyres": "yes_both", "yes, the tyre size was never changed": "yes_both",
		"Not several But someone changed it": "changed", "never several And changed before": "changed",
	} {
		p := factory(t).lines("265/70R17 115T", "2446 mm").asks(QOnly).lines(text)
		if got := p.s.Value(QOnly); got != want {
			t.Errorf("%q is %q, want %q", text, got, want)
		}
		if want == "" {
			p.asks(QOnly)
		}
	}
	factory(t).lines("265/70R17 115T", "2446 mm", "never changed").said("in this module only?").lines("yes").asks(QSteps)
	factory(t).lines("265/70R17 115T", "2446 mm", "yes, but the tyre size was changed before").said("never changed before?").lines("yes, both").asks(QSteps)
	factory(t).lines("265/70R17 115T", "2446 mm", "only one").said("never changed before?").lines("changed before").asks(QChanged)
}

// Modules that were given with their values beforehand are named in the question,
// and what does not fit is said with it.
func TestModulesGivenBeforehand(t *testing.T) {
	p := factory(t).lines("245/65R16 107T, engine 2210 mm, brake 2010 mm").asks(QOnly).
		said("brake: 2010 mm is 0.8", "They do not agree", "engine 2210 mm, brake 2010 mm: these modules only")
	p.lines("brake 2210 mm").asks(QSteps)
	if p.s.disagree() || p.s.Module("brake").Question != "" {
		t.Errorf("%+v", p.s.Modules)
	}
	// 10⁶/460 is 2173.9 mm, 1.7 % from 2210; 10⁶/452 is 2212.4.
	factory(t).lines("245/65R16 107T, engine 2210 mm, brake 460 rev/km").asks(QOnly).said("They do not agree")
	q := factory(t).lines("245/65R16 107T, engine 2210 mm, brake 452 rev/km").asks(QOnly)
	for _, r := range q.last {
		t.Log(r.Text)
	}
	if q.s.disagree() {
		t.Error("values a step apart are said to disagree")
	}
	q.lines("yes").asks(QSteps)
}
