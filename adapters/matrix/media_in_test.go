package matrix

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
	"sync"
	"testing"
	"time"

	"maunium.net/go/mautrix/event"
	"maunium.net/go/mautrix/id"

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
		return r.ear.wait(t, 1, func(in bot.Inbound) bool { return in.Delivery == string(sent) })[0]
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
	in := r.ear.wait(t, 1, func(in bot.Inbound) bool { return in.Delivery == string(sent) })[0]
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
	r.ear.wait(t, 1, func(in bot.Inbound) bool { return in.Delivery == string(sent) })
	// Outside a thread the words come first: they may begin the job that the file is for.
	if got := r.ear.all(); got[len(got)-1].Text != "pixels <nil> <nil>" || got[len(got)-2].Text != "the label" || got[len(got)-2].Delivery != string(sent)+"/caption" {
		t.Errorf("a file with words: %s", seen(got))
	}
	if left, err := os.ReadDir(r.m.now().tempDir()); err != nil || len(left) != 0 {
		t.Errorf("%d files left, %v", len(left), err)
	}
}

// A homeserver that gives no files for a while costs none, and no other thread
// waits for them meanwhile. One that never gives a file is believed in the end.
func TestFilesWhileAway(t *testing.T) {
	if testing.Short() {
		t.Skip("waits for real")
	}
	s := homeserver.Start(t, homeserver.Options{})
	p := homeserver.NewProxy(t, s)
	j := newJob(t, s, p.URL(), "milepost", false)
	heard := make(chan string, 100)
	next := func() string {
		t.Helper()
		select {
		case got := <-heard:
			return got
		case <-time.After(person.Patience):
			t.Fatal("nothing more is heard")
			return ""
		}
	}
	j.listen(func(_ context.Context, in bot.Inbound) error {
		if in.File == nil {
			heard <- in.Text
			return nil
		}
		r, err := in.File.Open()
		if err != nil {
			heard <- "open: " + err.Error()
			return nil
		}
		b, err := io.ReadAll(r)
		heard <- fmt.Sprintf("%s %v %v", b, err, r.Close())
		return nil
	})
	begins := make([]id.EventID, 2*working)
	for i := range begins {
		begins[i] = j.kim.Say(j.room, fmt.Sprintf("begin %d", i))
		next()
		root := j.kim.Say(j.room, fmt.Sprintf("card %d", i))
		next()
		if err := j.m.now().state.setRoot(t.Context(), string(threadName(string(j.room), string(begins[i]))), string(root), string(j.room), "job1"); err != nil {
			t.Fatal(err)
		}
		begins[i] = root
	}
	var mu sync.Mutex
	away := map[string]int{} // tries of each file
	p.Rule(func(r homeserver.Request) homeserver.Fault {
		if !strings.Contains(r.Path, "/media/download") {
			return homeserver.Fault{}
		}
		mu.Lock()
		defer mu.Unlock()
		if away[r.Path]++; away[r.Path] <= 6 {
			return homeserver.Fault{Status: 502}
		}
		return homeserver.Fault{}
	})
	for i, root := range begins {
		j.kim.SendFile(j.room, root, "backup.bin", fmt.Appendf(nil, "file %d", i), "application/octet-stream")
	}
	j.kim.Say(j.room, "and another thread")
	if first := next(); first != "and another thread" {
		t.Errorf("first heard: %q, want the thread without a file", first)
	}
	for range begins {
		if got := next(); !strings.HasSuffix(got, " <nil> <nil>") {
			t.Errorf("after an outage: %q", got)
		}
	}
	j.stop()
	j.m.prepare = func(r *stint) { r.in.fetchFor = 2 * time.Second }
	j.goOn()
	p.Clear()
	p.Fail(1000, "GET", "/media/download", homeserver.Fault{Status: 502})
	j.kim.SendFile(j.room, begins[0], "never.bin", []byte("x"), "application/octet-stream")
	if got := next(); !strings.HasPrefix(got, "open: ") || !strings.Contains(got, "502") {
		t.Errorf("never given: %q", got)
	}
}
