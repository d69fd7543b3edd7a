package flow

import "testing"

// A write made while somebody waits for its release is heard: a deviation, an
// alert, and no word of writing it once more as if nothing had been.
func TestWriteBeforeRelease(t *testing.T) {
	p := home(t, Policy{}).asks(QHold).lines("I wrote 2596 already").asks(QHold)
	p.said("2596 written before the go-ahead", "don't drive", "Help has been called", "wrote 2596 before the release", "Release, so that it is read back")
	if len(p.s.openDeviations()) != 1 || p.s.Alerts == 0 || p.s.released() || p.s.Main().Now != Number(2438) {
		t.Errorf("%+v, %d alerts, now %v", p.s.Deviations, p.s.Alerts, p.s.Main().Now)
	}
	p.lines("2596").asks(QHold) // no release by reading back
	p.as("2", Helper).lines("release").asks(QReadBack).as("1", Customer).lines("2596").asks(QCodesNow)
	if len(p.s.openDeviations()) != 0 || p.s.Writes() != 1 {
		t.Errorf("%+v", p.s.Deviations)
	}
	// Another value than was meant.
	q := home(t, Policy{}).lines("i wrote 2590").said("2590 written").as("2", Helper).said("meant is 2596").lines("release").as("1", Customer).lines("2590").asks(QWritten).said("write 2596 now")
	if q.s.Main().Now != Number(2590) {
		t.Errorf("now %v", q.s.Main().Now)
	}
	// Back from there, the value written whatever is in it.
	r := home(t, Policy{}).lines("i wrote 2590").as("2", Helper).lines("not yet", "drive first").asks(QHold).lines("recover").at(PhaseRecover)
	r.as("1", Customer).lines("48210").asks(QHold).said("restore 2438 mm")
}

func TestBrokeOffBeforeRelease(t *testing.T) {
	p := home(t, Policy{}).lines("it broke off halfway!").asks(QHold).said("it broke off", "everything connected", "began to write 2596 before the release", "Begun before the release")
	if p.s.roadSafe() || p.s.Alerts == 0 || p.s.Writing.Word != "broke_off" {
		t.Errorf("%+v", p.s.Writing)
	}
	p.wake(11 * 60e9).said("Don't drive").quiet("without a new release")
	p.as("2", Helper).lines("release").asks(QWritten).said("Press write once more")
	home(t, Policy{}).lines("the tool does not answer any more").asks(QHold).said("broke off")
	for _, said := range []string{"it broke off", "stopped halfway", "the tool froze", "my laptop died", "the programming was interrupted", "it stopped in the middle of the write", "sorry, it has crashed", "the write got stuck at 40 percent"} {
		if q := home(t, Policy{}).lines(said).asks(QHold); q.s.Writing.Word != "broke_off" || len(q.s.openDeviations()) != 1 {
			t.Errorf("%q: %+v", said, q.s.Writing)
		}
	}
}

// What is no word of a write changes nothing.
func TestHeldSmallTalk(t *testing.T) {
	for _, said := range []string{"ok", "done", "yes", "no answer from Noor", "should i write 2596?", "i have not written anything yet", "nothing yet", "thanks, will wait", "what if it breaks off?",
		"Kim hung up on me", "my phone died", "stopped for lunch", "stuck here, waiting", "the call got cut off", "stopped, I have not written anything", "stuck halfway home"} {
		p := home(t, Policy{}).lines(said).asks(QHold)
		if p.s.Writing.Word != "begun" || len(p.s.Deviations) > 0 || p.s.released() {
			t.Errorf("%q: %+v %+v", said, p.s.Writing, p.s.Deviations)
		}
	}
	p := home(t, Policy{}).as("2", Helper).lines("not yet because it broke off last time").asks(QHold)
	if p.s.Writing.Word != "begun" {
		t.Errorf("%+v", p.s.Writing)
	}
}
