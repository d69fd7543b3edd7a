package flow

import (
	"regexp"
	"strconv"
	"strings"

	"milepost/flow/understand"
	"milepost/flow/words"
)

// Anything else that someone changes in the same step is a deviation: logged,
// and to be undone or made a change of its own.

var otherSettingWords = regexp.MustCompile(`(?i)\b(?:i |we )?(?:also|too|as well)\b.*\b(?:changed|change|set|wrote|ticked|enabled|disabled|switched|turned|reset|coded|adjusted)\b|\b(?:changed|set|wrote|ticked|enabled|disabled|switched|reset|coded|adjusted)\b.*\b(?:too|as well|also)\b|\bchanged another\b`)

// otherSetting notes another setting that was changed in the same step. What
// the message says beside it is taken as the tool's word or the read-back.
func (t *turn) otherSetting(in *input) bool {
	if in.Choice != "" {
		return false
	}
	at := otherSettingWords.FindStringIndex(in.Text)
	if at == nil {
		return false
	}
	head, own, tail := in.Text[:at[0]], in.Text[at[0]:], ""
	if i := strings.LastIndexAny(in.Text[at[1]:], ",;"); i >= 0 {
		tail = in.Text[at[1]+i:]
	}
	t.record(&DeviationFact{What: "other_setting", Module: t.s.Writing.Module}, Item{ItemOther, strings.TrimSpace(own)})
	in.Text = ""
	t.besideOther(head, tail)
	return true
}

// besideOther takes what stands before and behind the words on another setting:
// a read-back only before them, since a figure behind may be the setting's.
func (t *turn) besideOther(head, tail string) {
	w := t.s.Writing
	m := t.s.Module(w.Module)
	said, ask := understand.ToolSays(head)
	if v, ok := t.typedValue(head, m); ok && t.likely(v) && (ask != nil || said.Value.Word == understand.Took) {
		t.typedAfterWrite(&input{Text: head}, m, v, ask == nil)
		return
	}
	if ask != nil {
		said, ask = understand.ToolSays(tail)
	}
	if ask == nil && said.Value.Word != w.Word {
		t.toolSaid(said.Value.Word, said.Value.Reason)
	}
}

// otherSettingQuestion asks what becomes of it.
func otherSettingQuestion() question {
	return question{ID: QOther, When: (*State).otherSettingOpen, Done: func(*State) bool { return false },
		Ask: askOther, Take: takeOther, Bare: true, Why: "why.one-thing", Hint: "hint.other-setting"}
}

func (s *State) otherSettingOpen() bool { return s.otherOpen() != nil }

// otherOpen is the other setting of which nobody has said what becomes, nil if
// there is none.
func (s *State) otherOpen() *DeviationFact {
	for _, d := range s.openDeviations() {
		if d.What == "other_setting" {
			return &d
		}
	}
	return nil
}

// otherAbout names the other setting that is open: how many there were.
func (s *State) otherAbout() string {
	n := 0
	for _, d := range s.Deviations {
		if d.What == "other_setting" && !d.Undone && d.Own == 0 {
			n++
		}
	}
	return strconv.Itoa(n)
}

// ownWanted says whether the open one is to be a change of its own, so that its
// figures are asked for.
func (s *State) ownWanted() bool {
	return s.Answers[Key{QOther, s.otherAbout()}].Value == "own_change"
}

func askOther(t *turn) {
	args := words.Args{"Words": short(t.s.OtherWords)}
	if t.s.ownWanted() {
		t.ask(QOther, "own."+t.s.otherAbout(), "change.own", args, "undone")
		return
	}
	t.ask(QOther, t.s.otherAbout(), "change.other-setting", args, "undone", "own_change")
}

func takeOther(t *turn, in *input) bool {
	text := strings.ToLower(in.Text)
	switch {
	case in.Choice == "undone" || hasWord(text, "undone", "undid", "put back", "set back", "changed back", "back as it was", "reversed"):
		d := *t.s.otherOpen()
		d.Undone = true
		t.record(&d)
		t.understood("echo.undone", nil)
	case t.s.ownWanted():
		if !t.takeOwn(in.Text) {
			t.hint("hint.own-change", words.Args{"Said": short(in.Text)})
			return true
		}
	case in.Choice == "own_change" || hasWord(text, "own change", "change of its own"):
		t.record(&AnswerFact{Question: QOther, About: t.s.otherAbout(), Value: "own_change"})
		if f := figuresOf(t.s.OtherWords); f.both() { // it was told whole at once
			t.recordOther(f, t.s.OtherWords)
		}
	default:
		return false
	}
	in.Text = ""
	return true
}

// takeOwn takes the other setting with its figures. They may be not known, and
// a setting may have none ("was off, is on"); a bare figure is no answer.
func (t *turn) takeOwn(text string) bool {
	f := figuresOf(t.s.OtherWords).with(figuresOf(text))
	_, ask := understand.ToolSays(text)
	a, ok := understand.YesNo(text)
	unknown := ok && a.Value == understand.NotSure || hasWord(strings.ToLower(text), "not known", "unknown")
	told := ask != nil && len(strings.Fields(text)) >= 3 && letters.MatchString(text)
	if figuresOf(text) == (ownFigures{}) && !unknown && !told {
		return false
	}
	if !f.both() && !unknown && !told {
		return false
	}
	if t.s.OtherWords != "" && (unknown || !letters.MatchString(text)) {
		text = t.s.OtherWords + ", " + text
	}
	t.recordOther(f, text)
	return true
}

var letters = regexp.MustCompile(`\pL{3}`)

// ownFigures are what is told of another setting; zero where it is not told.
type ownFigures struct{ Before, After, Reads Value }

func (f ownFigures) both() bool { return !f.Before.Zero() && !f.After.Zero() }

// with gives the figures with those of a later text in front of them.
func (f ownFigures) with(g ownFigures) ownFigures {
	for _, v := range []struct{ to, from *Value }{{&f.Before, &g.Before}, {&f.After, &g.After}, {&f.Reads, &g.Reads}} {
		if !v.from.Zero() {
			*v.to = *v.from
		}
	}
	return f
}

var (
	ownPair   = regexp.MustCompile(`(?i)(\d[\d,]*(?:\.\d+)?)\s*(?:to|->|→|=>)\s*(\d[\d,]*(?:\.\d+)?)`)
	ownBefore = regexp.MustCompile(`(?i)\b(?:was|from|before)\b[ :]*(\d[\d,]*(?:\.\d+)?)`)
	ownAfter  = regexp.MustCompile(`(?i)\b(?:to|is|now|after)\b[ :]*(\d[\d,]*(?:\.\d+)?)`)
	ownReads  = regexp.MustCompile(`(?i)\b(?:reads?|shows?)\b(?: back)?[ :]*(\d[\d,]*(?:\.\d+)?)`)
)

// figuresOf reads "3.73 to 4.10, reads 4.10", "was 3, is 4".
func figuresOf(text string) (f ownFigures) {
	at := func(re *regexp.Regexp, group int) Value {
		m := re.FindStringSubmatchIndex(text)
		if m == nil {
			return Value{}
		}
		start, end := m[2*group], m[2*group+1]
		if end < len(text) && (text[end] == '/' || letter(text[end])) {
			return Value{} // a size, a code: no figure
		}
		v, err := strconv.ParseFloat(strings.ReplaceAll(text[start:end], ",", ""), 64)
		if err != nil {
			return Value{}
		}
		return Number(v)
	}
	f.Before, f.After = at(ownPair, 1), at(ownPair, 2)
	if !f.both() {
		f.Before, f.After = at(ownBefore, 1), at(ownAfter, 1)
	}
	f.Reads = at(ownReads, 1)
	return f
}

func letter(b byte) bool { return b|0x20 >= 'a' && b|0x20 <= 'z' }

// recordOther records the other setting as a change of its own, without
// disturbing the write that is under way.
func (t *turn) recordOther(f ownFigures, text string) {
	d := *t.s.otherOpen()
	c := &ChangeFact{Number: len(t.s.Changes) + 1, Setting: otherName, Module: d.Module, Before: f.Before, After: f.After, ReadBack: f.Reads,
		Took: f.Reads.Zero() || f.After.Zero() || sameStored(nil, f.Reads, f.After), Why: "own"}
	w := t.s.Writing
	t.record(c, Item{ItemOther, strings.TrimSpace(text)})
	d.Own = c.Number
	t.record(&d)
	if w != nil {
		again := *w
		again.Change = len(t.s.Changes) + 1
		t.record(&again)
	}
	t.understood("echo.own-change", words.Args{"Change": c.Number})
}
