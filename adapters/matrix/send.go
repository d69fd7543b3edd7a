package matrix

import (
	"context"
	"crypto/sha256"
	"encoding/base64"
	"encoding/json"
	"errors"
	"fmt"
	"strconv"
	"time"

	"maunium.net/go/mautrix"
	"maunium.net/go/mautrix/event"
	"maunium.net/go/mautrix/id"

	"milepost/bot"
)

const (
	syncWait = 10 * time.Second // how long a message waits for the first sync
	sendWait = 30 * time.Second // how long the server has to take it
	stopWait = 3 * time.Second  // how long it still has when we are told to stop
)

// Send says something: in its thread once the thread has its root, else in the
// room's main line. It returns nil once the server has all of it: the text, its
// files, its reactions. The same key again sends what of it is not out yet.
func (m *Matrix) Send(ctx context.Context, out bot.Outbound) error {
	r, ctx, leave, err := m.enter(ctx)
	if err != nil {
		return err
	}
	defer leave()
	return r.watched(ctx, out, r.send)
}

func (m *stint) send(ctx context.Context, out bot.Outbound) error {
	p, err := m.destination(ctx, &out)
	if err != nil {
		return err
	}
	if p.moved && p.begins != "" && p.root == "" && out.Job != "" {
		if err := m.rootAnew(ctx, &out, p); err != nil {
			return err
		}
	}
	key := outKey(&out)
	ev, err := m.sendText(ctx, &out, p, key, render(&out))
	if err != nil {
		return err
	}
	for i := range out.Reply.Files {
		if err := m.sendFile(ctx, &out, p, key+"/file"+strconv.Itoa(i+1), &out.Reply.Files[i]); err != nil {
			return err
		}
	}
	if err := m.offerTaps(ctx, &out, p, key, ev); err != nil {
		return err
	}
	if turnsAway(&out) {
		return m.leaveStrangers(ctx, p.room)
	}
	return nil
}

// outKey is a message's identity here: keys are unique in a shop, and we serve
// several.
func outKey(out *bot.Outbound) string { return out.Shop + "/" + out.Key }

// transaction makes an event's transaction of its key: always the same, and no
// word of the key in it, as it stands in addresses and in clear.
func transaction(key string) string {
	sum := sha256.Sum256([]byte(key))
	return "mp" + base64.RawURLEncoding.EncodeToString(sum[:18])
}

// keyName is where an event of ours carries its transaction, inside and, where
// that is encrypted, outside as well: it is told to the server anyway.
const keyName = "org.milepost.key"

// item is one event on its way out.
type item struct {
	key     string
	room    id.RoomID
	typ     event.Type
	content any // a pointer, as the library wants it
	rel     *event.RelatesTo
	target  id.EventID // where it hangs: what is looked through if its fate is unknown, "" for the main line
	again   bool       // harmless twice, so never looked for
	root    bool       // begins a thread
	offer   *offered
}

// post sends one event, or finds that it is out.
func (m *stint) post(ctx context.Context, it *item) (id.EventID, error) {
	row, err := m.state.sentBy(ctx, it.key)
	if err != nil {
		return "", storeFault(err)
	}
	if row.event != "" { // a sync may have brought it, which knows not what it offers
		return id.EventID(row.event), storeFault(m.state.out(ctx, it.key, row.event, it.offer))
	}
	txn := transaction(it.key)
	if found := m.out.recollected(txn); found != "" {
		if err := m.state.trying(ctx, it.key, txn, it.room.String()); err != nil {
			return "", storeFault(err)
		}
		return found, storeFault(m.state.out(ctx, it.key, found.String(), it.offer))
	}
	if row.tried && !it.again {
		found, err := m.find(ctx, it, txn, row.at)
		if err != nil {
			return "", err
		}
		if found != "" {
			return found, storeFault(m.state.out(ctx, it.key, found.String(), it.offer))
		}
	}
	typ, content, err := m.sealed(ctx, it, txn)
	if err != nil {
		return "", err
	}
	// If we crash behind this, the message's fate is unknown, and it is looked for.
	if err := m.state.trying(ctx, it.key, txn, it.room.String()); err != nil {
		return "", storeFault(err)
	}
	limit, cancel := lingering(ctx, sendWait)
	defer cancel()
	resp, err := m.client.SendMessageEvent(limit, it.room, typ, content, mautrix.ReqSendEvent{TransactionID: txn, DontEncrypt: true})
	if err != nil {
		fault := sendFault(ctx, "send", err)
		var asked *limited
		if errors.As(fault, &asked) {
			m.out.setLimited()
		}
		if turnedDown(fault) {
			return "", errors.Join(fault, storeFault(m.state.untried(ctx, it.key)))
		}
		m.out.unanswered(txn)
		return "", fault
	}
	return resp.EventID, storeFault(m.state.out(context.WithoutCancel(ctx), it.key, resp.EventID.String(), it.offer))
}

// lingering bounds a request by a time, and lets one that is under way come to its
// end when the program is told to stop: an answer is worth more than a guess.
func lingering(ctx context.Context, wait time.Duration) (context.Context, context.CancelFunc) {
	limit, cancel := context.WithTimeout(context.WithoutCancel(ctx), wait)
	stop := context.AfterFunc(ctx, func() {
		select {
		case <-time.After(stopWait):
			cancel()
		case <-limit.Done():
		}
	})
	return limit, func() { stop(); cancel() }
}

// sealed gives an event in the form in which it goes out: encrypted where the
// room is, and never in clear there. Reactions are in clear everywhere.
func (m *stint) sealed(ctx context.Context, it *item, txn string) (event.Type, any, error) {
	marks := map[string]any{keyName: txn}
	if it.root {
		marks[rootName] = true
	}
	content := &event.Content{Parsed: it.content, Raw: marks}
	if it.typ == event.EventReaction {
		return it.typ, content, nil
	}
	encrypted, err := m.encrypts(ctx, it.room)
	if err != nil || !encrypted {
		return it.typ, content, err
	}
	if m.cipher == nil {
		why := errNoEncryption
		if hasEncryption {
			why = errors.New("encrypted rooms are not switched on in the configuration")
		}
		return it.typ, nil, &bot.Error{Kind: bot.Invalid, Err: fmt.Errorf("send to the encrypted room %s: %w", it.room, why)}
	}
	enc, err := m.encrypt(ctx, it, content)
	if err != nil {
		return it.typ, nil, err
	}
	enc.RelatesTo = it.rel
	return event.EventEncrypted, &event.Content{Parsed: enc, Raw: marks}, nil
}

// encrypt encrypts for those who are in the room, asked for before.
func (m *stint) encrypt(ctx context.Context, it *item, content *event.Content) (*event.EncryptedEventContent, error) {
	for again := false; ; again = true {
		if err := m.know(ctx, it.room.String()); err != nil {
			return nil, sendFault(ctx, "ask who is in the room", err)
		}
		enc, err := m.cipher.Encrypt(ctx, it.room, it.typ, content)
		switch {
		case err == nil:
			return enc, nil
		case errors.Is(err, errUnknownRoom) && !again:
			m.forgetMembers(it.room.String()) // known for another stay only
		default:
			return nil, &bot.Error{Kind: bot.Unavailable, Err: fmt.Errorf("encrypt: %w", err)}
		}
	}
}

// encrypts says whether a room is encrypted. Our own note of it never goes back;
// without one the server is asked, once since the start, as later it tells by
// the sync. Only its plain word that there is no encryption lets words go out in
// clear.
func (m *stint) encrypts(ctx context.Context, room id.RoomID) (bool, error) {
	yes, err := m.state.isEncrypted(ctx, room.String())
	if err != nil {
		return false, storeFault(err)
	}
	if yes {
		return true, nil
	}
	if m.out.isPlain(room) {
		return false, nil
	}
	var how event.EncryptionEventContent
	err = m.client.StateEvent(ctx, room, event.StateEncryption, "", &how)
	switch {
	case err == nil:
		return true, storeFault(m.state.setEncrypted(ctx, room.String()))
	case errors.Is(err, mautrix.MNotFound) && status(err) == 404:
		m.out.setPlain(room)
		return false, nil
	}
	return false, sendFault(ctx, "ask whether the room is encrypted", err)
}

// offer is what an event of a job is kept for: replies and reactions to it.
func offer(out *bot.Outbound) *offered {
	if out.Job == "" {
		return nil
	}
	choices, err := json.Marshal(taps(&out.Reply))
	if err != nil {
		choices = []byte("[]") // strings only: unreachable
	}
	return &offered{thread: string(out.Thread), job: out.Job, choices: string(choices)}
}
