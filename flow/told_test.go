package flow

import (
	"slices"
	"strings"
	"testing"
)

// A lamp told of on the road is not undone by "parked none".
func TestLampOnTheRoadStays(t *testing.T) {
	p := bay(t, Policy{}).lines("drive first", "go", "66/70 57/60 47/50", "abs light came on", "parked none")
	c := p.s.LastCodes()
	if c.When != "after_drive" || !slices.Contains(c.Lamps, "brake") {
		t.Errorf("%+v", c)
	}
	p.asks(QNewCodes)
}

// What was told of codes and lamps before the work stays when more is told.
func TestCodesBeforeAddUp(t *testing.T) {
	p := playFrom(t, Policy{}).lines("new job unit 14, bay, 48210 mi", "no", "codes P0420 C1234, abs light on, 13.6 volts", "1", "no, airbag light")
	c := p.s.LastCodes()
	if !slices.Equal(c.List, []string{"P0420", "C1234"}) || !slices.Equal(c.Lamps, []string{"brake", "airbag"}) {
		t.Errorf("%+v", c)
	}
	if v := p.s.Checks["before"].Volts; v != 13.6 {
		t.Errorf("volts %g", v)
	}
}

func backupAt(t *testing.T, second ...Fact) *play {
	t.Helper()
	facts := append(bayFacts()[:8], second...)
	return playFrom(t, Policy{}, append(facts, &PhaseFact{Phase: PhaseBackup, Event: EvOriginal})...)
}

// "All in one file" is no backup: the file is, or where it is kept.
func TestOneFileIsAsked(t *testing.T) {
	two := &StoredFact{Value: Number(2438), Unit: "mm", Quantity: "circumference", KindName: "circumference_mm", Which: "factory", Module: "brake", Step: 1}
	p := backupAt(t, two).lines("go on", "all in one file").asks(QBackup)
	if p.s.backedUp() {
		t.Fatal("open without a file")
	}
	p.step(Message{File: &File{Name: "a.bin", Type: "application/octet-stream", Bytes: 9, SHA256: "ab"}})
	if !p.s.backedUp() {
		t.Error("the file of both is not taken")
	}
}

// A file that comes after an attestation is the backup.
func TestFileAfterAttestation(t *testing.T) {
	p := backupAt(t).lines("go on", "on the laptop in folder a").at(PhaseFitted)
	p.step(Message{File: &File{Name: "a.bin", Type: "application/octet-stream", Bytes: 9, SHA256: "ab"}})
	if !p.s.hasFile("") || p.s.BackupHash != "ab" {
		t.Errorf("%+v", p.s.Backups)
	}
}

// Erasable words that were amended are no part of the leaf.
func TestAmendedWordsAreErasable(t *testing.T) {
	p := playFrom(t, Policy{}).lines("new job zebra truck, bay, 48210 mi", "no", "change the vehicle to purple wagon")
	for i := range p.entries {
		raw, err := Encode(&p.entries[i])
		if err != nil {
			t.Fatal(err)
		}
		for _, w := range []string{"zebra", "purple"} {
			if strings.Contains(string(raw), w) {
				t.Errorf("%s holds %q: %s", p.entries[i].Kind, w, raw)
			}
		}
	}
	if p.s.Vehicle != "purple wagon" {
		t.Error(p.s.Vehicle)
	}
}

// "All yes but 1" takes back a line that was confirmed before.
func TestChecklistTakesBack(t *testing.T) {
	p := playFrom(t, Policy{}).lines("new job unit 14, bay, 48210 mi", "no", "1 yes", "all yes but 1")
	if p.s.confirmed(1) || !p.s.confirmed(4) {
		t.Errorf("%+v", p.s.Checks["before"])
	}
}
