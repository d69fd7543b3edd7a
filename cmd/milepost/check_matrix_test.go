package main

import (
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"milepost/adapters/matrix/homeserver"
)

// A configuration is tried before the first start as far as that goes: the file
// that is still to be made included.
func TestCheckMatrixBeforeStart(t *testing.T) {
	hs := homeserver.Start(t, homeserver.Options{})
	hs.Register(t, "milepost", "hunter-of-passwords")
	dir := t.TempDir()
	file := filepath.Join(dir, "serve.toml")
	for name, text := range map[string]string{
		"password": "hunter-of-passwords\n", "pickle": "hunter-of-pickles\n",
		"serve.toml": fmt.Sprintf("[store]\nsqlite = \"data\"\n[log]\nmetrics_addr = \"127.0.0.1:0\"\n[matrix]\nhomeserver = %q\nuser = %q\npassword_file = \"password\"\n"+
			"pickle_key_file = \"pickle\"\nrecovery_key_file = \"away/recovery\"\nencryption = %v\n[matrix.rooms]\n\"!bay:localhost\" = \"technician\"\n", hs.URL(), assistant, hasEncryption),
	} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	before := snapshot(t, dir)
	check := func(code int, want ...string) {
		t.Helper()
		text, got := called("check", "--config", file)
		if got != code {
			t.Errorf("check: %d", got)
		}
		for _, w := range want {
			if !regexp.MustCompile("(?m)^" + w).MatchString(text) {
				t.Errorf("no %q in\n%s", w, text)
			}
		}
		if strings.Contains(text, "hunter") {
			t.Errorf("a secret is told:\n%s", text)
		}
	}
	fine := []string{"OK   configuration: .* with 0 people and 1 room$", "OK   matrix: homeserver .* answers", "OK   matrix: the homeserver takes a password at login$",
		"OK   matrix: the password is that of @milepost:localhost$",
		"OK   matrix: no device yet: .* only then can be seen "}
	if hasEncryption {
		check(exitFailed, append(fine, "MEND matrix: recovery key: its file can't be made in .*away$", "     make the folder", "milepost: 1 of [0-9]+ findings is to be mended$")...)
	} else {
		check(exitDone, fine...)
	}
	if after := snapshot(t, dir); !maps.Equal(before, after) {
		t.Errorf("before %v\nafter %v", before, after)
	}
	if err := os.Mkdir(filepath.Join(dir, "away"), 0o700); err != nil {
		t.Fatal(err)
	}
	if hasEncryption {
		fine = append(fine, "OK   matrix: recovery key: its folder can be written to$", "OK   matrix: cross-signing: the recovery key is made at the first start")
	}
	check(exitDone, fine...)
	if err := os.WriteFile(filepath.Join(dir, "password"), []byte("hunter of nothing\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	check(exitFailed, "MEND matrix: the homeserver does not let @milepost:localhost in with this password")
	if err := os.WriteFile(filepath.Join(dir, "away", "recovery"), []byte("EsTX none\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	if hasEncryption {
		check(exitFailed, "MEND secrets: ", "     .* make it 600")
	}
}
