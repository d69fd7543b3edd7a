package matrix

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"path"
	"regexp"
	"strings"

	"maunium.net/go/mautrix"
	"maunium.net/go/mautrix/event"
	"maunium.net/go/mautrix/id"

	"milepost/bot"
	"milepost/flow"
)

// media is a file on its way out.
type media struct {
	name string
	mime string
	data []byte
	alt  string // what a picture shows, in words
}

// mostOut bounds what is read of a file that goes out, whatever the server takes.
const mostOut = 256 << 20

// sendFile sends a file that goes with a message. A file that can't go is told
// in words, and never holds up what comes after it.
func (m *stint) sendFile(ctx context.Context, out *bot.Outbound, p *place, key string, f *flow.FileRef) error {
	row, err := m.state.sentBy(ctx, key)
	if err != nil {
		return storeFault(err)
	}
	if row.event != "" {
		return nil
	}
	name := fileName(f.Name)
	limit := m.mediaLimit(ctx)
	if f.Bytes > limit {
		return m.instead(ctx, out, p, key, name, f.Bytes, "larger than this homeserver takes")
	}
	data, err := m.readBlob(ctx, f.SHA256, limit)
	switch {
	case errors.Is(err, errTooLarge):
		return m.instead(ctx, out, p, key, name, f.Bytes, "larger than this homeserver takes")
	case errors.Is(err, fs.ErrNotExist), errors.Is(err, errNoBlobs):
		m.cfg.Log.Warn("file that was to go out is not here", "key", out.Key, "err", err)
		return m.instead(ctx, out, p, key, name, f.Bytes, "no longer kept here")
	case err != nil:
		return &bot.Error{Kind: bot.Unavailable, Err: fmt.Errorf("send file: %w", err)}
	}
	err = m.sendMedia(ctx, out, p, key, &media{name: name, mime: mediaType(f.Type), data: data, alt: shorten(beginning(bot.Printable(out.Reply.Text)), 300)})
	if errors.Is(err, errTooLarge) {
		return m.instead(ctx, out, p, key, name, f.Bytes, "larger than this homeserver takes")
	}
	return err
}

// instead says in words that a file is not there, and why.
func (m *stint) instead(ctx context.Context, out *bot.Outbound, p *place, key, name string, bytes int64, why string) error {
	r := rendered{body: fmt.Sprintf("file: %s, %d bytes: %s", name, bytes, why)}
	_, err := m.say(ctx, out, p, key, r.content(event.MsgNotice))
	return err
}

var errNoBlobs = errors.New("no files are kept here")

func (m *stint) readBlob(ctx context.Context, sha256 string, limit int64) ([]byte, error) {
	if m.cfg.Blobs == nil {
		return nil, errNoBlobs
	}
	r, err := m.cfg.Blobs.Open(ctx, sha256)
	if err != nil {
		return nil, err
	}
	defer r.Close()
	data, err := io.ReadAll(io.LimitReader(r, limit+1))
	if err == nil && int64(len(data)) > limit {
		err = errTooLarge
	}
	return data, err
}

// mediaLimit is how large a file the server takes, as it says; asked once. It is
// only a hint: the server refuses what is larger.
func (m *stint) mediaLimit(ctx context.Context) int64 {
	if limit, ok := m.out.mediaLimit(); ok {
		return limit
	}
	limit := int64(mostOut)
	c, err := m.client.GetMediaConfig(ctx)
	if err == nil && c.UploadSize > 0 {
		limit = min(limit, c.UploadSize)
	}
	if err == nil || errors.Is(err, mautrix.MNotFound) || errors.Is(err, mautrix.MUnrecognized) {
		m.out.setMediaLimit(limit)
	}
	return limit
}

func (o *outward) mediaLimit() (int64, bool) {
	o.mu.Lock()
	defer o.mu.Unlock()
	return o.limit, o.limited
}

func (o *outward) setMediaLimit(limit int64) {
	o.mu.Lock()
	defer o.mu.Unlock()
	o.limit, o.limited = limit, true
}

// sendMedia uploads a file, encrypted where the room is, and sends the message
// that shows it.
func (m *stint) sendMedia(ctx context.Context, out *bot.Outbound, p *place, key string, f *media) error {
	row, err := m.state.sentBy(ctx, key)
	if err != nil {
		return storeFault(err)
	}
	if row.event != "" {
		return nil
	}
	encrypted, err := m.encrypts(ctx, p.room)
	if err != nil {
		return err
	}
	content := &event.MessageEventContent{MsgType: event.MsgFile, Body: f.name, FileName: f.name, Mentions: &event.Mentions{},
		Info: &event.FileInfo{MimeType: f.mime, Size: len(f.data)}}
	pic := lookAt(f)
	if pic != nil {
		content.MsgType, content.Info.Width, content.Info.Height = event.MsgImage, pic.width, pic.height
		if f.alt != "" {
			content.Body = f.alt
		}
	}
	up, err := m.upload(ctx, p.room, key+"/media", encrypted, f)
	if err != nil {
		return err
	}
	content.URL, content.File = up.URL, up.File
	if pic != nil && pic.thumb != nil {
		small, err := m.upload(ctx, p.room, key+"/thumb", encrypted, pic.thumb)
		if err != nil {
			return err
		}
		content.Info.ThumbnailURL, content.Info.ThumbnailFile = small.URL, small.File
		content.Info.ThumbnailInfo = &event.FileInfo{MimeType: pic.thumb.mime, Size: len(pic.thumb.data), Width: pic.thumbWidth, Height: pic.thumbHeight}
	}
	if _, err := m.say(ctx, out, p, key, content); err != nil {
		return err
	}
	return storeFault(errors.Join(m.state.unload(ctx, key+"/media"), m.state.unload(ctx, key+"/thumb")))
}

// upload is where a file lies on the server: one of the two.
type upload struct {
	URL  id.ContentURIString      `json:"url,omitempty"`
	File *event.EncryptedFileInfo `json:"file,omitempty"`
}

// upload brings a file to the server, once: a repeat finds where it lies, unless
// the room has been encrypted in between.
func (m *stint) upload(ctx context.Context, room id.RoomID, key string, encrypted bool, f *media) (*upload, error) {
	row, err := m.state.sentBy(ctx, key)
	if err != nil {
		return nil, storeFault(err)
	}
	var up upload
	if row.data != "" && json.Unmarshal([]byte(row.data), &up) == nil && (up.File != nil) == encrypted {
		return &up, nil
	}
	req := mautrix.ReqUploadMedia{ContentBytes: f.data, ContentType: servedAs(f.mime), FileName: f.name}
	up = upload{}
	if encrypted {
		if m.cipher == nil {
			return nil, &bot.Error{Kind: bot.Invalid, Err: fmt.Errorf("send a file to the encrypted room %s: %w", room, errNoEncryption)}
		}
		sealed, info, err := m.cipher.SealFile(f.data)
		if err != nil {
			return nil, &bot.Error{Kind: bot.Unavailable, Err: fmt.Errorf("encrypt file: %w", err)}
		}
		req = mautrix.ReqUploadMedia{ContentBytes: sealed, ContentType: "application/octet-stream"}
		up.File = info
	}
	resp, err := m.client.UploadMedia(ctx, req)
	if errors.Is(err, mautrix.MForbidden) { // has nothing to do with the room
		return nil, &bot.Error{Kind: bot.Forbidden, Err: fmt.Errorf("upload: the assistant may not: %w", err)}
	}
	if err != nil {
		return nil, sendFault(ctx, "upload", err)
	}
	at := resp.ContentURI.CUString()
	if encrypted {
		up.File.URL = at
	} else {
		up.URL = at
	}
	data, err := json.Marshal(&up)
	if err != nil {
		return nil, &bot.Error{Kind: bot.Internal, Err: fmt.Errorf("upload: %w", err)} // plain values: unreachable
	}
	return &up, storeFault(m.state.uploaded(ctx, key, transaction(key), room.String(), string(at), string(data)))
}

// maxFileName bounds a file's name, in bytes.
const maxFileName = 120

// fileName is a file's own name, fit to be shown.
func fileName(name string) string {
	name = path.Base(strings.ReplaceAll(oneLine(name), `\`, "/"))
	if name == "." || name == "/" || name == ".." {
		name = "file"
	}
	if ext := path.Ext(name); len(name) > maxFileName && len(ext) < 20 {
		return strings.TrimSuffix(shorten(strings.TrimSuffix(name, ext), maxFileName-len(ext)), "…") + ext
	}
	return shorten(name, maxFileName)
}

var mediaForm = regexp.MustCompile(`^[a-z]+/[a-z0-9.+-]+$`)

// mediaType is a media type without its parameters.
func mediaType(t string) string {
	t, _, _ = strings.Cut(strings.ToLower(t), ";")
	if t = strings.TrimSpace(t); mediaForm.MatchString(t) {
		return t
	}
	return "application/octet-stream"
}

// servedAs is what the server is told of a file in a plain room: nothing that a
// browser would run.
func servedAs(mime string) string {
	switch mime {
	case "image/png", "image/jpeg", "image/gif", "image/webp", "application/pdf", "text/plain":
		return mime
	}
	return "application/octet-stream"
}
