package matrix

import (
	"context"
	"net/http"
	"strings"
	"testing"

	"maunium.net/go/mautrix/event"

	"milepost/adapters/matrix/homeserver"
	"milepost/adapters/matrix/person"
	"milepost/bot"
)

// findingsWith gives the findings with a part in them.
func findingsWith(all []bot.Finding, part string) (hits []bot.Finding) {
	for _, f := range all {
		if strings.Contains(f.What, part) {
			hits = append(hits, f)
		}
	}
	return hits
}

func TestCheck(t *testing.T) {
	s := homeserver.Start(t, homeserver.Options{})
	proxy := homeserver.NewProxy(t, s)
	j := newJob(t, s, proxy.URL(), "milepost", false)
	closed := j.kim.CreateRoom("where it may not write", false, j.user())
	j.room = closed
	j.joined()
	var pl event.PowerLevelsEventContent
	if err := j.kim.Client.StateEvent(t.Context(), closed, event.StatePowerLevels, "", &pl); err != nil {
		t.Fatal(err)
	}
	pl.EventsDefault = 50
	if _, err := j.kim.Client.SendStateEvent(t.Context(), closed, event.StatePowerLevels, "", &pl); err != nil {
		t.Fatal(err)
	}
	secret := j.kim.CreateRoom("encrypted later", false, j.user())
	j.room = secret
	j.joined()
	j.kim.TurnEncrypted(secret)
	room, _ := splitThread(j.thread)
	cfg := j.cfg
	cfg.Patterns = []string{room, closed.String(), secret.String(), "!elsewhere:localhost", "@*:localhost"}
	look := func(t *testing.T, cfg Config) []bot.Finding {
		t.Helper()
		m, err := New(cfg)
		if err != nil {
			t.Fatal(err)
		}
		all := m.Check(t.Context())
		for _, f := range all {
			if f.Area != NetworkName || f.What == "" || f.OK == (f.Mend != "") || strings.Contains(f.What+f.Mend, cfg.AccessToken) && cfg.AccessToken != "" || strings.Contains(f.What, "\n") {
				t.Errorf("finding %+v", f)
			}
		}
		return all
	}
	t.Run("rooms", func(t *testing.T) {
		before := len(proxy.Requests("", ""))
		all := look(t, cfg)
		for part, ok := range map[string]bool{
			"answers": true, "logged in as @milepost:localhost": true, "files up to 10.0 MiB": true,
			"room " + room + ": joined, not encrypted, may write and react":                                                true,
			"room " + closed.String() + " (not encrypted): the assistant may not write, it has power level 0 and needs 50": false,
			"room " + secret.String() + " is encrypted":                                                                    false,
			"room !elsewhere:localhost: the assistant is not in it":                                                        false,
		} {
			if hits := findingsWith(all, part); len(hits) != 1 || hits[0].OK != ok {
				t.Errorf("%q: %+v in\n%+v", part, hits, all)
			}
		}
		for _, r := range proxy.Requests("", "")[before:] {
			if r.Method != http.MethodGet && !strings.Contains(r.Path, "/sync") && !strings.HasSuffix(r.Path, "/keys/query") {
				t.Errorf("a check asked %s %s: it changes nothing", r.Method, r.Path)
			}
		}
	})
	t.Run("no homeserver", func(t *testing.T) {
		c := cfg
		c.Homeserver = "http://127.0.0.1:1"
		if all := look(t, c); len(all) != 1 || all[0].OK {
			t.Errorf("%+v", all)
		}
	})
	t.Run("somebody else's token", func(t *testing.T) {
		c := cfg
		c.AccessToken = j.kim.Token
		if hits := findingsWith(look(t, c), "that of @kim:localhost"); len(hits) != 1 || hits[0].OK {
			t.Errorf("%+v", hits)
		}
	})
	t.Run("no such token", func(t *testing.T) {
		c := cfg
		c.AccessToken = "gone"
		if hits := findingsWith(look(t, c), "not valid"); len(hits) != 1 || hits[0].OK {
			t.Errorf("%+v", hits)
		}
	})
	t.Run("password, no device yet", func(t *testing.T) {
		c := cfg
		c.AccessToken, c.Password, c.Dir = "", person.Password("milepost"), t.TempDir()
		if hits := findingsWith(look(t, c), "no device yet"); len(hits) != 1 || !hits[0].OK {
			t.Errorf("%+v", hits)
		}
		devices, err := j.m.client.GetDevicesInfo(context.Background())
		if err != nil || len(devices.Devices) != 1 {
			t.Errorf("a check made a device: %v, %v", devices, err)
		}
	})
}

func TestCheckEncryption(t *testing.T) {
	s := homeserver.Start(t, homeserver.Options{})
	j := newJob(t, s, s.URL(), "milepost", true)
	cfg := j.cfg
	cfg.Patterns = []string{j.room.String()}
	m, err := New(cfg)
	if err != nil {
		t.Fatal(err)
	}
	all := m.Check(t.Context())
	if hits := findingsWith(all, "encryption: device "+string(j.m.client.DeviceID)); len(hits) != 1 || !hits[0].OK {
		t.Errorf("%+v", all)
	}
	if hits := findingsWith(all, ": joined, encrypted, may write and react"); len(hits) != 1 || !hits[0].OK {
		t.Errorf("%+v", all)
	}
}
