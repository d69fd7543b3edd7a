package matrix

import (
	"context"
	"strings"

	"maunium.net/go/mautrix/event"
	"maunium.net/go/mautrix/id"

	"milepost/bot"
)

// rootName marks the card on which a thread hangs, in clear: the thread is found
// by it if what is kept here is lost.
const rootName = "org.milepost.root"

// EditCard shows the job's card as it is now. The first one of a thread is an
// answer to the message that began the job, in the room's main line, and becomes
// the root of the thread; later ones take its place.
func (m *Matrix) EditCard(ctx context.Context, out bot.Outbound) error {
	r, ctx, leave, err := m.enter(ctx)
	if err != nil {
		return err
	}
	defer leave()
	return r.watched(ctx, out, r.editCard)
}

func (m *stint) editCard(ctx context.Context, out bot.Outbound) error {
	p, err := m.destination(ctx, &out)
	if err != nil {
		return err
	}
	if p.begins == "" {
		return m.send(ctx, out) // a main line has no thread to hang on a card
	}
	key := outKey(&out)
	r := render(&out)
	content := r.content(event.MsgText)
	if p.root == "" {
		content.RelatesTo = p.relation()
		ev, err := m.post(ctx, &item{key: key, room: p.room, typ: event.EventMessage, content: content, rel: content.RelatesTo, root: true, offer: offer(&out)})
		if err != nil {
			return err
		}
		// If we crash before this, the same key finds the same event.
		return storeFault(m.state.setRoot(ctx, string(out.Thread), ev.String(), p.room.String(), out.Job))
	}
	return m.replace(ctx, p, key, content)
}

// replace puts new content in the place of the card. An older card that comes
// twice does no harm: the outbox keeps the order within a thread.
func (m *stint) replace(ctx context.Context, p *place, key string, now *event.MessageEventContent) error {
	rel := (&event.RelatesTo{}).SetReplace(p.root)
	content := &event.MessageEventContent{MsgType: now.MsgType, Body: "* " + short(now.Body), NewContent: now, RelatesTo: rel, Mentions: &event.Mentions{}}
	_, err := m.post(ctx, &item{key: key, room: p.room, typ: event.EventMessage, content: content, rel: rel, target: p.root, again: true})
	return err
}

// maxFallback is how much of a card clients show that know no edits, in bytes.
const maxFallback = 90

// short is a text's first line, cut between letters.
func short(text string) string {
	line, _, _ := strings.Cut(text, "\n")
	return shorten(line, maxFallback)
}

// shorten bounds a text in bytes, between letters, and shows that something is
// missing.
func shorten(s string, limit int) string {
	if len(s) <= limit {
		return s
	}
	return strings.TrimSpace(strings.ToValidUTF8(s[:limit-len("…")], "")) + "…"
}

var _ bot.CardEditor = (*Matrix)(nil)

// say puts a message of ours at the end of its place.
func (m *stint) say(ctx context.Context, out *bot.Outbound, p *place, key string, content *event.MessageEventContent) (id.EventID, error) {
	content.RelatesTo = p.relation()
	return m.post(ctx, &item{key: key, room: p.room, typ: event.EventMessage, content: content, rel: content.RelatesTo, target: p.root, offer: offer(out)})
}
