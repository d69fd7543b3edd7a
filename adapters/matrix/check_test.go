package matrix

import (
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"net/http/httptest"
	"net/http/httputil"
	"net/url"
	"strings"
	"sync/atomic"
	"testing"

	"maunium.net/go/mautrix/event"
	"maunium.net/go/mautrix/id"

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

// look checks a configuration, and that each finding has its form.
func look(t *testing.T, cfg Config) []bot.Finding {
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

// finds checks that there is one finding with each part, and whether it is well.
func finds(t *testing.T, all []bot.Finding, want map[string]bool) {
	t.Helper()
	for part, ok := range want {
		if hits := findingsWith(all, part); len(hits) != 1 || hits[0].OK != ok {
			t.Errorf("%q: %+v in\n%+v", part, hits, all)
		}
	}
}

// shut makes a room in which only moderators may write, with the assistant in it.
func (j *job) shut(name string) id.RoomID {
	j.t.Helper()
	room := j.kim.CreateRoom(name, false, j.user())
	j.kim.WaitJoined(room, j.user())
	var pl event.PowerLevelsEventContent
	if err := j.kim.Client.StateEvent(j.t.Context(), room, event.StatePowerLevels, "", &pl); err != nil {
		j.t.Fatal(err)
	}
	pl.EventsDefault = 50
	pl.Events[event.EventReaction.Type] = 10
	if _, err := j.kim.Client.SendStateEvent(j.t.Context(), room, event.StatePowerLevels, "", &pl); err != nil {
		j.t.Fatal(err)
	}
	return room
}

func TestCheck(t *testing.T) {
	s := homeserver.Start(t, homeserver.Options{})
	proxy := homeserver.NewProxy(t, s)
	j := newJob(t, s, proxy.URL(), "milepost", false)
	open := func(name string) id.RoomID {
		room := j.kim.CreateRoom(name, false, j.user())
		j.kim.WaitJoined(room, j.user())
		return room
	}
	closed, secret, office := j.shut("where it may not write"), open("encrypted later"), open("the office")
	j.kim.TurnEncrypted(secret)
	room, _ := splitThread(j.thread)
	cfg := j.cfg
	cfg.Patterns = []string{room, closed.String(), secret.String(), "!elsewhere:localhost", "@*:localhost"}
	cfg.Posts = []string{office.String(), "!nowhere:localhost", closed.String()}
	// Beside those of the configuration:
	open("the yard")
	open("the hall")
	hall := j.shut("their \u202ehall\n")
	t.Run("rooms", func(t *testing.T) {
		before := len(proxy.Requests("", ""))
		all := look(t, cfg)
		finds(t, all, map[string]bool{
			"answers": true, "logged in as @milepost:localhost": true, "files up to 10.0 MiB": true,
			"room " + room + ` "bay": joined, not encrypted, may write and react`:                                                                                                                        true,
			"room " + closed.String() + ` "where it may not write" (alerts, digests): joined, not encrypted, but the assistant may not write: it has power level 0 and needs 50`:                         false,
			"room " + closed.String() + ` "where it may not write" (alerts, digests): joined, not encrypted, but the assistant may not put reactions under questions: it has power level 0 and needs 10`: false,
			"room " + secret.String() + ` "encrypted later" is encrypted, and `:                                                                                                                          false,
			"room !elsewhere:localhost: the assistant is not in it":                                                                                                                                      false,
			"room " + office.String() + ` "the office" (alerts, digests): joined, not encrypted, may write and react`:                                                                                    true,
			"room !nowhere:localhost (alerts, digests): the assistant is not in it":                                                                                                                      false,
			"2 rooms beside those of the configuration: joined, 0 encrypted, may write and react":                                                                                                        true,
			"room " + hall.String() + ` "their \u202ehall\n" (not in the configuration): joined, not encrypted, but the assistant may not write`:                                                         false,
		})
		if hits := findingsWith(all, hall.String()); len(hits) != 2 || !strings.Contains(hits[0].Mend, "level 50") || !strings.Contains(hits[0].Mend, "or remove the assistant from it") {
			t.Errorf("%+v", hits)
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
		finds(t, look(t, c), map[string]bool{"that of @kim:localhost": false})
	})
	t.Run("no such token", func(t *testing.T) {
		c := cfg
		c.AccessToken = "gone"
		finds(t, look(t, c), map[string]bool{"not valid": false})
	})
	t.Run("password, no device yet", func(t *testing.T) {
		c := cfg
		c.AccessToken, c.Password, c.Dir = "", person.Password("milepost"), t.TempDir()
		finds(t, look(t, c), map[string]bool{
			"answers": true, "takes a password at login": true, "the password is that of @milepost:localhost": true,
			"no device yet": true, "only then can be seen the device and its signature, rooms and rights": true,
		})
		devices, err := j.m.now().client.GetDevicesInfo(context.Background())
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
	room := j.kim.CreateRoom("beside it", true, j.user())
	j.kim.WaitJoined(room, j.user())
	all := look(t, cfg)
	finds(t, all, map[string]bool{
		"encryption: device " + string(j.m.now().client.DeviceID):                            true,
		`"bay": joined, encrypted, may write and react`:                                      true,
		"1 room beside those of the configuration: joined, 1 encrypted, may write and react": true,
	})
	cfg.Encryption = false
	finds(t, look(t, cfg), map[string]bool{
		`"bay" is encrypted, and the configuration has encryption off`:                                  false,
		`"beside it" (not in the configuration) is encrypted, and the configuration has encryption off`: false,
	})
}

// edited stands before a homeserver and answers some paths itself.
func edited(t *testing.T, s *homeserver.Server, answers map[string]func(path string) (status int, body string)) string {
	t.Helper()
	target, err := url.Parse(s.URL())
	if err != nil {
		t.Fatal(err)
	}
	pass := httputil.NewSingleHostReverseProxy(target)
	front := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		for end, answer := range answers {
			if r.Method == http.MethodGet && strings.HasSuffix(r.URL.Path, end) {
				status, body := answer(r.URL.Path)
				w.Header().Set("Content-Type", "application/json")
				w.WriteHeader(status)
				_, _ = w.Write([]byte(body))
				return
			}
		}
		pass.ServeHTTP(w, r)
	}))
	t.Cleanup(front.Close)
	return front.URL
}

func says(status int, body string) func(string) (int, string) {
	return func(string) (int, string) { return status, body }
}

// An account in very many rooms is not looked at for hours, and what a server
// says of a room is believed no more than anything else from outside.
func TestCheckBounds(t *testing.T) {
	s := homeserver.Start(t, homeserver.Options{})
	a := s.Register(t, "milepost", "password of milepost")
	var rooms []string
	for i := range 150 {
		rooms = append(rooms, fmt.Sprintf("!%03d:localhost", i))
	}
	joined, err := json.Marshal(map[string]any{"joined_rooms": append(rooms, "no\nroom")})
	if err != nil {
		t.Fatal(err)
	}
	var asked atomic.Int64
	states := map[string]string{
		"!000:localhost": `[]`,
		"!001:localhost": `[{"type":"m.room.power_levels","state_key":"","content":{"users":"nobody","events":7}},null,7]`,
		"!002:localhost": `{"not":"a list"}`,
		"!003:localhost": `[{"type":"m.room.encryption","state_key":"","content":{"algorithm":"org.example.rot13"}}]`,
		"!149:localhost": `[{"type":"m.room.tombstone","state_key":"","content":{"replacement_room":"!150:localhost"}}]`,
	}
	front := edited(t, s, map[string]func(string) (int, string){
		"/joined_rooms": says(200, string(joined)),
		"/state": func(path string) (int, string) {
			asked.Add(1)
			for room, state := range states {
				if strings.Contains(path, room) {
					return 200, state
				}
			}
			return 200, `[{"type":"m.room.create","state_key":"","sender":"@eve:localhost","content":{"room_version":"10"}}]`
		},
	})
	cfg := Config{Homeserver: front, User: a.UserID, AccessToken: a.AccessToken, Dir: t.TempDir(), Patterns: []string{"!149:localhost"}}
	all := look(t, cfg)
	finds(t, all, map[string]bool{
		"room !149:localhost has been replaced by !150:localhost": false,
		"room !002:localhost (not in the configuration)":          false,
		"room !003:localhost (not in the configuration)":          false,
		"51 more rooms that the assistant is in: not looked at":   true,
	})
	if n := asked.Load(); n != checkMost {
		t.Errorf("%d rooms looked at, want %d", n, checkMost)
	}
	if hits := findingsWith(all, "rooms beside those of the configuration"); len(hits) != 1 {
		t.Errorf("%+v", all)
	}
}
