package matrix

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"testing"

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
	const soonest = "no device yet: the first start makes one. Check again after it: only then can be seen the password, the device and its signature, rooms and rights"
	for name, c := range map[string]struct {
		given answers
		want  map[string]bool
	}{
		"all is well": {nil, map[string]bool{"specification up to": true, "takes a password": true, "encrypted rooms are not served": true, soonest + ", how large files may be": true}},
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
	// No trace is left, here or there.
	var devices struct {
		Devices []map[string]any `json:"devices"`
	}
	s.Call(t, a.AccessToken, "GET", "/_matrix/client/v3/devices", nil, &devices)
	if len(devices.Devices) != 1 { // of the registration
		t.Errorf("a check made a device: %v", devices)
	}
}
