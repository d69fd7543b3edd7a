package person

import (
	"context"
	"maps"
	"slices"
	"time"

	"maunium.net/go/mautrix/event"
	"maunium.net/go/mautrix/id"
)

// Event is a message in a room as one person sees it now.
type Event struct {
	ID      id.EventID
	Sender  id.UserID
	At      time.Time  // by the server's clock
	Root    id.EventID // root of the thread it is in, "" in the main line
	ReplyTo id.EventID // message it answers, other than as a stand-in for the thread

	Type     event.MessageType // m.text, m.notice, m.file, m.image; "" where it can't be read
	Body     string            // the newest words
	HTML     string
	Edited   bool
	Mentions []id.UserID
	File     *File // nil without one

	Reactions []Reaction // in the order they came, without those taken back

	Encrypted bool           // came encrypted
	Decrypted bool           // and could be read
	Trust     string         // of the sender's device, for what came encrypted
	Err       string         // why it can't be read
	Content   map[string]any // all of it as it was sent first, to be read only
}

// Reaction is one person's sign on a message.
type Reaction struct {
	ID     id.EventID
	Sender id.UserID
	Key    string
}

// File is a file in a message.
type File struct {
	Name, ContentType string
	Size              int  // as the sender says
	Encrypted         bool // on the server

	Download func() ([]byte, error) // fetched, decrypted and its hash checked
}

// Timeline is what the person sees of a room now: each message once and in the
// room's order, with the newest words, without what was taken back.
func (p *Person) Timeline(room id.RoomID) []Event {
	p.mu.Lock()
	defer p.mu.Unlock()
	r := p.room(room)
	gone := r.redacted()
	var seen []*Event
	byID := map[id.EventID]*Event{}
	var later []*event.Event // what changes a message that may come after it
	for _, rec := range r.events {
		if gone[rec.raw.ID] {
			continue
		}
		switch e := rec.plain; {
		case rec.raw.Type == event.EventEncrypted && e == nil:
			seen = append(seen, &Event{ID: rec.raw.ID, Sender: rec.raw.Sender, At: time.UnixMilli(rec.raw.Timestamp), Encrypted: true,
				Root: rec.raw.Content.AsEncrypted().RelatesTo.GetThreadParent(), Err: reason(rec.err), Content: rec.raw.Content.Raw})
		case e.Type == event.EventReaction || e.Type == event.EventMessage && e.Content.AsMessage().RelatesTo.GetReplaceID() != "":
			later = append(later, e)
		case e.Type == event.EventMessage:
			seen = append(seen, p.message(rec))
		}
	}
	for _, e := range seen {
		byID[e.ID] = e
	}
	for _, e := range later {
		change(byID, e)
	}
	all := make([]Event, len(seen))
	for i, e := range seen {
		all[i] = *e
	}
	return all
}

// redacted are the events taken back, told by themselves or by a redaction.
func (r *room) redacted() map[id.EventID]bool {
	gone := map[id.EventID]bool{}
	for _, rec := range r.events {
		if rec.raw.Unsigned.RedactedBecause != nil {
			gone[rec.raw.ID] = true
		}
		if rec.raw.Type == event.EventRedaction {
			gone[rec.raw.Redacts] = true
			gone[rec.raw.Content.AsRedaction().Redacts] = true // room version 11 and later
		}
	}
	return gone
}

func (p *Person) message(rec *record) *Event {
	c := rec.plain.Content.AsMessage()
	e := &Event{ID: rec.plain.ID, Sender: rec.plain.Sender, At: time.UnixMilli(rec.plain.Timestamp), Type: c.MsgType,
		Root: c.RelatesTo.GetThreadParent(), ReplyTo: c.RelatesTo.GetNonFallbackReplyTo(),
		Encrypted: rec.raw.Type == event.EventEncrypted, File: p.file(c), Content: rec.plain.Content.Raw}
	if e.Encrypted {
		e.Decrypted, e.Trust = true, rec.plain.Mautrix.TrustState.String()
	}
	e.say(c)
	return e
}

func (e *Event) say(c *event.MessageEventContent) {
	e.Body, e.HTML, e.Mentions = c.Body, c.FormattedBody, nil
	if c.Mentions != nil {
		e.Mentions = slices.Clone(c.Mentions.UserIDs)
	}
}

// change applies an edit or a reaction. Only who said something may edit it.
func change(byID map[id.EventID]*Event, by *event.Event) {
	if by.Type == event.EventReaction {
		rel := by.Content.AsReaction().RelatesTo
		if e := byID[rel.GetAnnotationID()]; e != nil {
			e.Reactions = append(e.Reactions, Reaction{by.ID, by.Sender, rel.GetAnnotationKey()})
		}
		return
	}
	c := by.Content.AsMessage()
	if e := byID[c.RelatesTo.GetReplaceID()]; e != nil && e.Sender == by.Sender && e.Err == "" && c.NewContent != nil {
		e.say(c.NewContent)
		e.Edited = true
	}
}

func (p *Person) file(c *event.MessageEventContent) *File {
	if !c.MsgType.IsMedia() {
		return nil
	}
	f := &File{Name: c.GetFileName(), Encrypted: c.File != nil}
	if c.Info != nil {
		f.ContentType, f.Size = c.Info.MimeType, c.Info.Size
	}
	f.Download = func() ([]byte, error) {
		ctx, cancel := context.WithTimeout(context.Background(), Patience)
		defer cancel()
		where := c.URL
		if c.File != nil {
			where = c.File.URL
		}
		uri, err := where.Parse()
		if err != nil {
			return nil, err
		}
		data, err := p.Client.DownloadBytes(ctx, uri)
		if err != nil || c.File == nil {
			return data, err
		}
		sealed := c.File.EncryptedFile // decrypting keeps its keys in it
		return data, sealed.DecryptInPlace(data)
	}
	return f
}

func reason(err error) string {
	if err == nil {
		return "not read yet"
	}
	return err.Error()
}

// Rooms are those something was seen in.
func (p *Person) Rooms() []id.RoomID {
	p.mu.Lock()
	defer p.mu.Unlock()
	return slices.Sorted(maps.Keys(p.rooms))
}
