package homeserver

import (
	"bytes"
	"encoding/json"
	"io"
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"
)

// through makes a request by the proxy; err is that of the connection.
func through(t *testing.T, p *Proxy, a Account, method, path string, body any) (*http.Response, []byte, error) {
	t.Helper()
	text, err := json.Marshal(body)
	if err != nil {
		t.Fatal(err)
	}
	req, err := http.NewRequest(method, p.URL()+path, bytes.NewReader(text))
	if err != nil {
		t.Fatal(err)
	}
	req.Header.Set("Authorization", "Bearer "+a.AccessToken)
	client := &http.Client{Transport: &http.Transport{DisableKeepAlives: true}}
	res, err := client.Do(req)
	if err != nil {
		return nil, nil, err
	}
	defer res.Body.Close()
	text, err = io.ReadAll(res.Body)
	return res, text, err
}

func proxied(t *testing.T) (*Proxy, room) {
	t.Helper()
	noLeak(t)
	s := Start(t, Options{})
	return NewProxy(t, s), newRoom(t, s, "anna")
}

func TestRefusals(t *testing.T) {
	p, r := proxied(t)
	for i, c := range []struct {
		fault        Fault
		header, body string
	}{
		{Fault{Status: 429, RetryAfter: 1500 * time.Millisecond}, "2", `{"errcode":"M_LIMIT_EXCEEDED","error":"refused by the test's proxy","retry_after_ms":1500}`},
		{Fault{Status: 500}, "", `{"errcode":"M_UNKNOWN","error":"refused by the test's proxy"}`},
		{Fault{Status: 401, Code: "M_UNKNOWN_TOKEN"}, "", `{"errcode":"M_UNKNOWN_TOKEN","error":"refused by the test's proxy"}`},
		{Fault{Status: 502}, "", "<html><body><h1>502 Bad Gateway</h1></body></html>"},
	} {
		p.Fail(1, "PUT", "/send/", c.fault)
		txn := string(rune('a' + i))
		res, body, err := through(t, p, r.a, "PUT", r.sendPath(txn), text("refused"))
		if err != nil || res.StatusCode != c.fault.Status || res.Header.Get("Retry-After") != c.header || strings.TrimSpace(string(body)) != c.body {
			t.Errorf("%+v: %v %v %s", c.fault, err, res, body)
		}
		if res, _, err := through(t, p, r.a, "PUT", r.sendPath(txn), text(txn)); err != nil || res.StatusCode != 200 {
			t.Errorf("%+v, second try: %v %v", c.fault, err, res)
		}
	}
	r.holds(t, "a b c d")
	if put, all, none := p.Count("PUT", "/send/"), p.Count("", ""), p.Count("GET", ""); put != 8 || all != 8 || none != 0 {
		t.Errorf("counted %d, %d, %d; want 8, 8, 0", put, all, none)
	}
	if first := p.Requests("PUT", "/send/")[0]; first.Token != r.a.AccessToken || !strings.Contains(string(first.Body), "refused") || first.Path != "/_matrix/client/v3/rooms/"+r.id+"/send/m.room.message/a" {
		t.Errorf("seen %+v", first)
	}
}

func TestRuleOfOnesOwn(t *testing.T) {
	p, r := proxied(t)
	p.Rule(func(q Request) Fault {
		if bytes.Contains(q.Body, []byte("no")) {
			return Fault{Status: 500, Delay: 300 * time.Millisecond}
		}
		return Fault{}
	})
	begun := time.Now()
	if res, _, err := through(t, p, r.a, "PUT", r.sendPath("1"), text("no")); err != nil || res.StatusCode != 500 || time.Since(begun) < 300*time.Millisecond {
		t.Errorf("%v %v after %v", err, res, time.Since(begun))
	}
	p.Clear()
	if res, _, err := through(t, p, r.a, "PUT", r.sendPath("1"), text("no")); err != nil || res.StatusCode != 200 {
		t.Errorf("%v %v", err, res)
	}
}

// TestLostAnswer: cut, the server never heard of it; lost, it has done it.
func TestLostAnswer(t *testing.T) {
	p, r := proxied(t)
	p.Fail(1, "PUT", "/send/", Fault{Cut: true})
	if _, _, err := through(t, p, r.a, "PUT", r.sendPath("1"), text("cut")); err == nil {
		t.Error("no error where the connection was cut")
	}
	p.Fail(1, "PUT", "/send/", Fault{Lose: true})
	if _, _, err := through(t, p, r.a, "PUT", r.sendPath("2"), text("lost")); err == nil {
		t.Error("no error where the answer was lost")
	}
	r.holds(t, "lost")
}

func TestDownAndUp(t *testing.T) {
	p, r := proxied(t)
	waiting := make(chan error, 1)
	go func() {
		_, _, err := through(t, p, r.a, "GET", "/_matrix/client/v3/sync?timeout=20000&since="+url.QueryEscape(syncOnce(t, r.s.URL(), r.a, "", 0).NextBatch), nil)
		waiting <- err
	}()
	for p.Count("GET", "/sync") == 0 {
		time.Sleep(10 * time.Millisecond)
	}
	address := p.URL()
	p.Down()
	if err := <-waiting; err == nil {
		t.Error("a request under way outlived Down")
	}
	if _, _, err := through(t, p, r.a, "PUT", r.sendPath("1"), text("one")); err == nil {
		t.Error("a connection while down")
	}
	p.Up(t)
	if res, _, err := through(t, p, r.a, "PUT", r.sendPath("1"), text("one")); err != nil || res.StatusCode != 200 || p.URL() != address {
		t.Errorf("%v %v at %s", err, res, p.URL())
	}
	r.s.Stop(t)
	if res, _, err := through(t, p, r.a, "PUT", r.sendPath("2"), text("two")); err != nil || res.StatusCode != 502 {
		t.Errorf("%v %v, want 502 from a proxy without a server", err, res)
	}
}
