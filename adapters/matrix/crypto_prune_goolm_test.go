//go:build goolm

package matrix

import (
	"context"
	"errors"
	"testing"
	"time"

	"maunium.net/go/mautrix/crypto"
	"maunium.net/go/mautrix/event"
	"maunium.net/go/mautrix/id"
)

// A room key that was not used for half a year is dropped with the notes of its
// messages, and does not come back; every other stays.
func TestCipherDropsUnusedKeys(t *testing.T) {
	sc := newKeyScene(t)
	c, ctx := sc.bot.olmCipher, keyContext(t)
	count := func(query string, args ...any) (n int) {
		t.Helper()
		if err := c.db.QueryRow(ctx, query, args...).Scan(&n); err != nil {
			t.Fatal(err)
		}
		return n
	}
	change := func(query string, args ...any) {
		t.Helper()
		if _, err := c.db.Exec(ctx, query, args...); err != nil {
			t.Fatal(err)
		}
	}
	drop := func(what string, want int) {
		t.Helper()
		if n, err := c.dropUnused(ctx, time.Now()); err != nil || n != want {
			t.Errorf("%s: %d keys dropped, want %d: %v", what, n, want, err)
		}
	}
	// session gives the room key of a message that was read.
	session := func(ev id.EventID) *crypto.InboundGroupSession {
		t.Helper()
		content := *sc.bot.seen[ev]
		if err := content.Content.ParseRaw(event.EventEncrypted); err != nil && !errors.Is(err, event.ErrContentAlreadyParsed) {
			t.Fatal(err)
		}
		key, err := c.store.GetGroupSession(ctx, sc.room, content.Content.AsEncrypted().SessionID)
		if err != nil || key == nil {
			t.Fatalf("no key of %s: %v", ev, err)
		}
		return key
	}
	old := sc.anna.Say(sc.room, "one")
	sc.bot.read(old)
	recent := sc.boris.Say(sc.room, "two")
	sc.bot.read(recent)
	own, _ := sc.bot.say(sc.room, "three")
	personReads(t, sc.anna, sc.room, own, "three")
	unused, used := session(old), session(recent)
	if unused.ID() == used.ID() || count("SELECT count(*) FROM crypto_megolm_inbound_session") != 3 {
		t.Fatal("not one key each")
	}
	drop("at first", 0)

	// All came half a year and some weeks ago; what one of them opened, too.
	then := time.Now().UTC().Add(-unusedKeyFor - 20*24*time.Hour)
	change("UPDATE crypto_megolm_inbound_session SET received_at = $1", &then)
	drop("while each is in use", 0)
	change("UPDATE crypto_message_index SET timestamp = $1 WHERE session_id = $2", then.UnixMilli(), unused.ID())
	change("UPDATE crypto_megolm_inbound_session SET max_age = $1 WHERE session_id = $2", (90 * 24 * time.Hour).Milliseconds(), unused.ID())
	drop("while its maker may go on with it", 0)
	change("UPDATE crypto_megolm_inbound_session SET max_age = $1 WHERE session_id = $2", (7 * 24 * time.Hour).Milliseconds(), unused.ID())
	drop("unused", 1)
	drop("again", 0)

	if n := count("SELECT count(*) FROM crypto_message_index WHERE session_id = $1", unused.ID()); n != 0 {
		t.Errorf("%d notes of messages are left", n)
	}
	if _, _, err := sc.bot.tryRead(old); !errors.Is(err, errNoKey) {
		t.Errorf("a message whose key was dropped: %v", err)
	}
	sc.bot.read(recent)
	again, _ := sc.bot.say(sc.room, "four")
	personReads(t, sc.boris, sc.room, again, "four")

	// It does not come back, whoever gives it to us: the messages of then could be
	// given out as new ones.
	unused.KeySource = id.KeySourceForward
	c.asked.note(string(unused.ID()), 0, asking{of: sc.anna.ID, again: func(context.Context) error { return nil }})
	for range 2 {
		if err := c.store.PutGroupSession(ctx, unused); err != nil {
			t.Fatal(err)
		}
		unused.KeySource = id.KeySourceDirect
	}
	if _, _, err := sc.bot.tryRead(old); !errors.Is(err, errNoKey) {
		t.Errorf("a dropped key has come back: %v", err)
	}

	// Nobody can keep a key away by saying that it is withheld, in whatever words.
	change("DELETE FROM crypto_megolm_inbound_session WHERE session_id = $1", used.ID())
	said := event.RoomKeyWithheldEventContent{RoomID: sc.room, SessionID: used.ID(), SenderKey: used.SenderKey, Code: event.RoomKeyWithheldBeeperRedacted, Reason: "Session redacted: not used for long"}
	if err := c.store.PutWithheldGroupSession(ctx, said); err != nil {
		t.Fatal(err)
	}
	if err := c.store.PutGroupSession(ctx, used); err != nil {
		t.Fatal(err)
	}
	sc.bot.read(recent)
	said.SessionID = "another"
	if err := c.store.PutWithheldGroupSession(ctx, said); err != nil {
		t.Fatal(err)
	}
	drop("withheld", 0)
	if count("SELECT count(*) FROM crypto_megolm_inbound_session WHERE session_id = 'another'") != 1 {
		t.Error("what is withheld is forgotten at once")
	}
	change("UPDATE crypto_megolm_inbound_session SET received_at = $1 WHERE session_id = 'another'", &then)
	drop("withheld long ago", 0)
	if count("SELECT count(*) FROM crypto_megolm_inbound_session WHERE session_id = 'another'") != 0 {
		t.Error("what was withheld is kept for ever")
	}
}
