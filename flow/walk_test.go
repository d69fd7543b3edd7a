package flow

import (
	"math/rand/v2"
	"strings"
	"testing"
)

// What people may type in the later phases, sensible and not.
var vocabulary = []string{
	"write", "drive first", "took", "refused", "refused, value out of range", "access denied", "broke off", "no answer", "not sure", "2596", "2438",
	"2590", "i wrote 2600", "none", "P0500", "U0121", "abs lamp on", "go on", "recover", "read again", "go", "parked", "parked none",
	"61/65 56/60 47/50", "70/70 60/60 50/50", "65/70", "62/60", "60/97", "strike 1", "keep", "swap", "correct 61/65 to 62/65", "limit here is 55",
	"can't go faster", "odo 20.0 track 19.9", "skip", "close", "all yes", "yes", "no", "one more", "distance right", "dash right", "48210",
	"stop the job", "release", "not yet because wait", "reopen", "also changed the shift points", "undone", "max 2500", "hello", "5", "1",
	"back", "undo", "change my answer", "change my answer to took", "change the stored value to 2450 mm", "change the tread to 12/9",
	"waive codes because tool broke", "waive road because looked at", "sign off", "change the new size to 285/70R17", "whole backup", "why",
}

// Whatever is typed in whatever order: no step fails, entries add up to the
// state, nothing is asked while somebody drives (checked by play), and what is
// never anyone's to give up holds.
func TestWalks(t *testing.T) {
	policies := []Policy{{WorkSpeed: 65}, {Holds: []HoldPoint{{What: "write"}}, SignOff: true}, {Speed: "km/h", Rule: "never-under"}}
	reached := map[Phase]int{}
	for seed := range uint64(120) {
		r := rand.New(rand.NewPCG(seed, 7))
		p := playFrom(t, policies[seed%3], bayFacts(&PersonFact{Who: "3", Role: Supervisor}, &PersonFact{Who: "2", Role: Helper})...)
		if seed%4 == 3 {
			p = playFrom(t, policies[0], bayFacts(&AnswerFact{Question: QPlace, Value: "home"}, &PersonFact{Who: "2", Role: Helper})...)
		}
		for range 40 {
			switch r.IntN(10) {
			case 0:
				p.as("2", Helper)
			case 1:
				p.as("3", Supervisor)
			default:
				p.as("1", Technician)
			}
			text := vocabulary[r.IntN(len(vocabulary))]
			if p.s.Driving() && strings.HasPrefix(text, "change") {
				continue // amending asks; what amending does on a drive has a test of its own
			}
			if a := p.s.Asked; a != nil && len(a.Choices) > 0 && r.IntN(3) == 0 {
				p.step(Message{Tap: send(p.s.Job, p.s.Asks, a.Choices[r.IntN(len(a.Choices))])})
			} else {
				p.step(Message{Text: text})
			}
			reached[p.s.Phase]++
			p.holds()
			if t.Failed() {
				t.Fatalf("seed %d", seed)
			}
		}
	}
	for _, ph := range []Phase{PhaseTarget, PhaseChange, PhaseDrive, PhaseReview, PhaseClose, PhaseRecover, PhaseClosed} {
		if reached[ph] == 0 {
			t.Errorf("no walk came to %s", ph)
		}
	}
}

// holds checks what holds at any time.
func (p *play) holds() {
	p.t.Helper()
	s := p.s
	for _, c := range s.Changes {
		if c.Took && c.Setting == "circumference" && c.ReadBack != c.After {
			p.t.Errorf("taken without an equal read-back: %+v", c)
		}
	}
	for _, r := range s.Drives {
		if r.Started && !r.ReadBack.Zero() && r.Value != r.ReadBack {
			p.t.Errorf("driven at a value that was not read back: %+v", r)
		}
	}
	if s.Phase != PhaseClosed && s.Phase != PhaseRecover && s.Phase != PhaseTarget && s.Phase != PhaseFitted && s.Asked == nil {
		p.t.Errorf("nothing is asked in %s", s.Phase)
	}
	if h := s.Hold; h != nil && h.Now == "released" && h.Self {
		p.t.Errorf("released by himself: %+v", h)
	}
}
