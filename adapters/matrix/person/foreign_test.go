//go:build goolm

package person

import (
	"context"
	"testing"
)

// TestForeign: a client from elsewhere and ours read each other in an encrypted
// room: words, a thread, an edit.
func TestForeign(t *testing.T) {
	s := start(t)
	zoe, anna := JoinForeign(t, s, "zoe", false), JoinEncrypted(t, s, "anna")
	room := anna.CreateRoom("Bay 3", true, zoe.ID)
	zoe.Enter(room)
	anna.WaitJoined(room, zoe.ID)
	root := zoe.Say(room, "", "Where do I begin?")
	if e := anna.WaitRead(room, root); e.Body != "Where do I begin?" || !e.Encrypted {
		t.Errorf("root: %+v", e)
	}
	answer := anna.SayInThread(room, root, "At the tyre.")
	if e := zoe.WaitFor(room, anna.ID, "At the tyre."); e.Root != root || e.ID != answer || !e.Decrypted {
		t.Errorf("answer: %+v", e)
	}
	if e := anna.WaitRead(room, zoe.Say(room, root, "Which one?")); e.Root != root || e.ReplyTo != "" {
		t.Errorf("second: %+v", e)
	}
	anna.Edit(room, answer, "At the driven tyre.")
	if e := zoe.WaitFor(room, anna.ID, "driven"); e.ID != answer || !e.Edited || e.Body != "At the driven tyre." {
		t.Errorf("edited: %+v", e)
	}
	for _, e := range zoe.Timeline(room) {
		if e.Err != "" || !e.Decrypted {
			t.Errorf("zoe: %+v", e)
		}
	}
}

// TestForeignShunsUnsigned: such a client shows nothing of a device that its owner
// has not signed, and all of one that is.
func TestForeignShunsUnsigned(t *testing.T) {
	s := start(t)
	zoe := JoinForeign(t, s, "zoe", true)
	unsigned, signed := JoinEncrypted(t, s, "anna"), JoinEncrypted(t, s, "ben")
	mach, ctx := signed.crypt.(*olm).mach, context.Background()
	if _, _, err := mach.GenerateAndUploadCrossSigningKeysWithPassword(ctx, Password("ben"), ""); err != nil {
		t.Fatal(err)
	}
	if err := mach.SignOwnDevice(ctx, mach.OwnIdentity()); err != nil {
		t.Fatal(err)
	}
	room := signed.CreateRoom("Bay 3", true, zoe.ID, unsigned.ID)
	zoe.Enter(room)
	signed.WaitJoined(room, zoe.ID, unsigned.ID)
	unsigned.WaitJoined(room, zoe.ID)
	shunned := unsigned.Say(room, "from an unsigned device")
	shown := signed.Say(room, "from a signed device")
	zoe.WaitFor(room, signed.ID, "from a signed device")
	all := zoe.Wait(room, "both", func(all []Event) bool { _, ok := Find(all, shunned); return ok })
	if e, _ := Find(all, shunned); e.Err == "" || e.Body != "" {
		t.Errorf("unsigned: %+v", e)
	}
	if e, _ := Find(all, shown); e.Err != "" {
		t.Errorf("signed: %+v", e)
	}
}
