//go:build goolm

package matrix

import (
	"context"
	"errors"
	"io"
	"net/http"
	"strings"
	"testing"

	"maunium.net/go/mautrix/id"

	"milepost/adapters/matrix/homeserver"
	"milepost/adapters/matrix/person"
	"milepost/bot"
)

const keyPassword = "password of milepost"

func cipherSays(t *testing.T, all []bot.Finding, ok bool, words string) {
	t.Helper()
	for _, f := range all {
		if strings.Contains(f.What, words) {
			if f.OK != ok || f.OK != (f.Mend == "") || f.Area != NetworkName {
				t.Errorf("%+v, want OK %v", f, ok)
			}
			return
		}
	}
	t.Errorf("nothing of %q found in %+v", words, all)
}

func TestCipherSigns(t *testing.T) {
	s := homeserver.Start(t, homeserver.Options{})
	anna := person.JoinEncrypted(t, s, "anna")
	d := newKeyDevice(t, s, s.Register(t, "milepost", keyPassword))
	trust := func() string { return anna.Trust(d.client.UserID)[d.client.DeviceID] }

	d.mustStart()
	cipherSays(t, d.Findings(keyContext(t)), false, "the account has no keys")
	if got := trust(); got != id.TrustStateUnset.String() {
		t.Fatalf("trust %s of a device that nobody signed", got)
	}
	d.end()

	// What can't be kept is not made.
	d.cfg.Password = keyPassword
	d.cfg.SaveRecoveryKey = func(string) error { return errors.New("no such folder") }
	d.mustStart()
	cipherSays(t, d.Findings(keyContext(t)), false, "the account has no keys")
	d.end()

	// Cut short after the recovery key was kept, it goes on at the next start.
	var kept string
	saves := 0
	d.cfg.SaveRecoveryKey = func(key string) error { kept, saves = key, saves+1; return nil }
	server := d.client.Client.Transport
	d.client.Client.Transport = &serverSays{next: server, do: func(r *http.Request) *http.Response {
		if !strings.HasSuffix(r.URL.Path, "/device_signing/upload") {
			return nil
		}
		return &http.Response{StatusCode: 502, Header: http.Header{}, Request: r, Body: io.NopCloser(strings.NewReader(`{}`))}
	}}
	d.mustStart()
	d.end()
	if kept == "" || saves != 1 {
		t.Fatalf("recovery key %q, kept %d times", kept, saves)
	}
	d.client.Client.Transport = server
	d.cfg.RecoveryKey = kept
	d.mustStart()
	if got := trust(); got != id.TrustStateCrossSignedTOFU.String() {
		t.Errorf("trust %s after signing", got)
	}
	all := d.Findings(keyContext(t))
	for _, f := range all {
		t.Log(f.What)
	}
	for _, w := range []string{"our device is signed by the account", "has the keys of our device", "one-time keys", "is sound", "without a published audit", string(d.client.DeviceID) + ", session key", "only one"} {
		cipherSays(t, all, true, w)
	}
	if d.mach.CrossSigningKeys != nil {
		t.Error("the keys to sign with are still in memory")
	}
	d.end()
	d.cfg.RecoveryKey, d.cfg.Password = "", ""
	d.mustStart() // signed stays signed
	cipherSays(t, d.Findings(keyContext(t)), true, "our device is signed by the account")
	d.end()

	// A new device: without the recovery key, with a wrong one, with the right one.
	e := newKeyDevice(t, s, s.Login(t, "milepost", keyPassword))
	e.mustStart()
	all = e.Findings(keyContext(t))
	cipherSays(t, all, false, "our device is not signed")
	cipherSays(t, all, true, "others of the account: "+string(d.client.DeviceID))
	e.end()
	e.cfg.RecoveryKey = "EsTc LW2K PGiF wKEA 3As5 g5c4 BXwk qeeJ ZJV8 Q9fu gUMN UE4d"
	e.cfg.SaveRecoveryKey = func(string) error { t.Error("keys made anew for an account that has some"); return nil }
	e.cfg.Password = keyPassword
	e.mustStart()
	cipherSays(t, e.Findings(keyContext(t)), false, "our device is not signed")
	e.end()
	e.cfg.RecoveryKey = kept
	e.mustStart()
	cipherSays(t, e.Findings(keyContext(t)), true, "our device is signed by the account")
	if got := anna.Trust(e.client.UserID)[e.client.DeviceID]; got != id.TrustStateCrossSignedTOFU.String() {
		t.Errorf("trust %s of the second device", got)
	}

	// The same is found while it runs, and by whoever only looks.
	cipherSays(t, keyFindings(context.Background(), e.client, e.cfg), true, "our device is signed by the account")
	cipherSays(t, keyFindings(context.Background(), d.client, d.cfg), true, "our device is signed by the account")
	wrong := d.cfg
	wrong.PickleKey = "another"
	cipherSays(t, keyFindings(context.Background(), d.client, wrong), false, "can't be read")
	wrong.Dir = t.TempDir()
	cipherSays(t, keyFindings(context.Background(), d.client, wrong), true, "no keys yet")
	cipherSays(t, keyFindings(context.Background(), e.client, d.cfg), false, "the access token is that of "+string(e.client.DeviceID))
}

// A signed person's messages carry that, and our signature is seen by others.
func TestCipherTrust(t *testing.T) {
	sc := newKeyScene(t)
	sc.bot.end()
	sc.bot.cfg.Password, sc.bot.cfg.SaveRecoveryKey = keyPassword, func(string) error { return nil }
	sc.bot.mustStart().know(sc.room)
	sc.anna.Trust(sc.bot.client.UserID) // her client asks for our keys again
	which, _ := sc.bot.say(sc.room, "signed, and known to be")
	if e := personReads(t, sc.anna, sc.room, which, "signed, and known to be"); e.Trust != id.TrustStateCrossSignedTOFU.String() {
		t.Errorf("trust %s", e.Trust)
	}

	second := newKeyDevice(t, sc.s, sc.s.Login(t, "boris", person.Password("boris")))
	second.cfg.Password, second.cfg.SaveRecoveryKey = person.Password("boris"), func(string) error { return nil }
	second.mustStart().sync()
	second.know(sc.room)
	which, _ = second.say(sc.room, "from a signed device")
	if got, trust := sc.bot.read(which); got != "from a signed device" || trust != id.TrustStateCrossSignedTOFU {
		t.Errorf("read %q, trust %v", got, trust)
	}
	if got, trust := sc.bot.read(sc.boris.Say(sc.room, "from an unsigned one")); got != "from an unsigned one" || trust != id.TrustStateUnset {
		t.Errorf("read %q, trust %v", got, trust)
	}
}
