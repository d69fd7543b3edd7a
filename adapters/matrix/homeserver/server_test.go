package homeserver

import (
	"bytes"
	"io"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"go.uber.org/goleak"
)

// noLeak is called before a server is started, so that it looks after it ended.
func noLeak(t *testing.T) {
	t.Helper()
	before := goleak.IgnoreCurrent()
	t.Cleanup(func() { goleak.VerifyNone(t, before) })
}

// room is a room with one person, for tests that need something to say it in.
type room struct {
	s  *Server
	a  Account
	id string
}

func newRoom(t *testing.T, s *Server, name string) room {
	t.Helper()
	a := s.Register(t, name, "pass of "+name)
	var made struct {
		RoomID string `json:"room_id"`
	}
	s.mustCall(t, a.AccessToken, "POST", "/_matrix/client/v3/createRoom", map[string]any{"preset": "private_chat"}, &made)
	return room{s, a, made.RoomID}
}

func (r room) sendPath(txn string) string {
	return "/_matrix/client/v3/rooms/" + url.PathEscape(r.id) + "/send/m.room.message/" + txn
}

// holds checks what was said in the room, oldest first. The server shows it a
// moment after it was taken in.
func (r room) holds(t *testing.T, want string) {
	t.Helper()
	var got string
	for limit := time.Now().Add(time.Minute); time.Now().Before(limit); time.Sleep(20 * time.Millisecond) {
		if got = r.bodies(t); got == want {
			return
		}
	}
	t.Errorf("the server holds %q, want %q", got, want)
}

func (r room) bodies(t *testing.T) string {
	t.Helper()
	var page struct {
		Chunk []struct{ Content struct{ Body string } }
	}
	r.s.mustCall(t, r.a.AccessToken, "GET", "/_matrix/client/v3/rooms/"+url.PathEscape(r.id)+"/messages?dir=b&limit=100", nil, &page)
	var said []string
	for _, e := range slices.Backward(page.Chunk) {
		if e.Content.Body != "" {
			said = append(said, e.Content.Body)
		}
	}
	return strings.Join(said, " ")
}

func text(body string) map[string]string { return map[string]string{"msgtype": "m.text", "body": body} }

// TestRestart: accounts, tokens and messages are there again, on the same port,
// after an end in order and after a kill.
func TestRestart(t *testing.T) {
	noLeak(t)
	s := Start(t, Options{})
	r := newRoom(t, s, "anna")
	s.mustCall(t, r.a.AccessToken, "PUT", r.sendPath("1"), text("one"), nil)
	if _, err := os.Stat(filepath.Join(s.dir, "sync.db-wal")); err != nil {
		t.Errorf("the databases have not the journal asked for: %v", err)
	}
	url := s.URL()
	s.Restart(t)
	s.mustCall(t, r.a.AccessToken, "PUT", r.sendPath("2"), text("two"), nil)
	r.holds(t, "one two") // before that a kill may lose it
	s.Kill(t)
	if _, err := s.client.Get(s.URL()); err == nil {
		t.Error("a killed server answers")
	}
	s.Restart(t)
	s.mustCall(t, r.a.AccessToken, "PUT", r.sendPath("3"), text("three"), nil)
	r.holds(t, "one two three")
	if s.URL() != url {
		t.Errorf("now at %s, was at %s", s.URL(), url)
	}
}

// TestServersApart: two servers of one test know nothing of each other.
func TestServersApart(t *testing.T) {
	noLeak(t)
	a, b := Start(t, Options{}), Start(t, Options{})
	of := a.Register(t, "anna", "long secret")
	if status := b.Call(t, of.AccessToken, "GET", "/_matrix/client/v3/account/whoami", nil, nil); status != http.StatusUnauthorized {
		t.Errorf("status %d, want 401", status)
	}
	b.Register(t, "anna", "long secret")
}

func TestLogout(t *testing.T) {
	noLeak(t)
	s := Start(t, Options{})
	first := s.Register(t, "anna", "long secret")
	second := s.Login(t, "anna", "long secret")
	if first.UserID != "@anna:"+ServerName || second.UserID != first.UserID || second.DeviceID == first.DeviceID {
		t.Fatalf("accounts %+v and %+v", first, second)
	}
	s.Logout(t, first)
	var refused struct{ Errcode string }
	if status := s.Call(t, first.AccessToken, "GET", "/_matrix/client/v3/account/whoami", nil, &refused); status != http.StatusUnauthorized || refused.Errcode != "M_UNKNOWN_TOKEN" {
		t.Errorf("status %d, %q", status, refused.Errcode)
	}
	s.mustCall(t, second.AccessToken, "GET", "/_matrix/client/v3/account/whoami", nil, nil)
}

func TestMediaLimit(t *testing.T) {
	noLeak(t)
	s := Start(t, Options{MediaLimit: 1000})
	a := s.Register(t, "anna", "long secret")
	for size, want := range map[int]int{1000: http.StatusOK, 1001: http.StatusRequestEntityTooLarge} {
		req, err := http.NewRequest("POST", s.URL()+"/_matrix/media/v3/upload", bytes.NewReader(make([]byte, size)))
		if err != nil {
			t.Fatal(err)
		}
		req.Header.Set("Authorization", "Bearer "+a.AccessToken)
		res, err := s.client.Do(req)
		if err != nil {
			t.Fatal(err)
		}
		body, _ := io.ReadAll(res.Body)
		res.Body.Close()
		if res.StatusCode != want {
			t.Errorf("%d bytes: status %d %s, want %d", size, res.StatusCode, body, want)
		}
	}
}

// TestStartFails: a server that ends is noticed at once, with its own words.
func TestStartFails(t *testing.T) {
	noLeak(t)
	s := newServer(t, Build(t))
	f := &failing{TB: t}
	begun := time.Now()
	done := make(chan struct{})
	go func() { defer close(done); s.start(f) }() // there is no configuration
	<-done
	if !strings.Contains(f.said, "it ended") || !strings.Contains(f.said, configName) || time.Since(begun) > 10*time.Second {
		t.Errorf("after %v: %q", time.Since(begun), f.said)
	}
}
