package matrix

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"strings"
	"testing"
	"time"

	"maunium.net/go/mautrix/event"

	"milepost/adapters/matrix/homeserver"
	"milepost/adapters/matrix/person"
	"milepost/bot"
)

func TestFilesIn(t *testing.T) {
	for _, secret := range []bool{false, true} {
		t.Run(map[bool]string{false: "plain", true: "encrypted"}[secret], func(t *testing.T) { filesIn(t, secret) })
	}
}

func filesIn(t *testing.T, secret bool) {
	if secret && !person.CanEncrypt {
		t.Skip("encrypted rooms need the build tag goolm")
	}
	r := newRig(t)
	r.cfg.MaxFile = 100_000
	r.start().ready()
	ann := person.New(t, person.Config{Server: r.server, Name: "ann", Encrypted: secret})
	room := r.room(ann, secret)
	start := ann.Mention(room, "a job", r.user())
	r.ear.text(t, "a job")
	card := r.card(room, start, "[]")
	file := func(name string, data []byte) bot.Inbound {
		t.Helper()
		sent := ann.SendFile(room, card, name, data, "application/octet-stream")
		return r.ear.wait(t, 40*time.Second, 1, func(in bot.Inbound) bool { return in.Delivery == string(sent) })[0]
	}
	data := bytes.Repeat([]byte("stored values "), 6000) // 84 kB
	if in := file("backup.bin", data); in.Text != string(data)+" <nil> <nil>" || in.File.Name != "backup.bin" || in.Loose || in.Thread != threadName(string(room), string(start)) {
		t.Errorf("%d bytes of %q, want %d; %.100q", len(in.Text), in.File.Name, len(data), in.Text[max(0, len(in.Text)-50):])
	}
	if in := file("empty.bin", []byte{}); in.Text != " <nil> <nil>" {
		t.Errorf("an empty file: %q", in.Text)
	}
	if in := file("big.bin", make([]byte, 100_001)); in.File.Fault != faultTooLarge {
		t.Errorf("too large: fault %q", in.File.Fault)
	}

	r.proxy.Fail(1, "GET", "/media/download", homeserver.Fault{Status: 502})
	if in := file("again.bin", []byte("x")); in.Text != "x <nil> <nil>" {
		t.Errorf("after a gateway's fault: %q", in.Text)
	}
	r.proxy.Fail(1, "GET", "/media/download", homeserver.Fault{Status: 404, Code: "M_NOT_FOUND"})
	if in := file("gone.bin", []byte("x")); !strings.HasPrefix(in.Text, "open: ") {
		t.Errorf("a file that is gone: %q", in.Text)
	}
	if left, err := os.ReadDir(r.m.now().tempDir()); err != nil || len(left) != 0 {
		t.Errorf("%d files left, %v", len(left), err)
	}
}

// A file that is larger than it says, one that was changed on the server, one
// with words.
func TestFilesThatLie(t *testing.T) {
	r := newRig(t)
	r.cfg.MaxFile = 1000
	r.start().ready()
	ann := person.Join(t, r.server, "ann")
	room := r.room(ann, false)
	up, err := ann.Client.UploadBytes(t.Context(), make([]byte, 2000), "application/octet-stream")
	if err != nil {
		t.Fatal(err)
	}
	sent := ann.Send(room, &event.MessageEventContent{MsgType: event.MsgFile, Body: "small.bin", URL: up.ContentURI.CUString(), Info: &event.FileInfo{Size: 10}})
	in := r.ear.wait(t, 20*time.Second, 1, func(in bot.Inbound) bool { return in.Delivery == string(sent) })[0]
	if in.Text != "open: "+(&bot.Error{Kind: bot.Invalid, Err: fmt.Errorf("fetch file: %w", bot.ErrTooLarge)}).Error() {
		t.Errorf("larger than it says: %q", in.Text)
	}
	if _, err := r.m.now().fetchFile(t.Context(), up.ContentURI, nil); !errors.Is(err, bot.ErrTooLarge) {
		t.Errorf("larger than allowed: %v", err)
	}
	small, err := ann.Client.UploadBytes(t.Context(), []byte("pixels"), "image/png")
	if err != nil {
		t.Fatal(err)
	}
	sent = ann.Send(room, &event.MessageEventContent{MsgType: event.MsgImage, Body: "the label", FileName: "a.png", URL: small.ContentURI.CUString()})
	r.ear.wait(t, 20*time.Second, 1, func(in bot.Inbound) bool { return in.Delivery == string(sent) })
	// Outside a thread the words come first: they may begin the job that the file is for.
	if got := r.ear.all(); got[len(got)-1].Text != "pixels <nil> <nil>" || got[len(got)-2].Text != "the label" || got[len(got)-2].Delivery != string(sent)+"/caption" {
		t.Errorf("a file with words: %s", seen(got))
	}
	if left, err := os.ReadDir(r.m.now().tempDir()); err != nil || len(left) != 0 {
		t.Errorf("%d files left, %v", len(left), err)
	}
}
