package workspace

import (
	"bytes"
	"context"
	"crypto/hmac"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"time"
)

// Requests over HTTP (docs.slack.dev, Events API; Verifying requests from Slack; Handling user interaction).

type hooks struct {
	on                            bool
	events, interactions, command string
}

// request is a signed request as it went out.
type request struct {
	url    string
	header http.Header
	body   []byte
}

// UseHTTP turns Socket Mode off and delivers to the three request URLs. The events URL has to answer Slack's challenge first.
func (w *Workspace) UseHTTP(events, interactions, commands string) error {
	challenge := fmt.Sprintf("c%x", time.Now().UnixNano())
	b, _ := json.Marshal(obj{"token": "verification", "challenge": challenge, "type": "url_verification"})
	status, _, answer, err := w.post(events, "application/json", b, nil, 3*time.Second)
	if err != nil {
		return fmt.Errorf("url_verification: %w", err)
	}
	var reply struct{ Challenge string }
	if status != http.StatusOK || strings.TrimSpace(string(answer)) != challenge && (json.Unmarshal(answer, &reply) != nil || reply.Challenge != challenge) {
		return fmt.Errorf("url_verification: status %d, the challenge did not come back", status)
	}
	w.mu.Lock()
	w.hooks = hooks{on: true, events: events, interactions: interactions, command: commands}
	w.mu.Unlock()
	w.Disconnect("link_disabled", true)
	return nil
}

func sign(secret string, at int64, body []byte) string {
	mac := hmac.New(sha256.New, []byte(secret))
	fmt.Fprintf(mac, "v0:%d:%s", at, body)
	return "v0=" + hex.EncodeToString(mac.Sum(nil))
}

// client never follows a redirect: Slack sees one as a failed delivery.
var client = &http.Client{Transport: &http.Transport{DisableKeepAlives: true},
	CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}

// post sends a signed request and keeps it for Replay.
func (w *Workspace) post(to, kind string, body []byte, more http.Header, within time.Duration) (int, http.Header, []byte, error) {
	at := time.Now().Unix()
	h := http.Header{"Content-Type": {kind}, "User-Agent": {"Slackbot 1.0 (+https://api.slack.com/robots)"},
		"X-Slack-Request-Timestamp": {strconv.FormatInt(at, 10)}, "X-Slack-Signature": {sign(w.key, at, body)}}
	for k, v := range more {
		h[k] = v
	}
	if !strings.Contains(string(body), `"url_verification"`) {
		w.mu.Lock()
		w.lastReq = &request{url: to, header: h, body: body}
		w.mu.Unlock()
	}
	return w.raw(http.MethodPost, to, h, body, within)
}

func (w *Workspace) raw(method, to string, h http.Header, body []byte, within time.Duration) (int, http.Header, []byte, error) {
	ctx, cancel := context.WithTimeout(w.ctx, within)
	defer cancel()
	req, err := http.NewRequestWithContext(ctx, method, to, bytes.NewReader(body))
	if err != nil {
		return 0, nil, nil, fmt.Errorf("request: %w", err)
	}
	req.Header = h.Clone()
	res, err := client.Do(req)
	if err != nil {
		return 0, nil, nil, fmt.Errorf("request: %w", err)
	}
	defer res.Body.Close()
	answer, err := io.ReadAll(io.LimitReader(res.Body, 1<<20))
	if err != nil {
		return 0, nil, nil, fmt.Errorf("request: read answer: %w", err)
	}
	return res.StatusCode, res.Header, answer, nil
}

// firstByHTTP posts and lets the next delivery follow once this one is answered or has had a moment's start.
func (w *Workspace) firstByHTTP(d *delivery) {
	done := make(chan struct{})
	w.spawn(func() {
		defer close(done)
		w.byHTTP(d)
	})
	select {
	case <-done:
	case <-time.After(50 * time.Millisecond):
	case <-w.ctx.Done():
	}
}

// byHTTP makes one attempt.
func (w *Workspace) byHTTP(d *delivery) {
	w.mu.Lock()
	to, kind := w.hooks.events, "application/json"
	var body []byte
	more := http.Header{}
	switch d.kind {
	case "events_api":
		body, _ = json.Marshal(w.outer(d))
		if d.attempt > 0 {
			more["X-Slack-Retry-Num"], more["X-Slack-Retry-Reason"] = []string{strconv.Itoa(d.attempt)}, []string{d.reason}
		}
	case "interactive":
		b, _ := json.Marshal(d.payload)
		to, kind, body = w.hooks.interactions, "application/x-www-form-urlencoded", []byte(url.Values{"payload": {string(b)}}.Encode())
	case "slash_commands":
		form := url.Values{}
		for k, v := range d.payload {
			form.Set(k, fmt.Sprint(v))
		}
		to, kind, body = w.hooks.command, "application/x-www-form-urlencoded", []byte(form.Encode())
	}
	at := time.Now()
	index := len(w.acks)
	w.acks = append(w.acks, Ack{Kind: d.kind, Name: d.name, EventID: d.eventID, Attempt: d.attempt, At: at})
	w.mu.Unlock()

	status, header, answerBody, err := w.post(to, kind, body, more, w.opt.AckTimeout)
	took := time.Since(at)
	switch {
	case err != nil && took >= w.opt.AckTimeout:
		if w.ctx.Err() == nil {
			w.broke("%s (%s) not acknowledged within %v", d.name, d.kind, w.opt.AckTimeout)
		}
		w.missed(d, "http_timeout")
		return
	case err != nil:
		w.missed(d, "connection_failed")
		return
	case status < 200 || status > 299:
		reason := "http_error"
		if header.Get("X-Slack-No-Retry") == "1" {
			reason = "refused for good"
		}
		w.missed(d, reason)
		return
	}
	if len(bytes.TrimSpace(answerBody)) > 0 && !d.accepts {
		w.broke("%s answered with a body: %.80s", d.name, answerBody)
		answerBody = nil
	}
	w.mu.Lock()
	astray := w.loseAcks > 0
	if astray {
		w.loseAcks--
	} else {
		w.acks[index].Took, w.acks[index].OK = took, true
		w.settled(d, answer{payload: answerBody})
	}
	w.mu.Unlock()
	if astray {
		w.missed(d, "http_timeout")
	}
}

// Forgery is a request that did not come from Slack, or not as it stands.
type Forgery struct {
	URL         string
	Method      string // POST if empty
	ContentType string // application/json if empty
	Body        []byte // an event of a message if nil
	Secret      string // signed with this; the app's own secret if empty
	Age         time.Duration
	Alter       bool // one byte of the body is changed after signing
	NoHeaders   bool // neither signature nor time
}

// Forge makes the request and gives the answer's status and body.
func (w *Workspace) Forge(f Forgery) (int, string, error) {
	if f.Method == "" {
		f.Method = http.MethodPost
	}
	if f.ContentType == "" {
		f.ContentType = "application/json"
	}
	if f.Body == nil {
		w.mu.Lock()
		ts := w.ts()
		event := w.envelope(w.id("Ev"), time.Now(), obj{"type": "message", "channel": "C0SHOP", "channel_type": "channel", "user": "U0KIM",
			"text": "forged words", "ts": ts, "event_ts": ts})
		w.mu.Unlock()
		f.Body, _ = json.Marshal(event)
	}
	secret := f.Secret
	if secret == "" {
		secret = w.key
	}
	at := time.Now().Add(-f.Age).Unix()
	h := http.Header{"Content-Type": {f.ContentType}}
	if !f.NoHeaders {
		h["X-Slack-Request-Timestamp"], h["X-Slack-Signature"] = []string{strconv.FormatInt(at, 10)}, []string{sign(secret, at, f.Body)}
	}
	body := bytes.Clone(f.Body)
	if f.Alter && len(body) > 0 {
		body[len(body)/2] ^= 1
	}
	status, _, answer, err := w.raw(f.Method, f.URL, h, body, 5*time.Second)
	return status, string(answer), err
}

// Replay repeats the last signed request, byte for byte.
func (w *Workspace) Replay() (int, string, error) {
	w.mu.Lock()
	r := w.lastReq
	w.mu.Unlock()
	if r == nil {
		return 0, "", fmt.Errorf("replay: nothing was sent yet")
	}
	status, _, answer, err := w.raw(http.MethodPost, r.url, r.header, r.body, 5*time.Second)
	return status, string(answer), err
}
