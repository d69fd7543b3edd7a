package matrix

import (
	"errors"
	"io/fs"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"milepost/adapters/matrix/homeserver"
	"milepost/adapters/matrix/person"
)

// Before the first start there is no device, and still much that can be wrong.
func TestCheckBeforeStart(t *testing.T) {
	s := homeserver.Start(t, homeserver.Options{})
	a := s.Register(t, "milepost", person.Password("milepost"))
	type answers = map[string]func(string) (int, string)
	cfg := func(t *testing.T, given answers) Config {
		return Config{Homeserver: edited(t, s, given), User: a.UserID, Password: person.Password("milepost"), Dir: filepath.Join(t.TempDir(), "matrix")}
	}
	const soonest = "no device yet: the first start makes one. Check again after it: only then can be seen the device and its signature, rooms and rights"
	for name, c := range map[string]struct {
		given answers
		want  map[string]bool
	}{
		"all is well": {nil, map[string]bool{"specification up to": true, "takes a password": true, "the password is that of @milepost:localhost": true,
			"encrypted rooms are not served": true, "files up to 10.0 MiB": true, soonest: true}},
		"no password": {answers{"/v3/login": says(200, `{"flows":[{"type":"m.login.sso"},{"type":"m.login.token"}]}`)},
			map[string]bool{`takes no password at login, but "m.login.sso, m.login.token"`: false, soonest: true}},
		"no flows":       {answers{"/v3/login": says(200, `{}`)}, map[string]bool{"takes no password at login": false}},
		"nothing":        {answers{"/v3/login": says(200, `null`)}, map[string]bool{"does not say how to log in": false}},
		"login is down":  {answers{"/v3/login": says(502, `<html>`)}, map[string]bool{"does not say how to log in": false}},
		"small files":    {answers{"/media/config": says(200, `{"m.upload.size":1000}`)}, map[string]bool{"files up to 1000 bytes only": false, soonest: true}},
		"large files":    {answers{"/media/config": says(200, `{"m.upload.size":104857600}`)}, map[string]bool{"files up to 100.0 MiB": true}},
		"old homeserver": {answers{"/versions": says(200, `{"versions":["r0.6.0"]}`)}, map[string]bool{"specification before v1.4": true, "takes a password": true}},
	} {
		t.Run(name, func(t *testing.T) {
			cfg := cfg(t, c.given)
			all := look(t, cfg)
			finds(t, all, c.want)
			if _, err := os.Lstat(cfg.Dir); !errors.Is(err, fs.ErrNotExist) {
				t.Errorf("a check made %s: %v", cfg.Dir, err)
			}
			if name == "large files" && len(findingsWith(all, "how large files may be")) != 0 {
				t.Errorf("what is known is put off: %+v", all)
			}
		})
	}
	t.Run("media not told", func(t *testing.T) {
		finds(t, look(t, cfg(t, answers{"/media/config": says(404, `{}`), "/v1/media/config": says(404, `{}`)})), map[string]bool{soonest + ", how large files may be": true})
	})
	for name, change := range map[string]func(*Config){
		"a wrong password": func(c *Config) { c.Password = "of somebody else" },
		"a wrong user":     func(c *Config) { c.User = "@nobody:localhost" },
	} {
		t.Run(name, func(t *testing.T) {
			c := cfg(t, nil)
			change(&c)
			all := look(t, c)
			finds(t, all, map[string]bool{"the homeserver does not let " + c.User + " in with this password": false, soonest: true})
			for _, f := range all {
				if strings.Contains(f.What+f.Mend, c.Password) {
					t.Errorf("a secret is told: %+v", f)
				}
			}
		})
	}
	proxy := homeserver.NewProxy(t, s)
	behind := func(t *testing.T) Config { c := cfg(t, nil); c.Homeserver = proxy.URL(); return c }
	t.Run("too many logins", func(t *testing.T) {
		proxy.Fail(1, http.MethodPost, "/login", homeserver.Fault{Status: 429, RetryAfter: 90 * time.Second})
		all := look(t, behind(t))
		finds(t, all, map[string]bool{"the password was not tried": false})
		if hits := findingsWith(all, "not tried"); len(hits) != 1 || hits[0].Mend != "check again in 1m30s" {
			t.Errorf("%+v", hits)
		}
	})
	t.Run("login fails", func(t *testing.T) {
		proxy.Fail(1, http.MethodPost, "/login", homeserver.Fault{Status: 502})
		finds(t, look(t, behind(t)), map[string]bool{"whether the password is right can't be seen": false})
	})
	t.Run("logout fails", func(t *testing.T) {
		proxy.Fail(1, http.MethodPost, "/logout", homeserver.Fault{Status: 502})
		finds(t, look(t, behind(t)), map[string]bool{"with which the password was tried is still there": false})
		finds(t, look(t, behind(t)), map[string]bool{"the password is that of": true}) // takes it away
	})
	// No trace is left, here or there.
	var devices struct {
		Devices []map[string]any `json:"devices"`
	}
	s.Call(t, a.AccessToken, "GET", "/_matrix/client/v3/devices", nil, &devices)
	if len(devices.Devices) != 1 { // of the registration
		t.Errorf("a check made a device: %v", devices)
	}
}
