package workspace

import (
	"encoding/json"
	"fmt"
	"maps"
	"net/url"
	"slices"
	"time"
)

// record is what tests count and time. Guarded by Workspace.mu.
type record struct {
	calls []Call
	acks  []Ack
	posts []Post
	lost  []Lost
}

// Call is one request to the Web API. Args hold no token.
type Call struct {
	Method string
	At     time.Time
	Args   url.Values
	Error  string // error code or "http 500", "cut"; empty if it went well
}

// Ack is one attempt to deliver. Took is 0 while it is unacknowledged.
type Ack struct {
	Kind    string // events_api, interactive, slash_commands
	Name    string // type of the event or interaction, or the command
	EventID string
	Attempt int
	At      time.Time
	Took    time.Duration
	OK      bool
}

// Post is a message the app posted, in the order they became visible.
type Post struct {
	Channel, TS, Thread, Text string
	Metadata                  json.RawMessage
	At                        time.Time
}

// Lost is a delivery that was given up.
type Lost struct{ Kind, Name, EventID, Why string }

// Calls lists the Web API calls of a method, all if it is "".
func (w *Workspace) Calls(method string) (list []Call) {
	w.mu.Lock()
	defer w.mu.Unlock()
	for _, c := range w.calls {
		if method == "" || c.Method == method {
			list = append(list, c)
		}
	}
	return list
}

// Acks lists all attempts to deliver.
func (w *Workspace) Acks() []Ack {
	w.mu.Lock()
	defer w.mu.Unlock()
	return slices.Clone(w.acks)
}

// SlowestAck is the longest time an acknowledgement took.
func (w *Workspace) SlowestAck() (slowest time.Duration) {
	for _, a := range w.Acks() {
		slowest = max(slowest, a.Took)
	}
	return slowest
}

// Posts lists what the app posted in a channel (name or id; "" for all), in order, deleted messages included.
func (w *Workspace) Posts(channel string) (list []Post) {
	w.t.Helper()
	w.mu.Lock()
	defer w.mu.Unlock()
	id := ""
	if channel != "" {
		id = w.channelOf(channel).id
	}
	for _, p := range w.posts {
		if id == "" || p.Channel == id {
			list = append(list, p)
		}
	}
	return list
}

// LostDeliveries lists what the app never acknowledged.
func (w *Workspace) LostDeliveries() []Lost {
	w.mu.Lock()
	defer w.mu.Unlock()
	return slices.Clone(w.lost)
}

// Duplicates counts, by the value of a field of metadata.event_payload, the messages people see more than once.
func (w *Workspace) Duplicates(field string) map[string]int {
	w.mu.Lock()
	defer w.mu.Unlock()
	n := map[string]int{}
	for _, c := range w.channels {
		for _, m := range c.msgs {
			var meta struct {
				Payload map[string]any `json:"event_payload"`
			}
			if json.Unmarshal(m.metadata, &meta) == nil && meta.Payload[field] != nil {
				n[fmt.Sprint(meta.Payload[field])]++
			}
		}
	}
	maps.DeleteFunc(n, func(_ string, k int) bool { return k < 2 })
	return n
}
