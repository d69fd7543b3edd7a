package workspace

import (
	"context"
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"net/http"
	"slices"
	"strings"
	"sync"
	"time"

	"github.com/coder/websocket"
)

// Socket Mode (docs.slack.dev, Using Socket Mode).

const maxSockets = 10

// How EndSockets ends a socket other than by a disconnect after the hello: too many are open, and there is no hello
// (github.com/slackapi/node-slack-sdk, 1654); or it is closed without a word.
const (
	tooMany = "too_many_websockets"
	closing = "close"
)

type ticket struct {
	until time.Time
	used  bool
}

type socket struct {
	conn  *websocket.Conn
	write sync.Mutex
	gone  bool // guarded by Workspace.mu; no more envelopes
}

// sent is one envelope that went out.
type sent struct {
	d     *delivery
	sock  *socket
	at    time.Time
	state string // "", acknowledged, timed out, cut, lost
	index int    // in record.acks
}

func (s *socket) put(v any) error {
	s.write.Lock()
	defer s.write.Unlock()
	ctx, cancel := context.WithTimeout(context.Background(), 5*time.Second)
	defer cancel()
	b, err := json.Marshal(v)
	if err != nil {
		return err
	}
	return s.conn.Write(ctx, websocket.MessageText, b)
}

// openConnection is apps.connections.open: a URL good for one socket.
func (w *Workspace) openConnection(*call) (obj, string) {
	if w.hooks.on {
		return nil, "socket_mode_not_enabled" // the code is from memory
	}
	t := fmt.Sprintf("%x-%x", rand.Uint64(), rand.Uint64())
	w.tickets[t] = &ticket{until: time.Now().Add(w.opt.TicketLife)}
	return obj{"url": "ws://" + w.addr + "/link/?ticket=" + t + "&app_id=" + w.appID}, ""
}

func (w *Workspace) serveSocket(rw http.ResponseWriter, r *http.Request) {
	name := r.URL.Query().Get("ticket")
	w.mu.Lock()
	t := w.tickets[name]
	var why string
	switch {
	case t == nil:
		why = "unknown socket URL"
	case t.used:
		why = "a socket URL was used twice"
	case time.Now().After(t.until):
		why = "a socket URL was used too late"
	default:
		t.used = true
	}
	w.mu.Unlock()
	if why != "" {
		w.broke("%s", why)
		http.Error(rw, "no such link", http.StatusNotFound)
		return
	}
	conn, err := websocket.Accept(rw, r, &websocket.AcceptOptions{InsecureSkipVerify: true}) // clients name an origin of their own
	if err != nil {
		return
	}
	conn.SetReadLimit(1 << 20)
	s := &socket{conn: conn}
	w.mu.Lock()
	n := len(w.sockets) + 1
	w.mu.Unlock()
	w.mu.Lock()
	end := w.endWith
	w.mu.Unlock()
	if n > maxSockets {
		w.broke("more than %d sockets", maxSockets)
		end = tooMany
	}
	if end == tooMany {
		s.put(obj{"type": "disconnect", "reason": tooMany, "num_connections": n, "debug_info": obj{"host": "applink"}})
		conn.Close(websocket.StatusNormalClosure, "")
		return
	}
	if s.put(obj{"type": "hello", "num_connections": n, "connection_info": obj{"app_id": w.appID},
		"debug_info": obj{"host": "applink", "build_number": 1, "approximate_connection_time": 18060}}) != nil {
		return
	}
	if end != "" {
		if end != closing {
			s.put(obj{"type": "disconnect", "reason": end, "debug_info": obj{"host": "applink"}})
		}
		conn.Close(websocket.StatusNormalClosure, "")
		return
	}
	w.mu.Lock()
	w.sockets = append(w.sockets, s)
	w.mu.Unlock()
	w.spawn(func() { w.ping(s) })
	w.read(s)
	w.leave(s)
}

func (w *Workspace) ping(s *socket) {
	for w.sleep(w.opt.PingEvery) {
		ctx, cancel := context.WithTimeout(w.ctx, 2*w.opt.PingEvery)
		err := s.conn.Ping(ctx)
		cancel()
		if err != nil {
			s.conn.CloseNow()
			return
		}
	}
	s.conn.CloseNow()
}

func (w *Workspace) read(s *socket) {
	for {
		kind, raw, err := s.conn.Read(w.ctx)
		if err != nil {
			return
		}
		var a struct {
			EnvelopeID string          `json:"envelope_id"`
			Payload    json.RawMessage `json:"payload"`
		}
		if err := json.Unmarshal(raw, &a); err != nil || a.EnvelopeID == "" || kind != websocket.MessageText {
			w.broke("a frame that is no acknowledgement: %.80s", raw)
			continue
		}
		if len(raw) >= 20*1024 {
			w.broke("an acknowledgement of %d bytes is dropped without a word", len(raw))
			continue
		}
		w.acknowledge(a.EnvelopeID, a.Payload)
	}
}

func (w *Workspace) acknowledge(id string, payload json.RawMessage) {
	w.mu.Lock()
	defer w.mu.Unlock()
	e := w.pending[id]
	if e == nil {
		w.broke("an unknown envelope was acknowledged: %s", id)
		return
	}
	took := time.Since(e.at)
	switch {
	case e.state == "acknowledged":
		w.broke("%s acknowledged twice", e.d.name)
		return
	case e.state == "timed out":
		w.broke("%s acknowledged after %v", e.d.name, took.Round(time.Millisecond))
		return
	case e.state != "":
		return // cut or lost: it comes again, the app can't know
	}
	if len(payload) > 0 && string(payload) != "null" && !e.d.accepts {
		w.broke("%s acknowledged with a payload", e.d.name)
		payload = nil
	}
	if w.loseAcks > 0 {
		w.loseAcks--
		e.state = "lost"
		return
	}
	e.state = "acknowledged"
	w.acks[e.index].Took, w.acks[e.index].OK = took, true
	w.settled(e.d, answer{payload: payload})
}

// leave takes a socket out; what was under way on it comes again.
func (w *Workspace) leave(s *socket) {
	s.conn.CloseNow()
	w.mu.Lock()
	s.gone = true
	w.sockets = slices.DeleteFunc(w.sockets, func(x *socket) bool { return x == s })
	var again []*delivery
	for _, e := range w.pending {
		if e.sock == s && e.state == "" {
			e.state = "cut"
			again = append(again, e.d)
		}
	}
	w.mu.Unlock()
	slices.SortFunc(again, func(a, b *delivery) int { return strings.Compare(a.eventID, b.eventID) })
	for _, d := range again {
		w.missed(d, "connection_failed")
	}
}

// bySocket writes a delivery to any one of the sockets.
func (w *Workspace) bySocket(d *delivery) {
	w.mu.Lock()
	var able []*socket
	for _, s := range w.sockets {
		if !s.gone {
			able = append(able, s)
		}
	}
	if len(able) == 0 {
		w.mu.Unlock()
		w.missed(d, "connection_failed")
		return
	}
	s := able[rand.IntN(len(able))]
	id := fmt.Sprintf("%016x-%016x", rand.Uint64(), rand.Uint64())
	frame := obj{"envelope_id": id, "type": d.kind, "accepts_response_payload": d.accepts, "payload": d.payload}
	if d.kind == "events_api" {
		frame["payload"] = w.outer(d)
		frame["retry_attempt"], frame["retry_reason"] = d.attempt, d.reason
	}
	e := &sent{d: d, sock: s, at: time.Now(), index: len(w.acks)}
	w.pending[id] = e
	w.acks = append(w.acks, Ack{Kind: d.kind, Name: d.name, EventID: d.eventID, Attempt: d.attempt, At: e.at})
	w.mu.Unlock()

	if s.put(frame) != nil {
		s.conn.CloseNow() // the reader notices and sends again
	}
	w.spawn(func() {
		if !w.sleep(w.opt.AckTimeout) {
			return
		}
		w.mu.Lock()
		late := e.state == "" || e.state == "lost"
		if late {
			if e.state == "" {
				e.state = "timed out"
				w.broke("%s (%s) not acknowledged within %v", d.name, d.kind, w.opt.AckTimeout)
			}
		}
		w.mu.Unlock()
		if late {
			w.missed(d, "timeout")
		}
	})
}

// CutSockets cuts all sockets without a word.
func (w *Workspace) CutSockets() {
	w.mu.Lock()
	cut := slices.Clone(w.sockets)
	w.mu.Unlock()
	for _, s := range cut {
		s.conn.CloseNow()
	}
}

// Disconnect tells the oldest socket, or all of them, to go: reason is warning, refresh_requested or link_disabled. After a warning the
// socket stays open; after the others Slack closes it a moment later.
func (w *Workspace) Disconnect(reason string, all bool) {
	w.mu.Lock()
	out := slices.Clone(w.sockets)
	if !all && len(out) > 1 {
		out = out[:1]
	}
	if reason != "warning" {
		for _, s := range out {
			s.gone = true
		}
	}
	w.mu.Unlock()
	for _, s := range out {
		s.put(obj{"type": "disconnect", "reason": reason, "debug_info": obj{"host": "applink"}})
		if reason == "warning" {
			continue
		}
		w.spawn(func() {
			w.sleep(100 * time.Millisecond)
			s.conn.CloseNow()
		})
	}
}

// EndSockets has each socket that is opened from now on ended at once: by a disconnect with that reason, or without one where it is
// "close". The empty reason lets them live again.
func (w *Workspace) EndSockets(reason string) { w.change(func() { w.endWith = reason }) }

// Sockets is the number of open sockets.
func (w *Workspace) Sockets() int {
	w.mu.Lock()
	defer w.mu.Unlock()
	return len(w.sockets)
}
