package person

import (
	"context"
	"html"
	"strings"

	"maunium.net/go/mautrix"
	"maunium.net/go/mautrix/event"
	"maunium.net/go/mautrix/id"
)

// text is a message that mentions nobody.
func text(body string) *event.MessageEventContent {
	return &event.MessageEventContent{MsgType: event.MsgText, Body: body, Mentions: &event.Mentions{}}
}

// Send sends any message, encrypted where the room is.
func (p *Person) Send(room id.RoomID, content *event.MessageEventContent) id.EventID {
	p.t.Helper()
	return p.send(room, event.EventMessage, content)
}

func (p *Person) send(room id.RoomID, kind event.Type, content any) id.EventID {
	p.t.Helper()
	return do(p, "send", func(ctx context.Context) (id.EventID, error) {
		res, err := p.Client.SendMessageEvent(ctx, room, kind, content)
		if err != nil {
			return "", err
		}
		return res.EventID, nil
	})
}

// Say says something in the room's main line.
func (p *Person) Say(room id.RoomID, body string) id.EventID {
	p.t.Helper()
	return p.Send(room, text(body))
}

// SayInThread says something in the thread of a root message, as clients with
// threads do: for others it is a reply to the last message there.
func (p *Person) SayInThread(room id.RoomID, root id.EventID, body string) id.EventID {
	p.t.Helper()
	content := text(body)
	content.RelatesTo = p.inThread(room, root)
	return p.Send(room, content)
}

func (p *Person) inThread(room id.RoomID, root id.EventID) *event.RelatesTo {
	last := root
	for _, e := range p.Timeline(room) {
		if e.Root == root {
			last = e.ID
		}
	}
	return (&event.RelatesTo{}).SetThread(root, last)
}

// Reply answers a message outside any thread, as clients without threads do.
func (p *Person) Reply(room id.RoomID, to id.EventID, body string) id.EventID {
	p.t.Helper()
	content := text(body)
	content.RelatesTo = (&event.RelatesTo{}).SetReplyTo(to)
	return p.Send(room, content)
}

// Mention says something to someone: the name stands before the text, as clients
// write it.
func (p *Person) Mention(room id.RoomID, body string, user id.UserID) id.EventID {
	p.t.Helper()
	name, _, _ := strings.Cut(strings.TrimPrefix(string(user), "@"), ":")
	content := text(name + ": " + body)
	content.Mentions = &event.Mentions{UserIDs: []id.UserID{user}}
	content.Format = event.FormatHTML
	content.FormattedBody = `<a href="` + html.EscapeString(user.URI().MatrixToURL()) + `">` + html.EscapeString(name) + "</a>: " + html.EscapeString(body)
	return p.Send(room, content)
}

// Edit gives a text of this person new words.
func (p *Person) Edit(room id.RoomID, of id.EventID, body string) id.EventID {
	p.t.Helper()
	content := text(body)
	content.SetEdit(of)
	return p.Send(room, content)
}

// Redact takes a message or a reaction back.
func (p *Person) Redact(room id.RoomID, of id.EventID) id.EventID {
	p.t.Helper()
	return do(p, "redact", func(ctx context.Context) (id.EventID, error) {
		res, err := p.Client.RedactEvent(ctx, room, of)
		if err != nil {
			return "", err
		}
		return res.EventID, nil
	})
}

// React puts a reaction to a message, never encrypted.
func (p *Person) React(room id.RoomID, to id.EventID, key string) id.EventID {
	p.t.Helper()
	return p.send(room, event.EventReaction, &event.ReactionEventContent{RelatesTo: *(&event.RelatesTo{}).SetAnnotation(to, key)})
}

// SendFile sends a file, in the thread of root if that is not "". In an encrypted
// room the file is, too, and has no name on the server.
func (p *Person) SendFile(room id.RoomID, root id.EventID, name string, data []byte, contentType string) id.EventID {
	p.t.Helper()
	content := &event.MessageEventContent{MsgType: event.MsgFile, Body: name, FileName: name, Mentions: &event.Mentions{},
		Info: &event.FileInfo{MimeType: contentType, Size: len(data)}}
	if strings.HasPrefix(contentType, "image/") {
		content.MsgType = event.MsgImage
	}
	if root != "" {
		content.RelatesTo = p.inThread(room, root)
	}
	req := mautrix.ReqUploadMedia{ContentBytes: data, ContentType: contentType, FileName: name}
	if do(p, "is it encrypted", func(ctx context.Context) (bool, error) { return p.Client.StateStore.IsEncrypted(ctx, room) }) {
		if p.crypt == nil {
			p.t.Fatalf("%s has no encryption for %s", p.ID, name)
		}
		req = mautrix.ReqUploadMedia{ContentType: "application/octet-stream"}
		req.ContentBytes, content.File = p.crypt.seal(data)
	}
	res := do(p, "upload", func(ctx context.Context) (*mautrix.RespMediaUpload, error) { return p.Client.UploadMedia(ctx, req) })
	if content.File != nil {
		content.File.URL = res.ContentURI.CUString()
	} else {
		content.URL = res.ContentURI.CUString()
	}
	return p.Send(room, content)
}
