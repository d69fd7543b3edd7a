//go:build goolm

package matrix

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"

	"maunium.net/go/mautrix/event"
	"maunium.net/go/mautrix/id"
)

const (
	askEvery = 30 * time.Second // how often the key of one session is asked for
	maxAsked = 4096
	askAgain = 10 * time.Minute // how long a request is repeated for, if an answer could not be read
)

// AskKey implements cipher. It is asked for once in a while only.
func (c *olmCipher) AskKey(ctx context.Context, evt *event.Event) error {
	e := *evt
	if err := e.Content.ParseRaw(event.EventEncrypted); err != nil && !errors.Is(err, event.ErrContentAlreadyParsed) {
		return fmt.Errorf("ask for a key: %w", err)
	}
	content, ok := e.Content.Parsed.(*event.EncryptedEventContent)
	if !ok || content.SessionID == "" {
		return nil // nothing to ask for
	}
	ask := func(ctx context.Context) error {
		err := c.mach.SendRoomKeyRequest(ctx, e.RoomID, content.SenderKey, content.SessionID, "", map[id.UserID][]id.DeviceID{
			e.Sender:        {"*"},
			c.client.UserID: {"*"},
		})
		if err != nil {
			return fmt.Errorf("ask for a key: %w", err)
		}
		return nil
	}
	if !c.asked.note(string(content.SessionID), askEvery, asking{of: e.Sender, again: ask}) {
		return nil
	}
	return ask(ctx)
}

// askedKeys is what was asked for and when, so that nothing is asked for all
// the time. It forgets the oldest.
type askedKeys struct {
	mu sync.Mutex
	at map[string]asking
}

type asking struct {
	of    id.UserID
	at    time.Time
	again func(context.Context) error // nil: not for a key
}

// may says whether to ask now, and notes it.
func (a *askedKeys) may(what string, every time.Duration) bool { return a.note(what, every, asking{}) }

func (a *askedKeys) note(what string, every time.Duration, ask asking) bool {
	a.mu.Lock()
	defer a.mu.Unlock()
	ask.at = time.Now()
	last, ok := a.at[what]
	if ok && ask.at.Sub(last.at) < every {
		return false
	}
	if a.at == nil {
		a.at = make(map[string]asking)
	}
	if !ok && len(a.at) >= maxAsked {
		oldest, when := "", ask.at
		for k, other := range a.at {
			if !other.at.After(when) {
				oldest, when = k, other.at
			}
		}
		delete(a.at, oldest)
	}
	a.at[what] = ask
	return true
}

// has says whether a key was asked for.
func (a *askedKeys) has(session string) bool {
	a.mu.Lock()
	defer a.mu.Unlock()
	return a.at[session].again != nil
}

// of gives what was asked of a user lately, to be asked again.
func (a *askedKeys) of(user id.UserID) (again []func(context.Context) error) {
	a.mu.Lock()
	defer a.mu.Unlock()
	for _, ask := range a.at {
		if ask.of == user && ask.again != nil && time.Since(ask.at) < askAgain {
			again = append(again, ask.again)
		}
	}
	return again
}

// forget removes what was asked of a user.
func (a *askedKeys) forget(user id.UserID) {
	a.mu.Lock()
	defer a.mu.Unlock()
	for k, ask := range a.at {
		if ask.of == user {
			delete(a.at, k)
		}
	}
	delete(a.at, devicesOf(user))
}

func devicesOf(user id.UserID) string { return "devices of " + string(user) }
