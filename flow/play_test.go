package flow

import (
	"encoding/json"
	"reflect"
	"strings"
	"testing"
	"time"
)

// play drives a job by typed lines, as a person would, and checks after every
// line that the state is what the entries add up to.
type play struct {
	t       *testing.T
	s       *State
	entries []Entry
	env     Env
	clock   time.Time
	who     Who
	role    Role
	id      int
	last    []Reply
}

var day = time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)

// playFrom starts from a state made of facts, in the order given.
func playFrom(t *testing.T, p Policy, facts ...Fact) *play {
	t.Helper()
	pl := &play{t: t, clock: day, who: "1", role: Technician, env: Env{Policy: p.Sound(), Program: "test"}}
	for i, f := range facts {
		e := Entry{Seq: int64(i + 1), At: day, Kind: f.Kind(), V: 1, Fact: f}
		switch f := f.(type) {
		case *PersonFact:
			e.Who, e.Items = f.Who, []Item{{ItemName, map[Who]string{"1": "Ann", "2": "Noor", "3": "Kim"}[f.Who]}}
		case *VehicleFact:
			e.Items = []Item{{ItemVehicle, "unit 14"}}
		case *BackupFact:
			e.Items = []Item{{ItemFile, "unit14.bin"}, {ItemSHA256, strings.Repeat("0", 56) + "a90251c4"}}
		}
		pl.entries = append(pl.entries, e)
	}
	pl.s = Fold("shop", "J1", pl.entries)
	return pl
}

// as changes who types next.
func (p *play) as(who Who, role Role) *play {
	p.who, p.role = who, role
	return p
}

// step sends a message and checks the fold.
func (p *play) step(m Message) []Reply {
	p.t.Helper()
	p.clock = p.clock.Add(30 * time.Second)
	p.env.Now = p.clock
	p.id++
	if !m.Wake {
		m.Who, m.Role = p.who, p.role
		if m.ID == "" {
			m.ID = string(rune('a'+p.id%26)) + time.Duration(p.id).String()
		}
	}
	before, err := json.Marshal(p.s.Answers[Key{QFirst, ""}])
	if err != nil {
		p.t.Fatal(err)
	}
	out, err := Step(p.s, m, p.env)
	if err != nil {
		p.t.Fatalf("%q: %v", m.Text, err)
	}
	if after, _ := json.Marshal(p.s.Answers[Key{QFirst, ""}]); string(before) != string(after) {
		p.t.Fatalf("%q changed the state it was given", m.Text)
	}
	p.entries = append(p.entries, out.Entries...)
	// Through the stored form and back, as a store would.
	var read []Entry
	for _, e := range p.entries {
		raw, err := Encode(&e)
		if err != nil {
			p.t.Fatal(err)
		}
		again := e
		again.Fact = nil
		if err := Decode(&again, raw); err != nil {
			p.t.Fatal(err)
		}
		read = append(read, again)
	}
	if folded := Fold("shop", "J1", read); !sameState(folded, out.State) {
		p.t.Fatalf("%q: the entries add up to another state\nfold %s\nlive %s", m.Text, dump(folded), dump(out.State))
	}
	p.s, p.last = out.State, out.Replies
	p.checkReplies(m, out)
	return out.Replies
}

func sameState(a, b *State) bool { return dump(a) == dump(b) }

// dump writes a state's fields one a line; an empty map or list is the same as
// none.
func dump(s *State) string {
	v := reflect.ValueOf(*s)
	var b strings.Builder
	for i := range v.NumField() {
		f := v.Type().Field(i)
		if !f.IsExported() {
			continue
		}
		if f.Type.Kind() == reflect.Map && f.Type.Key().Kind() == reflect.Struct {
			m := map[string]any{}
			for _, k := range v.Field(i).MapKeys() {
				key := k.Interface().(Key)
				m[string(key.Question)+"|"+key.About] = v.Field(i).MapIndex(k).Interface()
			}
			j, _ := json.Marshal(m)
			b.WriteString(f.Name + " " + string(j) + "\n")
			continue
		}
		j, _ := json.Marshal(v.Field(i).Interface())
		text := string(j)
		if text == "null" || text == "[]" || text == "{}" {
			text = "-"
		}
		b.WriteString(f.Name + " " + text + "\n")
	}
	return b.String()
}

// checkReplies holds for every message: every key is worded, nothing but
// checklists, help and reasons over 60 words, nothing asked while driving.
func (p *play) checkReplies(m Message, out Outcome) {
	p.t.Helper()
	cautions := 0
	for _, r := range out.Replies {
		key := ""
		for _, e := range out.Entries {
			if f, ok := e.Fact.(*SaidFact); ok && e.Seq == r.Seq {
				key = f.Key
			}
		}
		if strings.Contains(r.Text, "‹") || strings.Contains(r.Text, "<no value>") {
			p.t.Errorf("%q: %s: %q", m.Text, key, r.Text)
		}
		for _, c := range r.Choices {
			if strings.Contains(c.Label, "‹") {
				p.t.Errorf("%q: choice %q", m.Text, c.Label)
			}
		}
		long := strings.HasPrefix(key, "why.") || strings.HasPrefix(key, "help.") || key == "close.list" || key == "before.list" || key == "track.ask" || r.Kind == Card
		if n := len(strings.Fields(r.Text)); n > 60 && !long {
			p.t.Errorf("%q: %s has %d words: %s", m.Text, key, n, r.Text)
		}
		if len(r.Choices) > 5 {
			p.t.Errorf("%q: %s offers %d choices", m.Text, key, len(r.Choices))
		}
		if r.Kind == Caution {
			cautions++
		}
		if out.State.Driving() && r.Kind == Prompt {
			p.t.Errorf("%q: asked while driving: %s", m.Text, r.Text)
		}
	}
}

// lines types each line in turn, as whoever was set by as.
func (p *play) lines(lines ...string) *play {
	p.t.Helper()
	for _, l := range lines {
		rs := p.step(Message{Text: l})
		p.t.Logf("> %s", l)
		for _, r := range rs {
			p.t.Logf("< [%s %s] %s %s", r.Phase, r.Kind, r.Text, labels(r))
		}
	}
	return p
}

// tap taps a choice of the open question by its id.
func (p *play) tap(id string) *play {
	p.t.Helper()
	rs := p.step(Message{Tap: send(p.s.Job, p.s.Asks, id)})
	p.t.Logf("> (tap %s)", id)
	for _, r := range rs {
		p.t.Logf("< [%s %s] %s %s", r.Phase, r.Kind, r.Text, labels(r))
	}
	return p
}

func (p *play) wake(after time.Duration) *play {
	p.t.Helper()
	p.clock = p.clock.Add(after)
	for _, r := range p.step(Message{Wake: true}) {
		p.t.Logf("< (woken) [%s] %s", r.Kind, r.Text)
	}
	return p
}

func labels(r Reply) string {
	var b strings.Builder
	for _, c := range r.Choices {
		b.WriteString("[" + c.Label + "]")
	}
	return b.String()
}

// said wants a piece of text in one of the last replies.
func (p *play) said(pieces ...string) *play {
	p.t.Helper()
	var all []string
	for _, r := range p.last {
		all = append(all, r.Text)
	}
	text := strings.Join(all, "\n")
	for _, s := range pieces {
		if !strings.Contains(text, s) {
			p.t.Errorf("not said: %q in\n%s", s, text)
		}
	}
	return p
}

func (p *play) at(ph Phase) *play {
	p.t.Helper()
	if p.s.Phase != ph {
		p.t.Fatalf("phase %s, want %s", p.s.Phase, ph)
	}
	return p
}

func (p *play) asks(q QuestionID) *play {
	p.t.Helper()
	if p.s.Asked == nil || p.s.Asked.Question != q {
		p.t.Fatalf("open question %+v, want %s", p.s.Asked, q)
	}
	return p
}

// bayFacts is the bay job of the shared conversations up to the target.
func bayFacts(more ...Fact) []Fact {
	lo, hi := 1800.0, 3000.0
	facts := []Fact{
		&PersonFact{Who: "1", Role: Technician},
		&VehicleFact{},
		&AnswerFact{Question: QPlace, Value: "bay"},
		&AnswerFact{Question: QRegulated, Value: "no"},
		&CodesFact{When: "before", List: []string{}, New: []string{}, Lamps: []string{}},
		&ChecklistFact{List: "before", Lines: []int{1, 2, 3, 4}, Volts: 13.4},
		&SizeFact{Which: "factory", Text: "LT265/70R17 121/118S", DiameterMM: 802.8, SpeedSymbol: "S", LoadIndex: "121/118"},
		&StoredFact{Value: Number(2438), Unit: "mm", Quantity: "circumference", KindName: "circumference_mm", Which: "factory", Step: 1, Min: &lo, Max: &hi},
		&BackupFact{Bytes: 18432},
		&SizeFact{Which: "fitted", Text: "LT285/75R17 121/118S", DiameterMM: 859.3, SpeedSymbol: "S", LoadIndex: "121/118"},
		&AnswerFact{Question: QTread, About: "new", Number: 12, Unit: "mm"},
		&AnswerFact{Question: QTread, Number: 12, Unit: "mm"},
		&AnswerFact{Question: QPressure, Number: 1, Unit: "ratio"},
		&AnswerFact{Question: QGears, Value: "unchanged"},
	}
	facts = append(facts, more...)
	return append(facts, &PhaseFact{Phase: PhaseFitted, Event: EvKept})
}

// bay plays the bay job; the first message moves it on to the target.
func bay(t *testing.T, p Policy, more ...Fact) *play {
	t.Helper()
	pl := playFrom(t, p, bayFacts(more...)...)
	return pl.lines("ok")
}
