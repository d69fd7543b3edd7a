//go:build goolm

package matrix

import (
	"context"
	"encoding/json"
	"errors"
	"net/http"
	"testing"
	"time"

	"maunium.net/go/mautrix"
	"maunium.net/go/mautrix/event"
	"maunium.net/go/mautrix/id"

	"milepost/adapters/matrix/homeserver"
	"milepost/adapters/matrix/person"
)

// keyDevice is a device whose sync is taken step by step by the test.
type keyDevice struct {
	t      testing.TB
	cfg    Config
	client *mautrix.Client
	*olmCipher
	since string
	seen  map[id.EventID]*event.Event // as they came
}

func keyContext(t testing.TB) context.Context {
	ctx, cancel := context.WithTimeout(context.Background(), person.Patience)
	t.Cleanup(cancel)
	return ctx
}

// newKeyDevice is one of an account's devices, not opened yet.
func newKeyDevice(t testing.TB, s *homeserver.Server, a homeserver.Account) *keyDevice {
	t.Helper()
	d := &keyDevice{t: t, seen: map[id.EventID]*event.Event{}, cfg: Config{Homeserver: s.URL(), User: a.UserID, AccessToken: a.AccessToken,
		PickleKey: "a pickle key of the test", Dir: t.TempDir(), Encryption: true}}
	client, err := mautrix.NewClient(d.cfg.Homeserver, id.UserID(a.UserID), a.AccessToken)
	if err != nil {
		t.Fatal(err)
	}
	client.DeviceID = id.DeviceID(a.DeviceID)
	client.Client = &http.Client{Timeout: time.Minute, Transport: &http.Transport{}}
	client.StateStore = newRooms()
	d.client = client
	t.Cleanup(func() { client.Client.CloseIdleConnections() })
	return d
}

// start opens the keys, as after a start of the program: nothing of before is in memory.
func (d *keyDevice) start() error {
	d.client.StateStore = newRooms()
	c, err := openOlm(keyContext(d.t), d.client, d.cfg)
	if err == nil {
		d.olmCipher = c
		d.t.Cleanup(d.end)
	}
	return err
}

func (d *keyDevice) mustStart() *keyDevice {
	d.t.Helper()
	if err := d.start(); err != nil {
		d.t.Fatal(err)
	}
	return d
}

func (d *keyDevice) end() {
	if d.olmCipher == nil {
		return
	}
	if err := d.olmCipher.Close(); err != nil {
		d.t.Error(err)
	}
	d.olmCipher = nil
}

// get takes what is new from the server, without handling it. The position moves on.
func (d *keyDevice) get() *mautrix.RespSync {
	d.t.Helper()
	resp, err := d.client.SyncRequest(keyContext(d.t), 200, d.since, "", false, "")
	if err != nil {
		d.t.Fatal(err)
	}
	d.since = resp.NextBatch
	for room, r := range resp.Rooms.Join {
		for _, e := range r.Timeline.Events {
			e.RoomID = room
			d.seen[e.ID] = e
		}
	}
	return resp
}

func (d *keyDevice) take(resp *mautrix.RespSync) {
	d.t.Helper()
	if err := d.ProcessSync(keyContext(d.t), resp, "not the first"); err != nil {
		d.t.Fatal(err)
	}
}

// sync takes one step, and joins where invited.
func (d *keyDevice) sync() {
	d.t.Helper()
	resp := d.get()
	d.take(resp)
	for room := range resp.Rooms.Invite {
		d.enter(room)
	}
}

func (d *keyDevice) enter(room id.RoomID) {
	d.t.Helper()
	if _, err := d.client.JoinRoomByID(keyContext(d.t), room); err != nil {
		d.t.Fatal(err)
	}
	d.know(room)
}

// know asks who is in a room.
func (d *keyDevice) know(room id.RoomID) {
	d.t.Helper()
	if _, err := d.client.State(keyContext(d.t), room); err != nil {
		d.t.Fatal(err)
	}
}

// until takes steps until something is so.
func (d *keyDevice) until(what string, so func() bool) {
	d.t.Helper()
	for end := time.Now().Add(person.Patience); !so(); d.sync() {
		if time.Now().After(end) {
			d.t.Fatalf("%s: waited in vain for %s", d.client.DeviceID, what)
		}
	}
}

// say encrypts a text and sends it.
func (d *keyDevice) say(room id.RoomID, text string) (id.EventID, *event.EncryptedEventContent) {
	d.t.Helper()
	ctx := keyContext(d.t)
	sealed, err := d.Encrypt(ctx, room, event.EventMessage, &event.MessageEventContent{MsgType: event.MsgText, Body: text})
	if err != nil {
		d.t.Fatal(err)
	}
	resp, err := d.client.SendMessageEvent(ctx, room, event.EventEncrypted, sealed, mautrix.ReqSendEvent{DontEncrypt: true})
	if err != nil {
		d.t.Fatal(err)
	}
	return resp.EventID, sealed
}

// read gives the text of an event, once it is here.
func (d *keyDevice) read(which id.EventID) (string, id.TrustState) {
	d.t.Helper()
	text, trust, err := d.tryRead(which)
	for end := time.Now().Add(person.Patience); errors.Is(err, errNoKey) && time.Now().Before(end); text, trust, err = d.tryRead(which) {
		d.sync()
	}
	if err != nil {
		d.t.Fatalf("%s: %v", which, err)
	}
	return text, trust
}

func (d *keyDevice) tryRead(which id.EventID) (string, id.TrustState, error) {
	d.t.Helper()
	d.until("event "+string(which), func() bool { return d.seen[which] != nil })
	plain, err := d.Decrypt(keyContext(d.t), d.seen[which])
	if err != nil {
		return "", 0, err
	}
	return plain.Content.AsMessage().Body, plain.Mautrix.TrustState, nil
}

// personReads fails unless a person reads a text in an event of ours.
func personReads(t testing.TB, p *person.Person, room id.RoomID, which id.EventID, text string) person.Event {
	t.Helper()
	var found person.Event
	p.Wait(room, "event "+string(which)+" with "+text, func(all []person.Event) bool {
		for _, e := range all {
			if e.ID == which && e.Decrypted && e.Body == text {
				found = e
				return true
			}
		}
		return false
	})
	return found
}

// keyScene is a room that Anna made encrypted and Boris joined before the device was
// invited. It is on a server of its own, beside those of other tests.
type keyScene struct {
	s           *homeserver.Server
	anna, boris *person.Person
	a           homeserver.Account
	bot         *keyDevice
	room        id.RoomID
}

func newKeyScene(t testing.TB) *keyScene {
	t.Helper()
	if t, ok := t.(*testing.T); ok {
		t.Parallel()
	}
	s := homeserver.Start(t, homeserver.Options{})
	sc := &keyScene{s: s, anna: person.JoinEncrypted(t, s, "anna"), boris: person.JoinEncrypted(t, s, "boris")}
	sc.room = sc.anna.CreateRoom("Workshop", true, sc.boris.ID)
	sc.anna.WaitJoined(sc.room, sc.boris.ID)
	sc.a = s.Register(t, "milepost", "password of milepost")
	sc.bot = newKeyDevice(t, s, sc.a).mustStart()
	sc.bot.sync()
	sc.anna.Invite(sc.room, sc.bot.client.UserID)
	sc.bot.until("the invitation", func() bool {
		known, _ := sc.bot.client.StateStore.HasFetchedMembers(context.Background(), sc.room)
		return known
	})
	for _, p := range []*person.Person{sc.anna, sc.boris} {
		p.WaitJoined(sc.room, sc.bot.client.UserID)
	}
	return sc
}

// serverSays answers some requests in the server's place.
type serverSays struct {
	next http.RoundTripper
	do   func(*http.Request) *http.Response // nil: the server's
}

func (r *serverSays) RoundTrip(req *http.Request) (*http.Response, error) {
	if resp := r.do(req); resp != nil {
		return resp, nil
	}
	return r.next.RoundTrip(req)
}

// syncAgain gives a response as the server would send it again.
func syncAgain(t testing.TB, resp *mautrix.RespSync) *mautrix.RespSync {
	t.Helper()
	text, err := json.Marshal(resp)
	if err != nil {
		t.Fatal(err)
	}
	again := new(mautrix.RespSync)
	if err := json.Unmarshal(text, again); err != nil {
		t.Fatal(err)
	}
	return again
}
