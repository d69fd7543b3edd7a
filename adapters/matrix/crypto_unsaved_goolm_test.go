//go:build goolm

package matrix

import (
	"testing"

	"maunium.net/go/mautrix/event"
)

// A disk that is full, or a store that is closed at a stop, while a room's key is
// given out: what was encrypted then never leaves, as after a start its place in
// the session would be used again, and the other side could read neither the key
// nor any message under it.
func TestCipherUnsavedSession(t *testing.T) {
	sc := newKeyScene(t)
	which, _ := sc.bot.say(sc.room, "all is well")
	personReads(t, sc.anna, sc.room, which, "all is well")

	ctx := keyContext(t)
	exec := func(query string) {
		t.Helper()
		if _, err := sc.bot.db.Exec(ctx, query); err != nil {
			t.Fatal(err)
		}
	}
	exec("CREATE TRIGGER full BEFORE UPDATE ON crypto_olm_session BEGIN SELECT RAISE(FAIL, 'database or disk is full'); END")
	if err := sc.bot.store.RemoveOutboundGroupSession(ctx, sc.room); err != nil { // so that the next message begins a new key
		t.Fatal(err)
	}
	_, err := sc.bot.Encrypt(ctx, sc.room, event.EventMessage, &event.MessageEventContent{MsgType: event.MsgText, Body: "not stored"})
	if err == nil {
		t.Error("it was encrypted, though the session is not stored")
	}
	exec("DROP TRIGGER full")

	sc.bot.end()
	sc.bot.mustStart().know(sc.room)
	which, _ = sc.bot.say(sc.room, "room again")
	personReads(t, sc.anna, sc.room, which, "room again")
	personReads(t, sc.boris, sc.room, which, "room again")
}
