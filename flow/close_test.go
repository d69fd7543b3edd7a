package flow

import (
	"crypto/sha256"
	"encoding/hex"
	"strings"
	"testing"
	"time"
)

func closing(t *testing.T, p Policy, more ...Fact) *play {
	t.Helper()
	return checked(t, p, more...).lines("70/70 60/60 50/50 65/65", "parked none", "close").at(PhaseClose)
}

func TestCloseNeedsCodes(t *testing.T) {
	p := checked(t, Policy{}).lines("70/70 60/60 50/50", "parked").asks(QCodesNow)
	p.s.Waivers[GateCodes] = WaiverFact{}
	if open, _ := gateOpen(p.s, GateCodes); open {
		t.Error("codes not read and the gate is open")
	}
}

func TestCloseChecklist(t *testing.T) {
	p := closing(t, Policy{}).asks(QClosing).said("1 wheel fasteners", "8 cleared codes")
	p.lines("5").asks(QClosing).said("empty road")
	p.lines("all yes but 5").asks(QClosing)
	if l := p.s.closingLeft(); len(l) != 1 || l[0] != 5 {
		t.Errorf("left %v", l)
	}
	p.lines("yes").asks(QRemind).lines("10 200").at(PhaseClosed)
	if p.s.Reminders[0].Day != "2026-03-12" || p.s.Reminders[1].Day != "2026-09-18" {
		t.Errorf("%v", p.s.Reminders)
	}
}

func TestReminders(t *testing.T) {
	p := closing(t, Policy{}).lines("all yes", "yes").at(PhaseClosed)
	out, err := Step(p.s, Message{Who: "1", Role: Technician, Text: "note x"}, p.env)
	if err != nil || !out.Wake.Equal(time.Date(2026, 3, 9, 9, 0, 0, 0, time.UTC)) {
		t.Errorf("wake %v %v", out.Wake, err)
	}
	p.wake(8 * 24 * time.Hour).said("re-torque")
	if len(p.last) != 1 || len(p.s.Reminders) != 1 {
		t.Errorf("%v %v", p.last, p.s.Reminders)
	}
	p.wake(time.Hour)
	if len(p.last) != 0 {
		t.Error("sent twice")
	}
	p.wake(200 * 24 * time.Hour).said("recheck")
	if out, _ := Step(p.s, Message{Who: "1", Role: Technician, Text: "note x"}, p.env); !out.Wake.IsZero() {
		t.Errorf("wake %v", out.Wake)
	}
}

func TestSignOff(t *testing.T) {
	p := closing(t, Policy{SignOff: true}, &PersonFact{Who: "3", Role: Supervisor}).lines("all yes", "no").at(PhaseClose).asks(QSignOff)
	p.lines("sign off")
	if p.s.SignedOff {
		t.Fatal("signed by the technician")
	}
	p.as("1", Supervisor).lines("sign off").said("Not over your own answer")
	p.as("3", Supervisor).lines("sign off").at(PhaseClosed).said("Signed off by Kim")
	q := closing(t, Policy{SignOff: true, Self: true}).lines("all yes", "no").as("1", Supervisor).lines("sign off").at(PhaseClosed)
	if !q.s.Self || !strings.Contains(strings.Join(Flags(q.s, q.env.Policy, q.clock), " "), FlagSelf) {
		t.Error("self is not in the log")
	}
}

func TestWaive(t *testing.T) {
	p := checked(t, Policy{}, &PersonFact{Who: "3", Role: Supervisor}).lines("70/70 60/60 50/50", "parked").asks(QCodesNow)
	p.lines("waive codes because the tool broke")
	if len(p.s.Waivers) != 0 {
		t.Fatal("a technician waived")
	}
	p.as("3", Supervisor).lines("waive codes").said("Only with a reason")
	p.lines("waive read-back because hurry").said("Nobody waives")
	p.lines("waive regulated because it is fine").said("approved")
	p.lines("waive codes because the tool broke")
	if w := p.s.Waivers[GateCodes]; !w.Reason || w.Self || !p.s.Waived {
		t.Errorf("%+v", p.s.Waivers)
	}
	own := checked(t, Policy{}).lines("70/70 60/60 50/50", "parked").as("1", Supervisor).lines("waive codes because I say so")
	own.said("Not over your own answer")
}

func TestStop(t *testing.T) {
	p := written(t, Policy{}).lines("stop the job").asks(QStop).lines("no").asks(QWritten)
	p.lines("2596", "none", "stop the job").asks(QStop).said("2596 mm is stored, the original is 2438 mm").lines("yes").at(PhaseClosed)
	if p.s.Stopped != "stopped" {
		t.Errorf("%q", p.s.Stopped)
	}
	q := written(t, Policy{}).lines("broke off", "stop the job").said("do not drive").tap("recover").at(PhaseRecover)
	if !q.s.Broken[""] {
		t.Error("broken write forgotten")
	}
}

func TestInvite(t *testing.T) {
	p := bay(t, Policy{})
	p.env.Code = "7QKM-4TXN-R2HD-9WPC"
	p.lines("invite a customer").said("7QKM-4TXN-R2HD-9WPC")
	sum := sha256.Sum256([]byte(p.env.Code))
	if len(p.s.Invites) != 1 || p.s.Invites[0].Hash != hex.EncodeToString(sum[:]) {
		t.Errorf("%v", p.s.Invites)
	}
	for _, e := range p.entries {
		for _, it := range e.Items {
			if strings.Contains(it.Content, p.env.Code) {
				t.Errorf("the code stands in entry %d", e.Seq)
			}
		}
	}
}

func TestCard(t *testing.T) {
	p := checked(t, Policy{})
	text := CardText(p.s, p.env.Policy, p.clock, false)
	for _, want := range []string{"unit 14", "drive", "waits for the drive", "now 2596 mm, original 2438 mm"} {
		if !strings.Contains(text, want) {
			t.Errorf("%q lacks %q", text, want)
		}
	}
	if line := CardLine(p.s, p.env.Policy, p.clock); !strings.Contains(line, "J1 · unit 14 · drive") {
		t.Error(line)
	}
	if f := Flags(p.s, p.env.Policy, p.clock.Add(48*time.Hour)); len(f) != 1 || f[0] != FlagIdle {
		t.Errorf("%v", f)
	}
	p.s.Stated, p.s.ClockBack = true, true
	if f := Flags(p.s, p.env.Policy, p.clock); len(f) != 2 || f[0] != FlagClock || f[1] != FlagStated {
		t.Errorf("%v", f)
	}
}

// The label of a choice from a list does not read like two sizes on one line.
func TestLabelOfAList(t *testing.T) {
	p := bay(t, Policy{}, &StoredFact{Value: Value{Label: "LT265/70R17"}, Unit: "mm", Quantity: "size_list", KindName: "size_list", Which: "factory",
		List: []ListEntry{{Label: "LT265/70R17"}, {Label: "LT285/75R17"}}})
	p.lines("write", "took", "LT285/75R17", "none", "go", "65/65 60/60 62/62", "parked none", "close").at(PhaseClose)
	p.said("LT285/75R17 chosen in the list for LT285/75R17 121/118S. LT265/70R17 for LT265/70R17 121/118S.")
}
