package flow

import (
	"math"
	"regexp"
	"strings"

	"milepost/calib"
	"milepost/calib/unit"
	"milepost/flow/understand"
	"milepost/flow/words"
)

// Where the value stands, and whether it is still the factory's: two questions
// in one, so that an answer to one of them is not taken for both.

func askOnly(t *turn) {
	t.sayFits()
	if m := t.s.Main(); t.s.Has(QEntry) && m != nil && m.Question == "entry_mismatch" {
		t.understood("echo.kept-entry", nil)
	}
	if len(t.s.Modules) < 2 {
		t.ask(QOnly, "", "factory.only", nil, "yes_both", "several", "changed")
		return
	}
	var all []string
	for i := range t.s.Modules {
		m := &t.s.Modules[i]
		all = append(all, strings.TrimSpace(t.moduleWord(m.Name)+" "+withUnit(m, m.Factory())))
	}
	t.sayOdd()
	t.ask(QOnly, "", "factory.only.modules", words.Args{"Modules": strings.Join(all, ", ")}, "yes_both", "several", "changed")
}

func takeOnly(t *turn, in *input) bool {
	if in.Choice == "" {
		a, ok := understand.YesNo(in.Text)
		yes, notSure := ok && a.Value == understand.Yes, ok && a.Value == understand.NotSure
		rest := in.Text
		if ok && a.Value == understand.No {
			rest = in.Text[a.End:]
		}
		changed, several := saidChanged(rest), t.saidSeveral(rest)
		switch {
		case several == claimSaid && changed != claimSaid:
			in.Choice = "several"
		case several == claimSaid: // and changed before: each is a question of its own
			return false
		case changed == claimSaid:
			in.Choice = "changed"
		case changed == claimUnclear:
			t.hint("factory.only.never", nil)
			return true
		case yes, changed == claimDenied && several == claimDenied:
			in.Choice = "yes_both"
		case notSure:
			in.Choice = "yes_both" // as far as anyone can see
		case changed == claimDenied:
			t.hint("factory.only.module", nil)
			return true
		case several == claimDenied:
			t.hint("factory.only.never", nil)
			return true
		default:
			return false
		}
		if ok && in.Choice == "yes_both" {
			in.take(a.Start, a.End)
		}
	}
	t.record(&AnswerFact{Question: QOnly, Value: in.Choice})
	if in.Choice == "changed" {
		t.foundNotFactory()
	}
	if in.Choice == "several" && len(understand.Modules(in.Text)) > 0 {
		takeModules(t, in)
	}
	return true
}

// claim is what a text says of something.
type claim int

const (
	claimNone claim = iota
	claimSaid
	claimDenied
	claimUnclear // of the value, or of the tyres
)

var (
	clausePattern = regexp.MustCompile(`(?i)[,.;!]|\b(?:but|and|though|although|only that)\b`)
	wheelPattern  = regexp.MustCompile(`(?i)\b(?:tyres?|tires?|wheels?|rims?|size)\b`)
	// storedPattern is what may be the tyre's or the stored value: many tools call
	// the value "tyre size".
	storedPattern    = regexp.MustCompile(`(?i)\b(?:size|circumference|perimeter|diameter|radius|value|setting|figure|number)\b`)
	changedPattern   = regexp.MustCompile(`(?i)\b(?:changed?|changes|altered|modified|tuned|reprogrammed|recoded|re-?flashed|someone|somebody|previous owner|last owner|owner before|been set)\b`)
	unchangedPattern = regexp.MustCompile(`(?i)\b(?:unchanged|untouched|unaltered|unmodified|never|original|stock|as new|nobody|no one|no-one)\b`)
	notPattern       = regexp.MustCompile(`(?i)\b(?:no|not|never|nobody|no one|no-one|none|nothing|without)\b|n['’]t\b|\b(?:hasnt|wasnt|isnt|havent|arent|dont|didnt|doesnt)\b`)
	severalPattern   = regexp.MustCompile(`(?i)\b(?:several|more than one|multiple|other modules?|also in|elsewhere|others)\b`)
	onlyPattern      = regexp.MustCompile(`(?i)\b(?:only|just|single|one module|this one|this module|nowhere else)\b`)
)

// saidChanged says whether a text tells that the value was changed before, or
// that it was not. A plain "changed" anywhere outweighs a denial beside it.
func saidChanged(text string) claim {
	c := claimNone
	for _, part := range clausePattern.Split(text, -1) {
		switch {
		case wheelPattern.MatchString(part) && storedPattern.MatchString(part) && changedPattern.MatchString(part) && !notPattern.MatchString(part):
			c = claimUnclear
		case wheelPattern.MatchString(part):
		case changedPattern.MatchString(part) && !notPattern.MatchString(part):
			return claimSaid
		case c == claimNone && (changedPattern.MatchString(part) || unchangedPattern.MatchString(part)):
			c = claimDenied
		}
	}
	return c
}

// saidSeveral says whether a text tells of several modules, or of only one.
func (t *turn) saidSeveral(text string) claim {
	c := claimNone
	for _, part := range clausePattern.Split(text, -1) {
		ms := understand.Modules(part)
		known := len(ms) > 0 && !strings.ContainsAny(part, "0123456789")
		for _, m := range ms {
			known = known && (t.s.Module(m.Value) != nil || len(ms) == 1 && len(t.s.Modules) < 2)
		}
		only := onlyPattern.MatchString(part)
		switch {
		case severalPattern.MatchString(part) && !notPattern.MatchString(part):
			return claimSaid
		case len(ms) > 0 && !(known && only):
			return claimSaid
		case only, severalPattern.MatchString(part):
			c = claimDenied
		}
	}
	return c
}

// sayOdd tells of modules whose values do not agree, and of one whose value
// does not belong to the placard size.
func (t *turn) sayOdd() {
	z, ok := t.s.size("factory")
	for i := range t.s.Modules {
		m := &t.s.Modules[i]
		if i == 0 || m.Question == "" || !ok { // the main one is asked about
			continue
		}
		e, err := calib.EntryCheck(calib.Kind(m.Kind), m.Original.Num, calib.SizeText(z.Text))
		if err != nil {
			continue
		}
		t.understood("factory.module.odd", words.Args{"Module": t.moduleWord(m.Name), "Value": withUnit(m, m.Original),
			"Factor": unit.Figure(e.Factor, 3), "Size": t.s.Sizes["factory"].Text})
	}
	if t.s.disagree() {
		t.understood("factory.disagree", nil)
	}
}

// sameCircumference is how far the circumferences of two modules may lie apart
// before they are said to disagree, beside what their steps make: no source.
const sameCircumference = 0.005

// disagree says whether modules hold different values: of the same kind any
// difference, of two kinds as circumferences.
func (s *State) disagree() bool {
	for i := range s.Modules {
		for j := range i {
			a, b := &s.Modules[i], &s.Modules[j]
			switch {
			case a.Kind == b.Kind:
				if a.Original != b.Original {
					return true
				}
			case kindsApart(a, b):
				return true
			}
		}
	}
	return false
}

// kindsApart compares the values of two modules of different kinds as circumferences.
func kindsApart(a, b *Module) bool {
	qa, okA := calib.QuantityOf(calib.Kind(a.Kind))
	qb, okB := calib.QuantityOf(calib.Kind(b.Kind))
	ca, fine := qa.Circumference(a.Factory().Num)
	cb, too := qb.Circumference(b.Factory().Num)
	if !okA || !okB || !fine || !too {
		return false
	}
	coarse := a.step()/a.Factory().Num/2 + b.step()/b.Factory().Num/2
	return math.Abs(math.Log(ca/cb)) > sameCircumference+coarse
}
