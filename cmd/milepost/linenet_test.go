package main

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net"
	"net/url"
	"sync"
	"testing"
	"time"

	"milepost/bot"
)

// lineNet is a chat network for tests of serve: lines of JSON over a connection
// to a hub, which the test holds. It stands in [slack]'s place, and the hub's
// address in that of its servers.
//
//	hub ─▶ {"delivery":"1","from":"slack:T0AB/U0KIM","thread":"…","text":"…"}
//	hub ─▶ {"do":"panic"} or {"do":"forbid"}
//	net ─▶ {"ack":"1"}, or {"nack":"1"} after an error
//	net ─▶ {"key":"…","said":"…","shop":"…"}
type lineNet struct {
	addr string

	mu   sync.Mutex
	conn net.Conn // nil: not connected
}

type lineIn struct {
	Delivery string `json:"delivery,omitempty"`
	From     string `json:"from,omitempty"`
	Thread   string `json:"thread,omitempty"`
	Room     string `json:"room,omitempty"`
	Text     string `json:"text,omitempty"`
	Do       string `json:"do,omitempty"`
}

type lineOut struct {
	Ack  string `json:"ack,omitempty"`
	Nack string `json:"nack,omitempty"`
	Key  string `json:"key,omitempty"`
	Said string `json:"said,omitempty"`
	Shop string `json:"shop,omitempty"`
}

func wireLine(c *config, _ kit) (network, error) {
	u, err := url.Parse(c.slack.api)
	if err != nil {
		return nil, err
	}
	return &lineNet{addr: u.Host}, nil
}

func (n *lineNet) Name() string { return "slack" }

func (n *lineNet) Send(_ context.Context, out bot.Outbound) error {
	return n.write(lineOut{Key: out.Key, Said: out.Reply.Text, Shop: out.Shop})
}

func (n *lineNet) write(o lineOut) error {
	n.mu.Lock()
	defer n.mu.Unlock()
	if n.conn == nil {
		return &bot.Error{Kind: bot.Unavailable, Err: errors.New("not connected")}
	}
	return json.NewEncoder(n.conn).Encode(o)
}

func (n *lineNet) Ready() error {
	n.mu.Lock()
	defer n.mu.Unlock()
	if n.conn == nil {
		return errors.New("not connected")
	}
	return nil
}

func (n *lineNet) Check(ctx context.Context) []bot.Finding {
	c, err := (&net.Dialer{}).DialContext(ctx, "tcp", n.addr)
	if err != nil {
		return []bot.Finding{{Area: "slack", What: "no connection", Mend: "start the hub"}}
	}
	_ = c.Close()
	return []bot.Finding{{Area: "slack", What: "the hub answers", OK: true}}
}

func (n *lineNet) Run(ctx context.Context, hear hearer) error {
	c, err := (&net.Dialer{}).DialContext(ctx, "tcp", n.addr)
	if err != nil {
		return err
	}
	defer context.AfterFunc(ctx, func() { c.Close() })()
	n.set(c)
	defer n.set(nil)
	var wait sync.WaitGroup
	defer wait.Wait()
	for in := bufio.NewScanner(c); ; {
		if !in.Scan() {
			return fmt.Errorf("connection ended: %w", in.Err())
		}
		var l lineIn
		if err := json.Unmarshal(in.Bytes(), &l); err != nil {
			return err
		}
		switch l.Do {
		case "panic":
			panic("as the hub said")
		case "forbid":
			return &bot.Error{Kind: bot.Forbidden, Err: errors.New("token_revoked")}
		}
		wait.Add(1)
		go func() {
			defer wait.Done()
			m := bot.Inbound{Network: "slack", Delivery: l.Delivery, From: bot.Identity(l.From), Thread: bot.Thread(l.Thread), Room: l.Room, Text: l.Text}
			o := lineOut{Ack: l.Delivery}
			if err := hear.Handle(context.WithoutCancel(ctx), m); err != nil {
				o = lineOut{Nack: l.Delivery}
			}
			_ = n.write(o) // the hub has gone: it sends the message again
		}()
	}
}

func (n *lineNet) set(c net.Conn) {
	n.mu.Lock()
	defer n.mu.Unlock()
	if n.conn != nil {
		_ = n.conn.Close()
	}
	n.conn = c
}

// hub is the other end of lineNet.
type hub struct {
	t     *testing.T
	l     net.Listener
	heard chan lineOut

	mu    sync.Mutex
	conn  net.Conn
	conns int // so far
}

func newHub(t *testing.T) *hub {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	h := &hub{t: t, l: l, heard: make(chan lineOut, 10000)}
	done := make(chan struct{})
	go func() {
		defer close(done)
		for {
			c, err := l.Accept()
			if err != nil {
				return
			}
			h.mu.Lock()
			h.conn, h.conns = c, h.conns+1
			h.mu.Unlock()
			for in := bufio.NewScanner(c); in.Scan(); {
				var o lineOut
				if json.Unmarshal(in.Bytes(), &o) == nil {
					h.heard <- o
				}
			}
		}
	}()
	t.Cleanup(func() {
		l.Close()
		h.drop()
		<-done
	})
	return h
}

// url is the hub's address for a configuration.
func (h *hub) url() string { return "http://" + h.l.Addr().String() }

// say sends a line to the network; false where nobody is connected.
func (h *hub) say(l lineIn) bool {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.conn != nil && json.NewEncoder(h.conn).Encode(l) == nil
}

// drop ends the connection.
func (h *hub) drop() {
	h.mu.Lock()
	defer h.mu.Unlock()
	if h.conn != nil {
		h.conn.Close()
		h.conn = nil
	}
}

// until waits for an outgoing line.
func (h *hub) until(what string, is func(lineOut) bool) lineOut {
	h.t.Helper()
	late := time.After(time.Minute)
	for {
		select {
		case o := <-h.heard:
			if is(o) {
				return o
			}
		case <-late:
			h.t.Fatalf("the hub never heard %s", what)
		}
	}
}

func (h *hub) acked(delivery string) {
	h.t.Helper()
	h.until("an acknowledgement of "+delivery, func(o lineOut) bool { return o.Ack == delivery })
}
