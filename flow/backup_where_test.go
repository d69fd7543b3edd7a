package flow

import (
	"slices"
	"testing"
)

// Words that are no place open no gate before a write: they are asked about.
func TestBackupWordsThatAreNoPlace(t *testing.T) {
	for _, text := range []string{"do it on the laptop", "I do it on the laptop", "I have the laptop", "drive first", "let's drive", "working on it", "in ten minutes", "server is down", "the server is down",
		"I have no laptop", "lost it on the laptop", "on the laptop, but it failed", "keep going", "carry on", "write 2596", "go to drive",
		"test drive done", "drive it now", "ok in ten minutes", "yes let's drive", "yes saved it", "saved it", "yes, in that case", "done, at last", "yes, in the morning", "yes, working on it", "yes, on it", "in progress", "on my way",
		"saving it to the laptop now", "on the phone with the customer", "my phone is ringing", "waiting for the laptop", "usb stick is broken",
		"it isn't on the laptop", "on the laptop?", "i need a usb stick", "in the bay", "kept it", "laptop", "yes", "done",
		"I have to get the laptop", "have to fetch the laptop first", "connect it to the laptop", "doing it on the laptop", "error on the computer", "the tool is connected to the laptop",
		"have the laptop", "we got a laptop", "he has got my laptop", "go to the laptop", "fetch the laptop", "bring my laptop", "must put it on the laptop", "yes, I have the laptop", "yes, under the bonnet now", "yes, on the lift", "yes, on the road now",
		"no", "not on the laptop yet", "saved on the laptop, no, wait", "on the laptop, nothing", "on the laptop, not the pc yet", "nothing else on the laptop", "in the van, not on the laptop", "working on the laptop",
		"under the bonnet with the laptop", "problem with the files on the laptop"} {
		p := backupAt(t).lines("go on", text).at(PhaseBackup).asks(QBackup)
		if len(p.s.Backups) != 0 {
			t.Errorf("%q attests a backup", text)
		}
	}
}

// The ways in which people name a place are taken as they were.
func TestBackupPlaces(t *testing.T) {
	for _, text := range []string{"on the laptop in folder a", "its on the shop laptop under unit 15", "on the shop laptop under this unit",
		"saved on the network drive", "shop laptop, unit 14", "usb stick", "my laptop", "kept in the cloud", "on the hard drive", "on a USB drive",
		"keep it on the server", "full backup on the stick", "on my phone", "C:\\jobs\\unit14", "unit14.bin on the pc", "saved to the sd card",
		"yes, on the laptop", "done, on the shop computer", "emailed to the office", "in my documents folder", "the laptop has it in folder 3, saved to disk",
		"yes, in the office safe", "yes, at the front desk",
		"on the shop laptop, job no. 14", "saved on the laptop under unit no 14", "saved on the laptop five minutes ago", "stored on the pc a moment ago", "in the working folder on the laptop", "saved on the laptop, nothing else on it",
		"on the office pc, not the shop one", "on the laptop, not on the pc", "exported to the laptop", "sent to the server", "saved to the laptop, then backed up to the nas"} {
		if p := backupAt(t).lines("go on", text).at(PhaseFitted); len(p.s.Backups) != 1 || !p.s.Backups[0].Attested {
			t.Errorf("%q: %+v", text, p.s.Backups)
		}
	}
	p := backupAt(t).lines("go on", "in the office safe").asks(QBackup).said(`I read "in the office safe"`, `type "yes" and the place`)
	p.lines("yes, in the office safe").at(PhaseFitted)
	if item := slices.IndexFunc(p.entries, func(e Entry) bool { return e.Item(ItemWhere) == "in the office safe" }); item < 0 {
		t.Error("the place is not kept")
	}
}

// Where the tool can't save, the values that were photographed are taken in
// plain words too.
func TestBackupValuesPhotographed(t *testing.T) {
	for text, taken := range map[string]bool{"photographed all values": true, "took pictures of everything": true, "all noted": true, "values noted": true,
		"wrote down all the settings": true, "not photographed yet": false, "what do i photograph?": false, "i'll take photos": false} {
		p := backupAt(t).lines("go on", "can't save", text)
		if got := len(p.s.Backups) == 1 && p.s.Backups[0].ValuesOnly; got != taken {
			t.Errorf("%q: %+v", text, p.s.Backups)
		}
	}
	if p := backupAt(t).lines("go on", "photographed all values"); len(p.s.Backups) != 0 {
		t.Error("taken where a copy was asked for")
	}
}
