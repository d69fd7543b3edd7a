//go:build goolm

package matrix

import (
	"context"
	"errors"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"maunium.net/go/mautrix"
	"maunium.net/go/mautrix/event"
	"maunium.net/go/mautrix/id"

	"milepost/adapters/matrix/homeserver"
	"milepost/adapters/own"
	"milepost/bot"
)

// startRefused fails unless an error tells the operator of something that must be done.
func startRefused(t *testing.T, err error, words ...string) {
	t.Helper()
	var e *bot.Error
	if !errors.As(err, &e) || e.Kind != bot.Invalid {
		t.Fatalf("%v, want a refusal", err)
	}
	for _, w := range words {
		if !strings.Contains(err.Error(), w) {
			t.Errorf("%q does not say %q", err, w)
		}
	}
	t.Log(err)
}

func TestCipherRestart(t *testing.T) {
	sc := newKeyScene(t)
	before := sc.anna.Say(sc.room, "before")
	sc.bot.read(before)
	fingerprint := sc.bot.mach.Fingerprint()
	sc.bot.end()
	during := sc.boris.Say(sc.room, "during")
	sc.bot.mustStart().know(sc.room)
	if now := sc.bot.mach.Fingerprint(); now != fingerprint {
		t.Errorf("session key %s, before %s", now, fingerprint)
	}
	for which, want := range map[id.EventID]string{before: "before", during: "during"} {
		if got, _ := sc.bot.read(which); got != want {
			t.Errorf("read %q, want %q", got, want)
		}
	}
	which, _ := sc.bot.say(sc.room, "after")
	personReads(t, sc.anna, sc.room, which, "after")
	personReads(t, sc.boris, sc.room, which, "after")
}

// A response that was taken, but whose position was not kept, comes again after
// the start.
func TestCipherCrash(t *testing.T) {
	sc := newKeyScene(t)
	which := sc.anna.Say(sc.room, "once")
	since := sc.bot.since
	sc.bot.read(which)
	sc.bot.end()
	sc.bot.mustStart().know(sc.room)
	sc.bot.since = since
	clear(sc.bot.seen)
	if got, _ := sc.bot.read(which); got != "once" {
		t.Errorf("read %q", got)
	}
	next := sc.anna.Say(sc.room, "again")
	if got, _ := sc.bot.read(next); got != "again" {
		t.Errorf("read %q", got)
	}
}

func TestCipherRefuses(t *testing.T) {
	s := homeserver.Start(t, homeserver.Options{})
	a := s.Register(t, "milepost", keyPassword)
	whole := newKeyDevice(t, s, a).mustStart()
	whole.end()
	path := filepath.Join(whole.cfg.Dir, cryptoFile)
	kept, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}

	t.Run("database lost", func(t *testing.T) {
		startRefused(t, newKeyDevice(t, s, a).start(), "are lost", "log in anew", a.DeviceID)
	})
	t.Run("other device", func(t *testing.T) {
		d := newKeyDevice(t, s, s.Login(t, "milepost", keyPassword))
		d.cfg.Dir = whole.cfg.Dir
		startRefused(t, d.start(), a.DeviceID, string(d.client.DeviceID))
	})
	t.Run("pickle key", func(t *testing.T) {
		d := newKeyDevice(t, s, a)
		d.cfg.Dir, d.cfg.PickleKey = whole.cfg.Dir, "another"
		startRefused(t, d.start(), "pickle key")
		d.cfg.PickleKey = ""
		startRefused(t, d.start(), "pickle key")
	})
	t.Run("gone from the server", func(t *testing.T) {
		d := newKeyDevice(t, s, a)
		d.cfg.Dir = whole.cfg.Dir
		d.client.Client.Transport = &serverSays{next: d.client.Client.Transport, do: func(r *http.Request) *http.Response {
			if !strings.HasSuffix(r.URL.Path, "/keys/query") {
				return nil
			}
			return &http.Response{StatusCode: 200, Header: http.Header{}, Request: r, Body: io.NopCloser(strings.NewReader(`{"device_keys":{}}`))}
		}}
		startRefused(t, d.start(), "no longer has the keys", "log in anew")
	})
	t.Run("other keys", func(t *testing.T) {
		other := newKeyDevice(t, s, s.Register(t, "other", keyPassword)).mustStart()
		other.end()
		d := newKeyDevice(t, s, a)
		d.cfg.Dir = other.cfg.Dir
		db, err := own.Open(keyContext(t), filepath.Join(d.cfg.Dir, cryptoFile))
		if err != nil {
			t.Fatal(err)
		}
		if _, err := db.Exec("UPDATE crypto_account SET account_id = ?, device_id = ?", a.UserID, a.DeviceID); err != nil {
			t.Fatal(err)
		}
		db.Close()
		startRefused(t, d.start(), "not those the homeserver has", "log in anew")
	})
	t.Run("server away", func(t *testing.T) {
		d := newKeyDevice(t, s, a)
		d.client.Client.Transport = &serverSays{do: func(r *http.Request) *http.Response {
			return &http.Response{StatusCode: 502, Header: http.Header{}, Request: r, Body: io.NopCloser(strings.NewReader(`{}`))}
		}}
		var e *bot.Error
		if err := d.start(); !errors.As(err, &e) || e.Kind != bot.Unavailable {
			t.Fatalf("%v, want unavailable", err)
		}
	})
	t.Run("crash between upload and note", func(t *testing.T) {
		d := newKeyDevice(t, s, a)
		if err := os.WriteFile(filepath.Join(d.cfg.Dir, cryptoFile), kept, 0o600); err != nil {
			t.Fatal(err)
		}
		db, err := own.Open(keyContext(t), filepath.Join(d.cfg.Dir, cryptoFile))
		if err != nil {
			t.Fatal(err)
		}
		if _, err := db.Exec("UPDATE crypto_account SET shared = false"); err != nil {
			t.Fatal(err)
		}
		db.Close()
		d.mustStart()
	})
	t.Run("and still whole", func(t *testing.T) { whole.mustStart() })
}

// A person whose identity is erased is in no byte of what is kept, and can be
// spoken with again afterwards.
func TestCipherForgetPeople(t *testing.T) {
	sc := newKeyScene(t)
	dora := newKeyDevice(t, sc.s, sc.s.Register(t, "dora", keyPassword)).mustStart()
	dora.sync()
	sc.anna.Invite(sc.room, dora.client.UserID)
	dora.until("the invitation", func() bool { return dora.member(sc.room, dora.client.UserID) == event.MembershipJoin })
	sc.bot.until("Dora", func() bool { return sc.bot.member(sc.room, dora.client.UserID) == event.MembershipJoin })
	which, _ := dora.say(sc.room, "forget me")
	sc.bot.read(which)
	sc.bot.say(sc.room, "so be it")
	names := []string{string(dora.client.UserID), string(dora.client.DeviceID), string(dora.mach.OwnIdentity().IdentityKey), string(dora.mach.OwnIdentity().SigningKey)}
	for _, name := range names {
		if n := inKeyBytes(t, sc.bot.cfg.Dir, name); n == 0 {
			t.Fatalf("%s is in no file: the test sees nothing", name)
		}
	}
	if err := sc.bot.ForgetPeople(keyContext(t), []id.UserID{dora.client.UserID, sc.bot.client.UserID}); err != nil {
		t.Fatal(err)
	}
	for _, name := range names {
		if n := inKeyBytes(t, sc.bot.cfg.Dir, name); n != 0 {
			t.Errorf("%s is %d times in what is kept", name, n)
		}
	}
	if n := inKeyBytes(t, sc.bot.cfg.Dir, string(sc.boris.ID)); n == 0 {
		t.Error("Boris is forgotten, too")
	}
	if _, _, err := sc.bot.tryRead(which); !errors.Is(err, errNoKey) {
		t.Errorf("what Dora wrote: %v, want errNoKey", err)
	}
	// Her client still uses the key that was forgotten here: it is asked for. What
	// it answers can't be read, as the session with it is forgotten, too: a new one
	// is begun, and the key asked for again.
	next, _ := dora.say(sc.room, "here again")
	if _, _, err := sc.bot.tryRead(next); !errors.Is(err, errNoKey) {
		t.Fatalf("%v, want errNoKey", err)
	}
	if err := sc.bot.AskKey(keyContext(t), sc.bot.seen[next]); err != nil {
		t.Fatal(err)
	}
	sc.bot.until("the key", func() bool {
		dora.sync()
		_, _, err := sc.bot.tryRead(next)
		return err == nil
	})
	answer, _ := sc.bot.say(sc.room, "welcome back")
	if got, _ := dora.read(answer); got != "welcome back" {
		t.Errorf("Dora read %q", got)
	}
	personReads(t, sc.boris, sc.room, answer, "welcome back")

	// The same in a program that does not run.
	sc.bot.end()
	if n := inKeyBytes(t, sc.bot.cfg.Dir, names[0]); n == 0 {
		t.Fatal("Dora is in no file: the test sees nothing")
	}
	for range 2 {
		if err := forgetStored(keyContext(t), sc.bot.cfg, []id.UserID{dora.client.UserID, sc.bot.client.UserID}); err != nil {
			t.Fatal(err)
		}
	}
	for _, name := range names {
		if n := inKeyBytes(t, sc.bot.cfg.Dir, name); n != 0 {
			t.Errorf("%s is %d times in what is kept", name, n)
		}
	}
	sc.bot.mustStart()
}

func inKeyBytes(t *testing.T, dir, what string) (n int) {
	t.Helper()
	files, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range files {
		b, err := os.ReadFile(filepath.Join(dir, f.Name()))
		if err != nil {
			t.Fatal(err)
		}
		n += strings.Count(string(b), what)
	}
	return n
}

// A key that nobody asked for, sent by another than its maker, is not taken; and
// a key is asked for once in a while only.
func TestCipherForwardedKeys(t *testing.T) {
	sc := newKeyScene(t)
	which := sc.anna.Say(sc.room, "a key that is forwarded")
	sc.bot.read(which)
	ctx := keyContext(t)
	sealed := sc.bot.seen[which].Content
	if err := sealed.ParseRaw(event.EventEncrypted); err != nil {
		t.Fatal(err)
	}
	key, err := sc.bot.store.GetGroupSession(ctx, sc.room, sealed.AsEncrypted().SessionID)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := sc.bot.db.Exec(ctx, "DELETE FROM crypto_megolm_inbound_session"); err != nil {
		t.Fatal(err)
	}
	key.KeySource, key.SourceUser = id.KeySourceForward, sc.boris.ID
	if err := sc.bot.mach.StoreGroupSession(ctx, key); err != nil {
		t.Fatal(err)
	}
	if _, _, err := sc.bot.tryRead(which); !errors.Is(err, errNoKey) {
		t.Errorf("with a key nobody asked for: %v, want errNoKey", err)
	}
	requests := 0
	sc.bot.client.Client.Transport = &serverSays{next: sc.bot.client.Client.Transport, do: func(r *http.Request) *http.Response {
		if strings.Contains(r.URL.Path, "/sendToDevice/m.room_key_request/") {
			requests++
		}
		return nil
	}}
	for range 3 {
		if err := sc.bot.AskKey(ctx, sc.bot.seen[which]); err != nil {
			t.Fatal(err)
		}
	}
	if requests != 1 {
		t.Errorf("asked %d times at once", requests)
	}
	if err := sc.bot.mach.StoreGroupSession(ctx, key); err != nil { // now asked for, but still from Boris
		t.Fatal(err)
	}
	if _, err := sc.bot.Decrypt(ctx, sc.bot.seen[which]); !errors.Is(err, errOtherSender) {
		t.Errorf("with a key from another person: %v, want errOtherSender", err)
	}
}

func TestCipherOneTimeKeys(t *testing.T) {
	s := homeserver.Start(t, homeserver.Options{})
	d := newKeyDevice(t, s, s.Register(t, "milepost", keyPassword)).mustStart()
	count := func() int {
		t.Helper()
		resp, err := d.client.UploadKeys(keyContext(t), &mautrix.ReqUploadKeys{})
		if err != nil {
			t.Fatal(err)
		}
		return resp.OneTimeKeyCounts.SignedCurve25519
	}
	had := count()
	if had < otkEnough {
		t.Fatalf("%d one-time keys after the start", had)
	}
	d.take(&mautrix.RespSync{}) // a server that leaves the count out
	if n := count(); n != had {
		t.Errorf("%d one-time keys, had %d", n, had)
	}
	for range 5 {
		if _, err := d.client.ClaimKeys(context.Background(), &mautrix.ReqClaimKeys{OneTimeKeys: mautrix.OneTimeKeysRequest{
			d.client.UserID: {d.client.DeviceID: id.KeyAlgorithmSignedCurve25519}}}); err != nil {
			t.Fatal(err)
		}
	}
	d.otkAsked = d.otkAsked.Add(-otkEvery)
	d.take(&mautrix.RespSync{})
	if n := count(); n < otkEnough {
		t.Errorf("%d one-time keys after some were used", n)
	}
}
