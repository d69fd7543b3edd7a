package workspace

import (
	"net/url"
	"slices"
	"time"
)

// Fault disturbs calls of the Web API. One of Status, Error, RetryAfter, Cut and Delay says how.
type Fault struct {
	Method     string // e.g. chat.postMessage; "" for all methods
	Times      int    // how often; 1 if 0, for ever if negative
	Skip       int    // first let so many calls pass
	Only       func(url.Values) bool
	After      bool          // do the deed first, then disturb the answer
	Status     int           // answer with this HTTP status, e.g. 500
	RetryAfter time.Duration // answer 429 with Retry-After, in whole seconds, at least one
	Error      string        // answer ok:false with this code
	Cut        bool          // cut the connection
	Delay      time.Duration // wait first
}

// faults are those that are on. Guarded by Workspace.mu.
type faults struct {
	list     []*Fault
	waits    map[string]time.Time // until when a method and channel may not be called again
	told     map[string]time.Time // since when
	buckets  map[string]*bucket
	drop     int
	reorder  int
	kept     []*delivery
	hold     []time.Duration
	twice    int
	loseAcks int
	redirect bool
	truncate int64
	endWith  string // how each new socket is ended at once
}

// Fault switches a fault on. Faults are tried in the order given; the first that fits is used.
func (w *Workspace) Fault(f Fault) {
	if f.Times == 0 {
		f.Times = 1
	}
	w.mu.Lock()
	defer w.mu.Unlock()
	w.faults.list = append(w.faults.list, &f)
}

// Heal switches all faults of the Web API and of deliveries off.
func (w *Workspace) Heal() {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.faults.list, w.drop, w.hold, w.twice, w.loseAcks, w.redirect, w.truncate = nil, 0, nil, 0, 0, false, 0
	w.endWith = ""
	w.reorder = 0
	kept := w.kept
	w.kept = nil
	w.queue.list = append(kept, w.queue.list...)
	w.queue.wake()
}

// takeFault finds the fault for a call. Called under the lock.
func (w *Workspace) takeFault(method string, args url.Values) *Fault {
	for _, f := range w.faults.list {
		if f.Times == 0 || f.Method != "" && f.Method != method || f.Only != nil && !f.Only(args) {
			continue
		}
		if f.Skip > 0 {
			f.Skip--
			continue
		}
		if f.Times > 0 {
			f.Times--
		}
		return f
	}
	return nil
}

func (w *Workspace) change(do func()) {
	w.mu.Lock()
	defer w.mu.Unlock()
	do()
}

// DropEvents loses the next n events for good, as an outage longer than the redeliveries does.
func (w *Workspace) DropEvents(n int) { w.change(func() { w.drop += n }) }

// Garble sends an event that lacks what makes it one: a message of nobody, at no time.
func (w *Workspace) Garble(channel string) {
	w.t.Helper()
	w.change(func() {
		c := w.channelOf(channel)
		w.emitMessage(c, obj{"text": "garbled words"})
	})
}

// Reorder keeps the next n events back and then delivers them last first.
func (w *Workspace) Reorder(n int) { w.change(func() { w.reorder += n }) }

// Hold delays the next event by d, while those after it pass.
func (w *Workspace) Hold(d time.Duration) { w.change(func() { w.hold = append(w.hold, d) }) }

// Duplicate delivers each of the next n events twice, the copy with the same event id and retry_attempt 0.
func (w *Workspace) Duplicate(n int) { w.change(func() { w.twice += n }) }

// LoseAcks lets the next n acknowledgements go astray: what they were for counts as not acknowledged.
func (w *Workspace) LoseAcks(n int) { w.change(func() { w.loseAcks += n }) }

// RedirectDownloads sends private downloads on to another host, which must not be shown the token.
func (w *Workspace) RedirectDownloads(on bool) { w.change(func() { w.redirect = on }) }

// TruncateDownloads ends private downloads after n bytes without saying so; 0 switches it off.
func (w *Workspace) TruncateDownloads(n int64) { w.change(func() { w.truncate = n }) }

// RevokeToken makes the bot token and the app-level token worthless with the given error code: invalid_auth, token_revoked,
// account_inactive. The empty code makes them good again.
func (w *Workspace) RevokeToken(code string) {
	w.change(func() {
		if w.revoked = code; code != "" {
			w.emit("tokens_revoked", "", obj{"type": "tokens_revoked", "tokens": obj{"oauth": []string{}, "bot": []string{w.botUser}}, "event_ts": w.ts()})
		}
	})
	if code != "" {
		w.Disconnect("link_disabled", true)
	}
}

// RevokeBotToken makes the bot token alone worthless with the given error code, without an event: sockets stay open and events come. The
// empty code makes it good again.
func (w *Workspace) RevokeBotToken(code string) { w.change(func() { w.botRevoked = code }) }

// DropScope takes a scope from the bot token.
func (w *Workspace) DropScope(scope string) {
	w.change(func() {
		w.scopes = slices.DeleteFunc(slices.Clone(w.scopes), func(s string) bool { return s == scope })
	})
}

// GrantScope gives the bot token a scope.
func (w *Workspace) GrantScope(scope string) {
	w.change(func() {
		if !slices.Contains(w.scopes, scope) {
			w.scopes = append(slices.Clone(w.scopes), scope)
		}
	})
}
