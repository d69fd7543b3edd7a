package bot

import (
	"slices"
	"strings"

	"milepost/bot/journal"
	"milepost/flow"
)

// tracks picks the raw track files.
func tracks([]flow.Entry, *flow.State) func(*flow.Entry, flow.Item) bool {
	return func(e *flow.Entry, _ flow.Item) bool {
		f, ok := e.Fact.(*flow.FileFact)
		return ok && f.Use == "track"
	}
}

// choose splits a job's items into those that go and those that stay. gone are
// the hashes of files that go.
func (er *eraser) choose(entries []flow.Entry, state *flow.State) (refs []ItemRef, left []flow.Entry, gone []string) {
	pick := er.pick(entries, state)
	needed := wayBack(entries, state)
	left = make([]flow.Entry, len(entries))
	for i := range entries {
		left[i] = entries[i]
		left[i].Items = nil
		for _, it := range entries[i].Items {
			ref := ItemRef{Job: state.Job, Seq: entries[i].Seq, Label: it.Label}
			switch {
			case !pick(&entries[i], it):
				left[i].Items = append(left[i].Items, it)
			case needed(&entries[i]):
				left[i].Items = append(left[i].Items, it)
				er.done.Kept = append(er.done.Kept, journal.ItemID(ref).String())
			default:
				refs = append(refs, ref)
				if it.Label == flow.ItemSHA256 {
					gone = append(gone, it.Content)
				}
			}
		}
	}
	return refs, left, gone
}

// wayBack tells the entries whose items a running job needs to recover: its
// backups, and the files they are.
func wayBack(entries []flow.Entry, state *flow.State) func(*flow.Entry) bool {
	needed := map[string]bool{}
	if state.Phase != flow.PhaseClosed {
		for i := range entries {
			if entries[i].Kind == flow.KindBackup {
				needed[entries[i].Item(flow.ItemSHA256)] = true
			}
		}
	}
	return func(e *flow.Entry) bool {
		switch e.Kind {
		case flow.KindBackup:
			return state.Phase != flow.PhaseClosed
		case flow.KindFile:
			sha := e.Item(flow.ItemSHA256)
			return sha != "" && needed[sha]
		}
		return false
	}
}

// ofPerson picks a person's traces in a job: all that he said, gave and is
// called, what was said to him and may repeat it, and his name in others' words.
func (er *eraser) ofPerson(entries []flow.Entry, state *flow.State) func(*flow.Entry, flow.Item) bool {
	his := map[flow.Who]bool{}
	var called []string
	for i := range entries {
		f, ok := entries[i].Fact.(*flow.PersonFact)
		if !ok || entries[i].Item(flow.ItemIdentity) != string(er.id) {
			continue
		}
		his[f.Who] = true
		if n := strings.ToLower(entries[i].Item(flow.ItemName)); len(n) > 2 && !slices.Contains(called, n) {
			called = append(called, n)
		}
	}
	called = append(called, strings.ToLower(string(er.id)))
	return func(e *flow.Entry, it flow.Item) bool {
		if len(his) > 0 {
			switch f := e.Fact.(type) {
			case *flow.PersonFact:
				return his[f.Who]
			case *flow.SaidFact:
				if len(f.To) == 0 || slices.ContainsFunc(f.To, func(w flow.Who) bool { return his[w] }) {
					return true
				}
			}
			if his[e.Who] {
				return true
			}
		}
		text := strings.ToLower(it.Content)
		return slices.ContainsFunc(called, func(n string) bool { return strings.Contains(text, n) })
	}
}
