package flow

import "testing"

// "change my answer to" finds the question that the new answer is one for,
// newest first; a sentence that names the answer puts it right as well.
func TestChangeMyAnswer(t *testing.T) {
	p := bay(t, Policy{}).lines("change my answer to LT285/70R17").asks(QFirst).said("moves from 2596")
	if z := p.s.Sizes["fitted"].Text; z != "LT285/70R17" {
		t.Errorf("fitted %s", z)
	}
	for _, c := range []struct {
		said string
		now  float64
	}{{"change my answer to 12/8", 8}, {"change my answer: tread 12/7", 7}, {"the tread is 12/9 actually", 9}} {
		p.lines(c.said).asks(QFirst)
		if a := p.s.Answers[Key{QTread, ""}]; a.Number != c.now {
			t.Errorf("%q: tread %v", c.said, a.Number)
		}
	}
	p.lines("change step to 5")
	if m := p.s.Main(); m.Step != 5 {
		t.Errorf("step %v", m.Step)
	}
	p.lines("change my answer to banana").said("no new answer")
	if p.s.Vehicle != "unit 14" {
		t.Errorf("vehicle %q", p.s.Vehicle)
	}
}

// What nobody asks for is taken when it is said, at any time.
func TestTakenUnasked(t *testing.T) {
	p := bay(t, Policy{}).lines("ZZZTEST1XR0000001").asks(QFirst)
	if p.s.VIN != "ZZZTEST1XR0000001" {
		t.Errorf("VIN %q", p.s.VIN)
	}
	p.lines("620 revs per mile").asks(QFirst).said("620 rev/mile", "moves from 2596")
}

// Back, typed again and again, walks on to the first answer.
func TestBackWalks(t *testing.T) {
	p := bay(t, Policy{})
	var last, n int64 = p.s.Seq, 0
	for ; n < 30; n++ {
		p.lines("back")
		seq := (&turn{s: p.s}).openSeq()
		if seq >= last {
			break
		}
		last = seq
	}
	if n < 6 {
		t.Errorf("went back over %d answers", n)
	}
	p.said("Nothing has been answered")
}

// A job handed over to somebody who has not written yet passes on with that
// person's first message.
func TestHandOverToSomebodyNew(t *testing.T) {
	p := bay(t, Policy{}).lines("hand over to Noor").said("not written here yet")
	if p.s.Owner != "1" {
		t.Fatalf("owner %s", p.s.Owner)
	}
	p.as("4", Technician).step(Message{Text: "where are we", Join: &Person{Who: "4", Role: Technician, Name: "Max"}})
	if p.s.Owner != "1" {
		t.Errorf("another name took it: %s", p.s.Owner)
	}
	p.as("2", Technician).step(Message{Text: "write", Join: &Person{Who: "2", Role: Technician, Name: "Noor"}})
	if p.s.Owner != "2" || p.s.Awaits != "" {
		t.Errorf("owner %s, awaited %q", p.s.Owner, p.s.Awaits)
	}
	p.said("Handed over to Noor").at(PhaseChange)
}
