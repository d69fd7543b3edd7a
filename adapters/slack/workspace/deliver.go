package workspace

import (
	"encoding/json"
	"sync"
	"time"
)

// delivery is one event, interaction or command on its way to the app. An event keeps its id over all attempts, each in an envelope of
// its own; interactions and commands get one attempt.
type delivery struct {
	kind    string // events_api, interactive, slash_commands
	name    string // the event's or interaction's type
	eventID string
	event   obj // events_api: the inner event
	payload obj // interactive and slash_commands; events_api: an outer event without an inner one
	accepts bool
	born    time.Time
	attempt int
	reason  string
	copy    bool        // a duplicate: no redelivery of its own
	answer  chan answer // interactions and commands: who waits for it
	settled bool
}

// answer is what came back: err is empty if the app acknowledged in time.
type answer struct {
	err     string
	payload json.RawMessage
}

// queue holds deliveries in the order they arose.
type queue struct {
	list []*delivery
	cond *sync.Cond
}

func (q *queue) wake() { q.cond.Broadcast() }

// flows is all that is under way. Guarded by Workspace.mu.
type flows struct {
	queue    queue
	open     int // deliveries neither acknowledged nor given up
	sockets  []*socket
	tickets  map[string]*ticket
	pending  map[string]*sent // by envelope id
	hooks    hooks
	lastReq  *request // last signed request, for Replay
	trigger  map[string]*trigger
	reply    map[string]*replyURL
	brought  map[string]bool // markup people brought in, see bring
	entities bool            // somebody typed an entity
}

func (f *flows) init() {
	f.tickets, f.pending, f.trigger, f.reply, f.brought = map[string]*ticket{}, map[string]*sent{}, map[string]*trigger{}, map[string]*replyURL{}, map[string]bool{}
}

// send queues a delivery. Called under the lock.
func (w *Workspace) send(d *delivery) {
	d.born = time.Now()
	w.open++
	w.queue.list = append(w.queue.list, d)
	w.queue.wake()
}

// outer is the payload of an event's envelope.
func (w *Workspace) outer(d *delivery) obj {
	if d.event == nil {
		return d.payload
	}
	return w.envelope(d.eventID, d.born, d.event)
}

// Emit sends an event of the test's own making, e.g. of a kind that is not known today. Scopes and subscriptions are not asked.
func (w *Workspace) Emit(event map[string]any) {
	w.mu.Lock()
	defer w.mu.Unlock()
	name, _ := event["type"].(string)
	w.send(&delivery{kind: "events_api", name: name, eventID: w.id("Ev"), event: event})
}

// AppRateLimited tells the app that it has been getting too many events: an outer event without an inner one.
func (w *Workspace) AppRateLimited() {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.send(&delivery{kind: "events_api", name: "app_rate_limited", eventID: w.id("Ev"), payload: obj{"token": "verification", "type": "app_rate_limited",
		"team_id": w.opt.Team, "minute_rate_limited": time.Now().Truncate(time.Minute).Unix(), "api_app_id": w.appID}})
}

// dispatch takes deliveries off the queue, one by one, and starts their first attempts.
func (w *Workspace) dispatch() {
	for {
		w.mu.Lock()
		for len(w.queue.list) == 0 && w.ctx.Err() == nil {
			w.queue.cond.Wait()
		}
		if w.ctx.Err() != nil {
			w.mu.Unlock()
			return
		}
		d := w.queue.list[0]
		w.queue.list = w.queue.list[1:]
		now := w.disturb(d)
		http := w.hooks.on
		w.mu.Unlock()
		for _, d := range now {
			if http {
				w.firstByHTTP(d)
			} else {
				w.bySocket(d)
			}
		}
	}
}

// disturb applies the delivery faults and gives what is to be sent now. Called under the lock.
func (w *Workspace) disturb(d *delivery) []*delivery {
	if d.kind != "events_api" {
		return []*delivery{d}
	}
	switch {
	case w.drop > 0:
		w.drop--
		w.open--
		return nil
	case w.reorder > 0:
		w.reorder--
		w.kept = append([]*delivery{d}, w.kept...)
		if w.reorder > 0 {
			return nil
		}
		out := w.kept
		w.kept = nil
		return out
	case len(w.hold) > 0:
		pause := w.hold[0]
		w.hold = w.hold[1:]
		w.spawn(func() {
			if w.sleep(pause) {
				w.attempt(d)
			}
		})
		return nil
	case w.twice > 0:
		w.twice--
		again := *d
		again.copy = true
		w.open++
		return []*delivery{d, &again}
	}
	return []*delivery{d}
}

// attempt makes one try by whatever way is set up.
func (w *Workspace) attempt(d *delivery) {
	w.mu.Lock()
	http := w.hooks.on
	w.mu.Unlock()
	if http {
		w.byHTTP(d)
	} else {
		w.bySocket(d)
	}
}

// missed is called when an attempt failed: an event comes again after the next pause, anything else is lost and the person told.
func (w *Workspace) missed(d *delivery, reason string) {
	w.mu.Lock()
	defer w.mu.Unlock()
	if d.settled {
		return
	}
	if d.kind != "events_api" || d.copy || d.attempt >= len(w.opt.Retries) || reason == "refused for good" {
		w.settled(d, answer{err: reason})
		return
	}
	next := *d
	d.settled = true
	next.attempt++
	next.reason = reason
	pause := w.opt.Retries[d.attempt]
	w.spawn(func() {
		if w.sleep(pause) {
			w.attempt(&next)
		}
	})
}

// settled ends a delivery. Called under the lock.
func (w *Workspace) settled(d *delivery, a answer) {
	if d.settled {
		return
	}
	d.settled = true
	w.open--
	if a.err != "" && !d.copy {
		w.lost = append(w.lost, Lost{Kind: d.kind, Name: d.name, EventID: d.eventID, Why: a.err})
	}
	if d.answer != nil {
		d.answer <- a
	}
}

// Settle waits until every delivery is acknowledged or given up, and says whether it came to that in time.
func (w *Workspace) Settle(within time.Duration) bool {
	for end := time.Now().Add(within); ; time.Sleep(2 * time.Millisecond) {
		w.mu.Lock()
		open := w.open
		w.mu.Unlock()
		if open == 0 {
			return true
		}
		if time.Now().After(end) {
			return false
		}
	}
}

// ask sends an interaction or command and waits for the app's answer, as the person's client does.
func (w *Workspace) ask(kind, name string, payload obj, accepts bool) answer {
	d := &delivery{kind: kind, name: name, payload: payload, accepts: accepts, answer: make(chan answer, 1)}
	w.mu.Lock()
	w.send(d)
	w.mu.Unlock()
	select {
	case a := <-d.answer:
		return a
	case <-w.ctx.Done():
		return answer{err: "workspace ended"}
	}
}
