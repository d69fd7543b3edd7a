package bottest

import (
	"bytes"
	"encoding/json"
	"reflect"
	"slices"
	"strings"
	"testing"

	"milepost/flow"
)

// Check holds a play against its script, or with update rewrites the script's
// expectations to what was seen: the diff is what is reviewed.
func (s *Script) Check(t testing.TB, p *ScriptPlay, update bool) {
	t.Helper()
	s.count(t, p)
	changed := false
	for i, in := range s.Inputs {
		turn := &p.Turns[i]
		if update {
			said, want := turn.Said, turn.telling(in.Want)
			changed = changed || !slices.Equal(said, in.Said) || !slices.Equal(want, in.Want)
			in.Said, in.Want = said, want
			continue
		}
		if !slices.Equal(turn.Said, in.Said) {
			t.Errorf("input %d: %s\nsaid\n< %s\nwant\n< %s", in.N, in.raw[0], strings.Join(turn.Said, "\n< "), strings.Join(in.Said, "\n< "))
		}
		if missing := turn.missing(in.Want); missing != "" {
			t.Errorf("input %d: %s\nnot in the log, or not in this place: %s\nentries\n  %s", in.N, in.raw[0], missing, strings.Join(turn.lines(), "\n  "))
		}
	}
	if changed {
		if err := s.write(); err != nil {
			t.Fatal(err)
		}
	}
}

func (t *ScriptTurn) lines() []string {
	var ls []string
	for _, e := range t.Entries {
		ls = append(ls, flow.Line(e))
	}
	return ls
}

// missing gives the first wanted entry that is not there in order, "" if all
// are.
func (t *ScriptTurn) missing(want []string) string {
	ls := t.lines()
	for _, w := range want {
		i := slices.IndexFunc(ls, func(l string) bool { return begins(l, w) })
		if i < 0 {
			return w
		}
		ls = ls[i+1:]
	}
	return ""
}

func begins(line, want string) bool { return strings.HasPrefix(line+" ", want+" ") }

// quietKinds are entries that a script shows only where it names them.
var quietKinds = []flow.Kind{flow.KindHeard, flow.KindSaid, flow.KindAsked, flow.KindPhase, flow.KindAnswer, flow.KindCaution, flow.KindErrors,
	flow.KindFile, flow.KindVehicle, flow.KindWrite, flow.KindDrive, flow.KindPerson}

// telling gives the entries that a script shows, and those it named already.
func (t *ScriptTurn) telling(named []string) []string {
	var ls []string
	for _, e := range t.Entries {
		l := flow.Line(e)
		if i := slices.IndexFunc(named, func(w string) bool { return begins(l, w) }); i >= 0 || !slices.Contains(quietKinds, e.Kind) {
			ls = append(ls, l)
		}
	}
	return ls
}

// count holds the numbers of inputs.
func (s *Script) count(t testing.TB, p *ScriptPlay) {
	t.Helper()
	target, done := p.Counts()
	for _, c := range s.Counts {
		n := target
		if c.What == "done" {
			n = done
		}
		if n == 0 || n > c.Most {
			t.Errorf("%s after %d inputs, want at most %d", c.What, n, c.Most)
		}
	}
}

// Counts gives the number of inputs up to the first target, and from there to
// the decision that it is done; 0 where it did not come to that.
func (p *ScriptPlay) Counts() (target, done int) {
	for i := range p.Turns {
		for _, e := range p.Turns[i].Entries {
			switch f := e.Fact.(type) {
			case *flow.TargetFact:
				if target == 0 {
					target = i + 1
				}
			case *flow.DecisionFact:
				if f.Do == "done" && done == 0 {
					done = i + 1 - target
				}
			}
		}
	}
	return target, done
}

// checkLog checks a job's entries: each reads back as it was written, every
// prefix adds up, in order.
func checkLog(t testing.TB, job string, log []flow.Entry) {
	t.Helper()
	for i := range log {
		e := log[i]
		raw, err := flow.Encode(&e)
		if err != nil {
			t.Fatalf("entry %s/%d: %v", job, e.Seq, err)
		}
		again := e
		again.Fact = nil
		if err := flow.Decode(&again, raw); err != nil {
			t.Fatalf("entry %s/%d: %v", job, e.Seq, err)
		}
		if _, unknown := again.Fact.(*flow.Unknown); unknown {
			t.Errorf("entry %s/%d: version %d of %s is not known", job, e.Seq, e.V, e.Kind)
		}
		raw2, err := flow.Encode(&again)
		if err != nil || !bytes.Equal(raw, raw2) {
			t.Errorf("entry %s/%d does not read back: %s, then %s, %v", job, e.Seq, raw, raw2, err)
		}
		s := flow.Fold("", job, log[:i+1])
		if s.Seq != int64(i+1) || e.Seq != s.Seq {
			t.Errorf("entry %d of job %s has number %d, the prefix adds up to %d", i+1, job, e.Seq, s.Seq)
		}
	}
}

// SameState says in which field two states differ, "" where in none. None and
// an empty list or map are the same.
func SameState(a, b *flow.State) string {
	va, vb := reflect.ValueOf(*a), reflect.ValueOf(*b)
	for i := range va.NumField() {
		if !same(va.Field(i), vb.Field(i)) {
			name := va.Type().Field(i).Name
			if !va.Type().Field(i).IsExported() {
				return name
			}
			ja, _ := json.Marshal(va.Field(i).Interface())
			jb, _ := json.Marshal(vb.Field(i).Interface())
			return name + ": " + string(ja) + " and " + string(jb)
		}
	}
	return ""
}

func same(a, b reflect.Value) bool {
	switch a.Kind() {
	case reflect.Slice:
		if a.Len() != b.Len() {
			return false
		}
		for i := range a.Len() {
			if !same(a.Index(i), b.Index(i)) {
				return false
			}
		}
		return true
	case reflect.Map:
		if a.Len() != b.Len() {
			return false
		}
		for _, k := range a.MapKeys() {
			if v := b.MapIndex(k); !v.IsValid() || !same(a.MapIndex(k), v) {
				return false
			}
		}
		return true
	case reflect.Pointer:
		if a.IsNil() || b.IsNil() {
			return a.IsNil() == b.IsNil()
		}
		return same(a.Elem(), b.Elem())
	case reflect.Struct:
		for i := range a.NumField() {
			if !same(a.Field(i), b.Field(i)) {
				return false
			}
		}
		return true
	}
	return a.Equal(b)
}
