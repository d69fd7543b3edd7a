package flow

import (
	"slices"
	"strings"

	"milepost/calib/tyre"
	"milepost/flow/understand"
	"milepost/flow/words"
)

// takeChosen takes a value that is a choice from a list of sizes: the one that
// is chosen now, which is asked for where only the list, or that it is one, was
// said.
func (t *turn) takeChosen(in *input) bool {
	zs, _ := understand.Sizes(in.Text)
	_, ask := understand.StoredValues(in.Text, t.context())
	asked := t.s.Asked != nil && t.s.Asked.Question == QStored && t.s.Asked.About == aboutList
	z, _ := t.s.size("factory")
	switch {
	case len(zs) == 1 && (asked || same(zs[0].Value.Size.Text, z.Text) || same(zs[0].Value.Size.Text, bareSize(z))):
		t.recordStored(understand.Stored{Label: zs[0].Value.Size.Text, Quantity: understand.SizeList}, "factory", false)
		in.take(zs[0].Start, zs[0].End)
		t.listOffered()
		return true
	case ask == nil || ask.Code != understand.AskListChosen:
		return false
	}
	args := words.Args{"Sizes": ""}
	if len(zs) > 1 {
		var labels []string
		for _, m := range zs {
			labels = append(labels, m.Value.Size.Text)
		}
		t.record(&AnswerFact{Question: QList, About: aboutList, Value: strings.Join(labels, ", ")})
		args["Sizes"] = joinAnd(labels)
	}
	t.ask(QStored, aboutList, "factory.list.chosen", args)
	return true
}

// aboutList marks what was asked and said of a list of sizes before its chosen
// entry was known.
const aboutList = "list"

// bareSize is a size's text without load index and speed symbol.
func bareSize(z tyre.Size) string {
	return strings.TrimSpace(strings.Replace(z.Text, z.LoadIndex+z.SpeedSymbol, "", 1))
}

// listOffered records the list that was named before the entry chosen of it.
func (t *turn) listOffered() {
	said := t.s.Answers[Key{QList, aboutList}].Value
	if said == "" {
		return
	}
	f := restate(t.s.Main())
	for _, label := range strings.Split(said, ", ") {
		f.List = append(f.List, ListEntry{Label: label})
	}
	f.withChosen()
	t.record(f)
}

// takeList takes the sizes a tool offers, with the circumference where it is
// read off beside them.
func takeList(t *turn, in *input) bool {
	ms, ask := understand.Sizes(in.Text)
	if len(ms) < 2 {
		if ask != nil && len(ms) == 0 {
			t.askBack(ask)
			return true
		}
		return false
	}
	f := restate(t.s.Main())
	for i, m := range ms {
		end := len(in.Text)
		if i+1 < len(ms) {
			end = ms[i+1].Start
		}
		e := ListEntry{Label: m.Value.Text}
		if vs, _ := understand.StoredValues(in.Text[m.End:end], understand.Context{}); len(vs) == 1 && vs[0].Value.Value > 1000 {
			e.CircumferenceMM = vs[0].Value.Value
		}
		f.List = append(f.List, e)
	}
	f.withChosen()
	t.record(f)
	in.Text = ""
	return true
}

// withChosen puts the stored entry into a list that was typed without it.
func (f *StoredFact) withChosen() {
	if !slices.ContainsFunc(f.List, func(e ListEntry) bool { return same(e.Label, f.Value.Label) }) {
		f.List = append([]ListEntry{{Label: f.Value.Label}}, f.List...)
	}
}
