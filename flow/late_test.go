package flow

import (
	"strings"
	"testing"
	"time"
)

// An old yes decides nothing; that of somebody whose clock differs from ours is not
// old, once a message before has shown by how much.
func TestClocksApart(t *testing.T) {
	type said struct {
		after time.Duration // since the message before
		under time.Duration // on its way for so long, by both clocks
		late  bool
	}
	for _, c := range []struct {
		name  string
		clock time.Duration // of the sender, ahead of ours
		said  []said
	}{
		{"clocks agree", 0, []said{{10 * time.Second, 0, false}, {10 * time.Second, time.Second, false}, {time.Minute, 2 * time.Minute, true}}},
		{"behind", -time.Minute, []said{{10 * time.Second, 0, false}, {10 * time.Second, 0, false}, {30 * time.Second, time.Second, false}, {time.Minute, 2 * time.Minute, true}}},
		{"ahead", time.Minute, []said{{10 * time.Second, 0, false}, {time.Minute, 90 * time.Second, true}}},
		{"set right in between", -time.Minute, []said{{10 * time.Second, 0, false}, {10 * time.Second, -time.Minute, false}}},
	} {
		p := playFrom(t, Policy{})
		send := func(text string, s said) {
			now := p.clock.Add(s.after)
			p.clock = now.Add(-30 * time.Second) // which step adds
			p.step(Message{Text: text, SentAt: now.Add(c.clock - s.under)})
		}
		send("new job unit 14", said{after: time.Minute})
		for i, s := range c.said {
			send("no", s)
			late := strings.Contains(p.last[0].Text, "before I asked")
			if late != s.late {
				t.Errorf("%s, answer %d: late is %v: %s", c.name, i+1, late, p.last[0].Text)
			}
		}
	}
}

// Messages that come all at once after an outage show no difference of the clocks:
// the last of them decides nothing either.
func TestOldOnesTogether(t *testing.T) {
	p := playFrom(t, Policy{}).lines("new job unit 14", "bay", "84210 mi").as("2", Supervisor)
	asked := p.clock
	for i, text := range []string{"no", "no", "no"} {
		p.clock = asked.Add(time.Duration(i)*time.Second - 29*time.Second)
		m := Message{Text: text, SentAt: asked.Add(-10*time.Minute + time.Duration(i)*time.Second)}
		if i == 0 {
			m.Join = &Person{Who: "2", Role: Supervisor, Name: "Noor"}
		}
		p.step(m)
		if !strings.Contains(p.last[0].Text, "before I asked") {
			t.Errorf("answer %d is not late: %s", i+1, p.last[0].Text)
		}
	}
}

// Whoever writes for the first time with a clock that differs is asked again, once.
func TestAskedAgainOnce(t *testing.T) {
	p := playFrom(t, Policy{}).lines("new job unit 14", "bay", "84210 mi").as("2", Supervisor)
	for i, late := range []bool{true, false} {
		m := Message{Text: "no", SentAt: p.clock.Add(30*time.Second - time.Minute)}
		if i == 0 {
			m.Join = &Person{Who: "2", Role: Supervisor, Name: "Noor"}
		}
		p.step(m)
		if got := strings.Contains(p.last[0].Text, "before I asked"); got != late {
			t.Errorf("answer %d: late is %v: %s", i+1, got, p.last[0].Text)
		}
	}
}
