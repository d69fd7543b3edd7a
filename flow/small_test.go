package flow

import (
	"strings"
	"testing"
)

// A note and a photo leave the open question as it stands: it is not put again,
// which would call somebody for each.
func TestNoteDoesNotAskAgain(t *testing.T) {
	p := playFrom(t, Policy{}).lines("new job unit 14, bay, 48210 mi", "no")
	asks := p.s.Asks
	p.lines("note customer wants it back by five")
	if len(p.last) != 1 || p.last[0].Kind != Notice || !strings.Contains(p.last[0].Text, "Noted. The question before still stands.") || p.s.Asks != asks {
		t.Errorf("a note: %+v", p.last)
	}
	p.step(Message{File: &File{Name: "wheel.jpg", Type: "image/jpeg", Bytes: 900, SHA256: strings.Repeat("a", 64)}})
	if len(p.last) != 1 || p.last[0].Kind != Notice || !strings.Contains(p.last[0].Text, "still stands") || p.s.Asks != asks {
		t.Errorf("a photo: %+v", p.last)
	}
	p.lines("all yes 13.4").at(PhaseFactory)
}

// A message without words is said to be one, and answers nothing.
func TestEmptyMessage(t *testing.T) {
	p := playFrom(t, Policy{}).lines("new job unit 14, bay, 48210 mi", "no")
	p.step(Message{})
	if len(p.last) != 1 || p.last[0].Kind != Notice || !strings.Contains(p.last[0].Text, "came empty") {
		t.Errorf("%+v", p.last)
	}
}

// "Yes" is no word of the tool: it is asked which of the five it was.
func TestYesIsNoToolWord(t *testing.T) {
	p := bay(t, Policy{}).lines("write", "yes")
	if w := p.s.Writing; w == nil || w.Word != "begun" || !strings.Contains(p.last[0].Text, "took, refused, broke off, no answer or not sure") {
		t.Errorf("%+v: %+v", w, p.last)
	}
	p.lines("took").asks(QReadBack)
}

// What is answered ahead of its turn is said in one line, and not asked again.
func TestEarlyAnswersAreEchoed(t *testing.T) {
	p := playFrom(t, Policy{}).lines("new job unit 14, bay, 48210 mi", "no")
	for _, c := range []struct {
		text string
		want []string
	}{
		{"265/70R17 to 285/70R17, 12/12 tread", []string{"The placard size: 265/70R17.", "285/70R17: 3.5 % larger", "The tread: 12 mm."}},
		{"stored 2446 mm", []string{"The stored value: 2446 mm."}},
		{"placard pressure, gears unchanged", []string{"The pressure: placard.", "The gears: unchanged."}},
	} {
		p.lines(c.text)
		first, _, _ := strings.Cut(p.last[0].Text, "\n")
		for _, w := range c.want {
			if len(p.last) != 1 || !strings.Contains(first, w) {
				t.Errorf("%q is answered %q, without %q", c.text, first, w)
			}
		}
	}
}
