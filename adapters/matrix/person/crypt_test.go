//go:build goolm

package person

import (
	"context"
	"encoding/json"
	"net/url"
	"strings"
	"testing"
	"time"

	"maunium.net/go/mautrix/crypto"

	"milepost/adapters/matrix/homeserver"
)

// TestServerSeesNothing: in an encrypted room no word and no file name is in what
// the server keeps.
func TestServerSeesNothing(t *testing.T) {
	s := start(t)
	anna, ben := JoinEncrypted(t, s, "anna"), JoinEncrypted(t, s, "ben")
	room := anna.CreateRoom("Bay 3", true, ben.ID)
	anna.WaitJoined(room, ben.ID)
	file := anna.SendFile(room, "", "secret name", []byte("secret content"), "image/png")
	ben.WaitRead(room, file)
	anna.Edit(room, anna.Say(room, "secret words"), "secret new words")
	ben.WaitRead(room, anna.Say(room, "secret end"))
	var page json.RawMessage
	if status := s.Call(t, anna.Token, "GET", "/_matrix/client/v3/rooms/"+url.PathEscape(string(room))+"/messages?dir=b&limit=100", nil, &page); status != 200 {
		t.Fatalf("status %d", status)
	}
	if got := strings.Count(string(page), "m.room.encrypted"); strings.Contains(string(page), "secret") || got < 4 {
		t.Errorf("%d encrypted events, want 4 or more, in %s", got, page)
	}
}

// TestTurnedEncrypted: plain at first, encrypted from there on, readable all
// along; who has no encryption reads only the first part.
func TestTurnedEncrypted(t *testing.T) {
	s := start(t)
	anna, ben, old := JoinEncrypted(t, s, "anna"), JoinEncrypted(t, s, "ben"), Join(t, s, "old")
	room := anna.CreateRoom("Bay 3", false, ben.ID, old.ID)
	anna.WaitJoined(room, ben.ID, old.ID)
	plain := anna.Say(room, "plain")
	ben.WaitRead(room, plain)
	anna.TurnEncrypted(room)
	sealed := anna.Say(room, "sealed")
	if e := ben.WaitRead(room, plain); e.Encrypted {
		t.Errorf("plain: %+v", e)
	}
	if e := ben.WaitRead(room, sealed); !e.Encrypted || e.Body != "sealed" {
		t.Errorf("sealed: %+v", e)
	}
	all := old.Wait(room, "the sealed one", func(all []Event) bool { _, ok := Find(all, sealed); return ok })
	if e, _ := Find(all, sealed); e.Err == "" || e.Body != "" {
		t.Errorf("read without encryption: %+v", e)
	}
}

// TestLateKeys: behind a proxy that holds the keys, a message is there and can't
// be read, and then it can; a repeated answer changes nothing.
func TestLateKeys(t *testing.T) {
	s := start(t)
	proxy := homeserver.NewProxy(t, s)
	anna := JoinEncrypted(t, s, "anna")
	ben := New(t, Config{Server: s, URL: proxy.URL(), Name: "ben", Encrypted: true})
	room := anna.CreateRoom("Bay 3", true, ben.ID)
	anna.WaitJoined(room, ben.ID)
	proxy.HoldKeys(2 * time.Second)
	begun := time.Now()
	late := anna.Say(room, "late")
	ben.Wait(room, "the message that can't be read yet", func(all []Event) bool {
		e, ok := Find(all, late)
		return ok && strings.Contains(e.Err, crypto.ErrNoSessionFound.Error())
	})
	ben.WaitRead(room, late)
	if took := time.Since(begun); took < 1500*time.Millisecond {
		t.Errorf("read after %v", took)
	}
	proxy.HoldKeys(0)
	proxy.RepeatSync(2)
	next, last := anna.Say(room, "next"), anna.Say(room, "last")
	ben.WaitRead(room, last)
	if all := ben.Timeline(room); len(all) != 3 || all[1].ID != next {
		t.Errorf("ben sees\n%s", Dump(all))
	}
}

// TestTrust: a device is unverified until its owner signs it.
func TestTrust(t *testing.T) {
	s := start(t)
	anna, ben := JoinEncrypted(t, s, "anna"), JoinEncrypted(t, s, "ben")
	room := anna.CreateRoom("Bay 3", true, ben.ID)
	anna.WaitJoined(room, ben.ID)
	if e := ben.WaitRead(room, anna.Say(room, "unsigned")); e.Trust != "unverified" {
		t.Errorf("trust %q, want unverified", e.Trust)
	}
	if got := ben.Trust(anna.ID); len(got) != 1 || got[anna.Device] != "unverified" {
		t.Errorf("trust %v", got)
	}
	mach := anna.crypt.(*olm).mach
	ctx := context.Background()
	if _, _, err := mach.GenerateAndUploadCrossSigningKeysWithPassword(ctx, Password("anna"), ""); err != nil {
		t.Fatal(err)
	}
	if err := mach.SignOwnDevice(ctx, mach.OwnIdentity()); err != nil {
		t.Fatal(err)
	}
	if got := ben.Trust(anna.ID); len(got) != 1 || got[anna.Device] != "cross-signed-tofu" {
		t.Errorf("trust once signed %v", got)
	}
	if e := ben.WaitRead(room, anna.Say(room, "signed")); e.Trust != "cross-signed-tofu" {
		t.Errorf("trust %q", e.Trust)
	}
}
