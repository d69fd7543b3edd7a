package main

import (
	"bytes"
	"context"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"milepost/adapters/matrix/homeserver"
	"milepost/adapters/matrix/person"
)

// assistant is the account of the tests' homeserver that serve uses.
const assistant = "@milepost:localhost"

// The whole program against a real homeserver, in an encrypted room where the
// build has them: from the invitation to an erasure that leaves no byte.
func TestServeMatrix(t *testing.T) {
	hs := homeserver.Start(t, homeserver.Options{})
	hs.Register(t, "milepost", "hunter-of-passwords")
	kim := person.New(t, person.Config{Server: hs, Name: "kim", Encrypted: person.CanEncrypt})

	recovery := ""
	if hasEncryption {
		recovery = "recovery_key_file = \"recovery\"\n" // made at the first start
	}
	v := &served{t: t, dir: t.TempDir(), done: make(chan error, 1)}
	v.file = filepath.Join(v.dir, "serve.toml")
	for name, text := range map[string]string{
		"password": "hunter-of-passwords\n", "pickle": "hunter-of-pickles\n",
		"serve.toml": fmt.Sprintf("[store]\nsqlite = \"data\"\n[log]\nmetrics_addr = \"127.0.0.1:0\"\n[matrix]\nhomeserver = %q\nuser = %q\npassword_file = \"password\"\n"+
			"pickle_key_file = \"pickle\"\n%sservers = [\"localhost\"]\nencryption = %v\n[people]\n\"matrix:@kim:localhost\" = \"technician\"\n", hs.URL(), assistant, recovery, hasEncryption),
	} {
		if err := os.WriteFile(filepath.Join(v.dir, name), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	c, err := readConfig(v.file)
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	v.cancel = cancel
	t.Cleanup(cancel)
	go func() { v.done <- serve(ctx, &streams{out: &v.out, err: &v.err}, c) }()
	v.eventually("ready", func() bool { return strings.Contains(v.out.String(), "ready: matrix; shops main; ") })

	room := kim.CreateRoom("the bay", person.CanEncrypt, assistant)
	kim.WaitJoined(room, assistant)
	kim.Say(room, "new job zebrafinch van, in the bay, 48210 mi")
	kim.WaitFor(room, assistant, "48,210 mi")
	if code, text := v.get("/readyz"); code != 200 {
		t.Errorf("/readyz: %d %s", code, text)
	}

	v.hears("matrix")
	job := checkedBoard(t, v.file, "matrix", "zebrafinch")
	if err := v.stop(); err != nil {
		t.Errorf("it stopped with %v\n%s", err, v.err.String())
	}
	words := []string{"zebrafinch", "hunter"}
	if hasEncryption {
		key, err := readPrivate(filepath.Join(v.dir, "recovery"))
		if err != nil || len(key) < 40 {
			t.Errorf("the recovery key: %d bytes, %v", len(key), err)
		}
		words = append(words, strings.TrimSpace(string(key)))
	}
	for _, word := range words {
		if strings.Contains(v.out.String()+v.err.String(), word) {
			t.Errorf("%q is in the log:\n%s", word, v.err.String())
		}
	}
	if text, code := called("erase", job, "--config", v.file); code != exitDone {
		t.Errorf("erase: %d %s", code, text)
	}
	nowhere(t, filepath.Join(v.dir, "data"), "zebrafinch")
}

// nowhere checks that a word is in no byte of the files of a directory.
func nowhere(t *testing.T, dir, word string) {
	t.Helper()
	files := 0
	err := filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err != nil || !d.Type().IsRegular() {
			return err
		}
		b, err := os.ReadFile(path)
		if files++; bytes.Contains(b, []byte(word)) {
			t.Errorf("%q is still in %s", word, path)
		}
		return err
	})
	if err != nil || files < 4 {
		t.Errorf("%d files, %v", files, err)
	}
}

// A device that was logged out elsewhere is refused for good: serve ends with
// that, said once.
func TestServeMatrixLoggedOut(t *testing.T) {
	hs := homeserver.Start(t, homeserver.Options{})
	account := hs.Register(t, "milepost", "hunter-of-passwords")
	v := &served{t: t, dir: t.TempDir(), done: make(chan error, 1)}
	v.file = filepath.Join(v.dir, "serve.toml")
	text := fmt.Sprintf("[store]\nsqlite = \"data\"\n[log]\nmetrics_addr = \"127.0.0.1:0\"\n[matrix]\nhomeserver = %q\nuser = %q\naccess_token_env = \"HS_TOKEN\"\nencryption = false\n",
		hs.URL(), assistant)
	if err := os.WriteFile(v.file, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	t.Setenv("HS_TOKEN", account.AccessToken)
	c, err := readConfig(v.file)
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	t.Cleanup(cancel)
	go func() { v.done <- serve(ctx, &streams{out: &v.out, err: &v.err}, c) }()
	v.eventually("ready", func() bool { return strings.Contains(v.out.String(), "ready: matrix") })
	hs.Logout(t, account)
	select {
	case err := <-v.done:
		if err == nil || !forGood(err) {
			t.Errorf("it ended with %v", err)
		}
	case <-time.After(3 * time.Minute):
		t.Fatalf("it goes on\n%s", v.err.String())
	}
	if n := strings.Count(v.err.String(), "refused for good"); n != 1 || strings.Contains(v.err.String(), account.AccessToken) {
		t.Errorf("said %d times:\n%s", n, v.err.String())
	}
}
