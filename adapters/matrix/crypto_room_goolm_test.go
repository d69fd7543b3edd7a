//go:build goolm

package matrix

import (
	"bytes"
	"errors"
	"fmt"
	"sync"
	"testing"
	"time"

	"maunium.net/go/mautrix"
	"maunium.net/go/mautrix/event"
	"maunium.net/go/mautrix/id"

	"milepost/adapters/matrix/person"
)

func TestCipherAllReadAll(t *testing.T) {
	sc := newKeyScene(t)
	for i := range 3 {
		text := fmt.Sprintf("from the assistant, %d", i)
		which, _ := sc.bot.say(sc.room, text)
		personReads(t, sc.anna, sc.room, which, text)
		personReads(t, sc.boris, sc.room, which, text) // joined before the assistant
	}
	for _, p := range []*person.Person{sc.anna, sc.boris} {
		text := "from " + string(p.ID)
		got, trust := sc.bot.read(p.Say(sc.room, text))
		if got != text || trust != id.TrustStateUnset {
			t.Errorf("read %q, trust %v; want %q of an unsigned device", got, trust, text)
		}
	}
}

func TestCipherKeyComesLate(t *testing.T) {
	sc := newKeyScene(t)
	which := sc.anna.Say(sc.room, "the key comes later")
	var keys []*event.Event
	for sc.bot.seen[which] == nil || len(keys) == 0 {
		resp := sc.bot.get()
		keys = append(keys, resp.ToDevice.Events...)
		resp.ToDevice.Events = nil
		sc.bot.take(resp)
	}
	if _, _, err := sc.bot.tryRead(which); !errors.Is(err, errNoKey) {
		t.Fatalf("without its key: %v, want errNoKey", err)
	}
	select {
	case <-sc.bot.NewKeys():
		t.Fatal("told of keys that did not come")
	default:
	}
	late := new(mautrix.RespSync)
	late.ToDevice.Events = keys
	late.DeviceOTKCount.SignedCurve25519 = otkEnough
	again := syncAgain(t, late)
	sc.bot.take(late)
	select {
	case <-sc.bot.NewKeys():
	default:
		t.Fatal("not told that a key came")
	}
	for range 2 { // the same event can be read again
		if text, _, err := sc.bot.tryRead(which); err != nil || text != "the key comes later" {
			t.Fatalf("with its key: %q, %v", text, err)
		}
		sc.bot.take(syncAgain(t, again)) // and the same response taken again
	}
}

// A key that can't be stored is not lost: the response comes again.
func TestCipherDiskFull(t *testing.T) {
	sc := newKeyScene(t)
	exec := func(stmt string) {
		t.Helper()
		if _, err := sc.bot.db.Exec(keyContext(t), stmt); err != nil {
			t.Fatal(err)
		}
	}
	exec(`CREATE TRIGGER full BEFORE INSERT ON crypto_megolm_inbound_session BEGIN SELECT RAISE(ABORT, 'no room'); END`)
	which := sc.boris.Say(sc.room, "while the disk is full")
	refused := 0
	for sc.bot.seen[which] == nil || refused == 0 {
		resp := sc.bot.get()
		err := sc.bot.ProcessSync(keyContext(t), syncAgain(t, resp), "x")
		if len(resp.ToDevice.Events) == 0 {
			if err != nil {
				t.Fatal(err)
			}
			continue
		}
		if err == nil {
			t.Fatal("a key was not stored, and nothing said")
		}
		refused++
		exec(`DROP TRIGGER full`)
		sc.bot.take(syncAgain(t, resp))
	}
	if text, _ := sc.bot.read(which); text != "while the disk is full" {
		t.Errorf("read %q", text)
	}
}

func TestCipherRefusesWhatIsForged(t *testing.T) {
	sc := newKeyScene(t)
	which := sc.anna.Say(sc.room, "I did it")
	sc.bot.read(which)
	forged := *sc.bot.seen[which]
	forged.Sender = sc.boris.ID
	if _, err := sc.bot.Decrypt(keyContext(t), &forged); !errors.Is(err, errOtherSender) {
		t.Errorf("under another name: %v, want errOtherSender", err)
	}
	replayed := *sc.bot.seen[which]
	replayed.ID = "$another"
	if _, err := sc.bot.Decrypt(keyContext(t), &replayed); err == nil || errors.Is(err, errNoKey) {
		t.Errorf("the same again under another ID: %v, want a refusal", err)
	}
	moved := *sc.bot.seen[which]
	moved.RoomID = "!other:localhost"
	if plain, err := sc.bot.Decrypt(keyContext(t), &moved); err == nil {
		t.Errorf("in another room: read %v", plain.Content.Raw)
	}
	broken := *sc.bot.seen[which]
	if err := broken.Content.ParseRaw(event.EventEncrypted); err != nil {
		t.Fatal(err)
	}
	sealed := *broken.Content.AsEncrypted()
	sealed.MegolmCiphertext = bytes.Clone(sealed.MegolmCiphertext)
	sealed.MegolmCiphertext[60], sealed.MegolmCiphertext[61] = sealed.MegolmCiphertext[61]^1, 'A'
	broken.Content = event.Content{Parsed: &sealed}
	if _, err := sc.bot.Decrypt(keyContext(t), &broken); err == nil || errors.Is(err, errNoKey) {
		t.Errorf("altered: %v, want a refusal", err)
	}
	for _, c := range []event.Content{{}, {VeryRaw: []byte(`{}`)}, {VeryRaw: []byte(`{"algorithm":"m.megolm.v1.aes-sha2","ciphertext":"","session_id":""}`)}} {
		if _, err := sc.bot.Decrypt(keyContext(t), &event.Event{Sender: sc.anna.ID, RoomID: sc.room, Type: event.EventEncrypted, Content: c}); err == nil {
			t.Errorf("nothing inside, and no error: %s", c.VeryRaw)
		}
	}
}

func TestCipherUnknownRoom(t *testing.T) {
	sc := newKeyScene(t)
	sc.bot.end()
	sc.bot.mustStart()
	_, err := sc.bot.Encrypt(keyContext(t), sc.room, event.EventMessage, &event.MessageEventContent{MsgType: event.MsgText, Body: "?"})
	if !errors.Is(err, errUnknownRoom) {
		t.Fatalf("%v, want errUnknownRoom", err)
	}
}

// The room's key goes out anew when somebody came or went, also while we were away.
func TestCipherNewKeyForNewMembers(t *testing.T) {
	sc := newKeyScene(t)
	_, first := sc.bot.say(sc.room, "one")
	_, same := sc.bot.say(sc.room, "two")
	if first.SessionID != same.SessionID {
		t.Error("a new key without need")
	}
	carla := person.JoinEncrypted(t, sc.s, "carla")
	sc.anna.Invite(sc.room, carla.ID)
	carla.WaitJoined(sc.room, carla.ID)
	sc.bot.until("Carla", func() bool { return sc.bot.member(sc.room, carla.ID) == event.MembershipJoin })
	which, joined := sc.bot.say(sc.room, "welcome")
	personReads(t, carla, sc.room, which, "welcome")
	if joined.SessionID == first.SessionID {
		t.Error("who came was given the old key")
	}
	sc.anna.Kick(sc.room, carla.ID)
	sc.bot.until("Carla to be out", func() bool { return sc.bot.member(sc.room, carla.ID) != event.MembershipJoin })
	if _, left := sc.bot.say(sc.room, "among us"); left.SessionID == joined.SessionID {
		t.Error("who went has the key of what is written now")
	}
	sc.bot.end()
	sc.anna.Invite(sc.room, carla.ID)
	carla.WaitMembers(sc.room, event.MembershipJoin, carla.ID)
	sc.bot.mustStart().know(sc.room)
	which, _ = sc.bot.say(sc.room, "after a start")
	personReads(t, carla, sc.room, which, "after a start")
	personReads(t, sc.anna, sc.room, which, "after a start")
}

func (d *keyDevice) member(room id.RoomID, user id.UserID) event.Membership {
	m, err := d.client.StateStore.GetMember(keyContext(d.t), room, user)
	if err != nil {
		d.t.Fatal(err)
	}
	return m.Membership
}

// Who is invited reads along unless the room shows nothing from before joining.
func TestCipherInvited(t *testing.T) {
	sc := newKeyScene(t)
	dora := person.New(t, person.Config{Server: sc.s, Name: "dora", Encrypted: true, Waits: true})
	sc.anna.Invite(sc.room, dora.ID)
	sc.bot.until("the invitation", func() bool { return sc.bot.member(sc.room, dora.ID) == event.MembershipInvite })
	which, _ := sc.bot.say(sc.room, "before Dora came")
	dora.Enter(sc.room)
	personReads(t, dora, sc.room, which, "before Dora came")

	if _, err := sc.anna.Client.SendStateEvent(keyContext(t), sc.room, event.StateHistoryVisibility, "",
		&event.HistoryVisibilityEventContent{HistoryVisibility: event.HistoryVisibilityJoined}); err != nil {
		t.Fatal(err)
	}
	emil := person.New(t, person.Config{Server: sc.s, Name: "emil", Encrypted: true, Waits: true})
	sc.anna.Invite(sc.room, emil.ID)
	sc.bot.until("the invitation", func() bool { return sc.bot.member(sc.room, emil.ID) == event.MembershipInvite })
	readers, err := sc.bot.readers(keyContext(t), sc.room)
	if err != nil || readers[emil.ID] || !readers[dora.ID] {
		t.Errorf("readers %v, %v: want Dora and not Emil", readers, err)
	}
}

// A device that a person adds reads what is written from then on.
func TestCipherNewDevice(t *testing.T) {
	sc := newKeyScene(t)
	_, before := sc.bot.say(sc.room, "before")
	second := newKeyDevice(t, sc.s, sc.s.Login(t, "anna", person.Password("anna"))).mustStart()
	second.sync()
	sc.bot.until("the new device", func() bool {
		d, err := sc.bot.store.GetDevice(keyContext(t), sc.anna.ID, second.client.DeviceID)
		return err == nil && d != nil
	})
	which, after := sc.bot.say(sc.room, "after")
	if text, _ := second.read(which); text != "after" {
		t.Errorf("read %q", text)
	}
	if before.SessionID == after.SessionID {
		t.Error("the new device was given the old key")
	}
	personReads(t, sc.anna, sc.room, which, "after")
	personReads(t, sc.boris, sc.room, which, "after")
}

// Twenty rooms at once, two messages each, while the sync goes on.
func TestCipherManyRooms(t *testing.T) {
	sc := newKeyScene(t)
	rooms := make([]id.RoomID, 20)
	for i := range rooms {
		rooms[i] = sc.anna.CreateRoom(fmt.Sprintf("Bay %d", i), true, sc.bot.client.UserID)
	}
	for _, room := range rooms {
		sc.bot.until("the room", func() bool {
			known, _ := sc.bot.client.StateStore.HasFetchedMembers(keyContext(t), room)
			return known
		})
	}
	type sent struct {
		room id.RoomID
		text string
		id   id.EventID
	}
	out := make(chan sent, 2*len(rooms))
	var all sync.WaitGroup
	begin := time.Now()
	for i := range 2 * len(rooms) {
		all.Go(func() {
			room, text := rooms[i%len(rooms)], fmt.Sprintf("message %d", i)
			sealed, err := sc.bot.Encrypt(keyContext(t), room, event.EventMessage, &event.MessageEventContent{MsgType: event.MsgText, Body: text})
			if err != nil {
				t.Error(err)
				return
			}
			resp, err := sc.bot.client.SendMessageEvent(keyContext(t), room, event.EventEncrypted, sealed, mautrix.ReqSendEvent{DontEncrypt: true})
			if err != nil {
				t.Error(err)
				return
			}
			out <- sent{room, text, resp.EventID}
		})
	}
	which := sc.boris.Say(sc.room, "meanwhile")
	sc.bot.read(which)
	all.Wait()
	t.Logf("%d messages in %d rooms, keys given out: %v", 2*len(rooms), len(rooms), time.Since(begin))
	close(out)
	n := 0
	for m := range out {
		personReads(t, sc.anna, m.room, m.id, m.text)
		n++
	}
	if n != 2*len(rooms) {
		t.Errorf("%d of %d were sent", n, 2*len(rooms))
	}
}

func BenchmarkCipher(b *testing.B) {
	sc := newKeyScene(b)
	which, _ := sc.bot.say(sc.room, "a message of usual length, with a figure or two in it: 16,4 %")
	sc.bot.until("our own message", func() bool { return sc.bot.seen[which] != nil })
	content := &event.MessageEventContent{MsgType: event.MsgText, Body: "a message of usual length, with a figure or two in it: 16,4 %"}
	b.Run("encrypt", func(b *testing.B) { // every 100th gives out a new key
		for b.Loop() {
			if _, err := sc.bot.Encrypt(keyContext(b), sc.room, event.EventMessage, content); err != nil {
				b.Fatal(err)
			}
		}
	})
	b.Run("decrypt", func(b *testing.B) {
		for b.Loop() {
			if _, err := sc.bot.Decrypt(keyContext(b), sc.bot.seen[which]); err != nil {
				b.Fatal(err)
			}
		}
	})
}
