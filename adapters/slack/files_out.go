package slack

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"path"
	"strings"
	"time"

	api "github.com/slack-go/slack"

	"milepost/bot"
	"milepost/flow"
)

// A file goes out in three steps: a place is asked for, the bytes are put there,
// and the file is shown in the thread. What was reached is noted after each, so
// that a cut in between ends in one file and not in two. Slack gives the third
// step no ts: it is read from the file's shares.

// upload is what a file has come to.
type upload struct {
	File string `json:"file"`           // its id
	URL  string `json:"url,omitempty"`  // where its bytes go; "" once they are there
	Last bool   `json:"last,omitempty"` // the last step was tried, and how it ended is not known
}

// sendFile shows a file in a thread.
func (s *Slack) sendFile(ctx context.Context, key string, a *aim, f flow.FileRef) error {
	if s.cfg.Blobs == nil || f.Bytes < 1 {
		s.log.Warn("a file can't be sent", "key", key, "bytes", f.Bytes, "store", s.cfg.Blobs != nil)
		return nil
	}
	return s.sendUpload(ctx, key, a, f, func() (io.ReadCloser, error) { return s.cfg.Blobs.Open(ctx, f.SHA256) })
}

func (s *Slack) sendUpload(ctx context.Context, key string, a *aim, f flow.FileRef, open func() (io.ReadCloser, error)) error {
	ts, more, tried, err := s.state.sentAs(ctx, key)
	if err != nil {
		return failed("send file", err)
	}
	if ts != "" {
		return nil
	}
	var u upload
	if more != "" {
		if err := json.Unmarshal([]byte(more), &u); err != nil {
			return failed("send file", err)
		}
	}
	if !tried {
		if err := s.state.trying(ctx, key, rowID(key), a.channel); err != nil {
			return failed("send file", err)
		}
	}
	name := fileName(f.Name)
	if u.File == "" || u.URL != "" {
		// Bytes that came to nothing leave a file nobody sees, and Slack forgets it.
		u, err = s.putBytes(ctx, key, name, f, open)
		if is(err, badFile) {
			return s.fileRefused(ctx, key, a, name, err)
		}
		if err != nil {
			return err
		}
	} else if u.Last {
		// How the last step ended is not known: it shows a moment after it was done.
		if ts, err = s.awaitShare(ctx, u.File, a.channel, 20); err != nil {
			return err
		}
	}
	if ts == "" {
		ts, err = s.showFile(ctx, key, a, u.File, name)
		if is(err, badFile) {
			return s.fileRefused(ctx, key, a, name, err)
		}
		if err != nil {
			return err
		}
	}
	return failed("send file", s.state.posted(context.WithoutCancel(ctx), key, ts))
}

// fileRefused says in the thread, once, that a file can't be shown there: it would be
// refused again, and what is said after it must not wait.
func (s *Slack) fileRefused(ctx context.Context, key string, a *aim, name string, why error) error {
	s.log.Error("the workspace does not take a file", "channel", a.channel, "code", code(why))
	notice := key + "#refused"
	if err := s.sendPost(ctx, notice, a, &post{Kind: flow.Notice, Text: fmt.Sprintf(sayNoFile, name)}); err != nil {
		return err
	}
	ts, _, _, err := s.state.sentAs(ctx, notice)
	if err != nil {
		return failed("send file", err)
	}
	return failed("send file", s.state.posted(context.WithoutCancel(ctx), key, ts))
}

// putBytes is the first two steps.
func (s *Slack) putBytes(ctx context.Context, key, name string, f flow.FileRef, open func() (io.ReadCloser, error)) (upload, error) {
	r, err := s.api.GetUploadURLExternalContext(ctx, api.GetUploadURLExternalParameters{FileName: name, FileSize: int(f.Bytes), AltTxt: altText(f)})
	if err != nil {
		return upload{}, failed("send file", err)
	}
	if r.FileID == "" || r.UploadURL == "" {
		return upload{}, failed("send file", errNoAnswer)
	}
	u := upload{File: r.FileID, URL: r.UploadURL}
	if err := s.state.reached(ctx, key, u); err != nil {
		return u, failed("send file", err)
	}
	content, err := open()
	if err != nil {
		return u, failed("send file", err)
	}
	err = s.api.UploadToURL(ctx, api.UploadToURLParameters{UploadURL: u.URL, Reader: content, Filename: name})
	if closed := content.Close(); err == nil {
		err = closed
	}
	if err != nil {
		return u, failed("send file", hideURL(err))
	}
	u.URL = ""
	if err := s.state.reached(ctx, key, u); err != nil {
		return u, failed("send file", err)
	}
	return u, nil
}

// showFile is the third step. It gives the ts of the message, or the file's id where
// that does not show yet. In a thread whose first message is gone it begins that anew.
func (s *Slack) showFile(ctx context.Context, key string, a *aim, id, name string) (ts string, err error) {
	lane := s.paces.of(a.channel)
	if err := lane.enter(ctx, a.job); err != nil {
		return "", failed("send file", err)
	}
	if err := s.state.reached(ctx, key, upload{File: id, Last: true}); err != nil {
		lane.leave(0)
		return "", failed("send file", err)
	}
	err = s.complete(ctx, a, id, name)
	if is(err, rootless) && a.root != "" {
		if err = s.newRoot(ctx, a); err != nil {
			lane.leave(wait(err))
			return "", errors.Join(failed("send file", err), s.state.reached(context.WithoutCancel(ctx), key, upload{File: id}))
		}
		err = s.complete(ctx, a, id, name)
	}
	lane.leave(0)
	if wait(err) == 0 {
		// What comes next in the thread is to stand below it. And what is refused may
		// be refused because an earlier try is done after all.
		var bad error
		switch ts, bad = s.awaitShare(ctx, id, a.channel, 3); {
		case ts != "":
			return ts, nil
		case err == nil:
			return id, nil // it is out, whatever its ts
		case bad != nil:
			return "", failed("send file", err)
		}
	}
	if fateOf(err) == undone {
		done := upload{File: id}
		if code(err) == "file_not_found" {
			done = upload{} // forgotten, as it was not shown in time: from the start
		}
		return "", errors.Join(failed("send file", err), s.state.reached(context.WithoutCancel(ctx), key, done))
	}
	return "", failed("send file", err)
}

// complete shows a file whose bytes are there.
func (s *Slack) complete(ctx context.Context, a *aim, id, name string) error {
	_, err := s.api.CompleteUploadExternalContext(ctx, api.CompleteUploadExternalParameters{
		Files: []api.FileSummary{{ID: id, Title: escape(clip(tidy(name), 200))}}, Channel: a.channel, ThreadTimestamp: a.root})
	return err
}

// awaitShare looks for a file's share, as often as said.
func (s *Slack) awaitShare(ctx context.Context, id, channel string, times int) (ts string, err error) {
	for i := range times {
		if i > 0 {
			t := time.NewTimer(200 * time.Millisecond)
			select {
			case <-t.C:
			case <-ctx.Done():
				t.Stop()
				return "", failed("look for file", ctx.Err())
			}
		}
		if ts, err = s.shareOf(ctx, id, channel); ts != "" || err != nil {
			return ts, err
		}
	}
	return "", nil
}

// shareOf gives the ts under which a file is shown in a channel, "" if it is not
// or not yet.
func (s *Slack) shareOf(ctx context.Context, id, channel string) (string, error) {
	f, _, _, err := s.api.GetFileInfoContext(ctx, id, 0, 0)
	if code(err) == "file_not_found" || code(err) == "file_deleted" {
		return "", nil
	}
	if err != nil {
		return "", failed("look for file", err)
	}
	for _, in := range []map[string][]api.ShareFileInfo{f.Shares.Public, f.Shares.Private} {
		for _, share := range in[channel] {
			if share.Ts != "" {
				return share.Ts, nil
			}
		}
	}
	return "", nil
}

// fileName is a name that is a name and no more.
func fileName(s string) string {
	s = path.Base(strings.ReplaceAll(oneLine(s), `\`, "/"))
	s = strings.Map(func(r rune) rune {
		if r < ' ' || strings.ContainsRune(`<>&|"`, r) {
			return '_'
		}
		return r
	}, s)
	if strings.Trim(s, "./–") == "" {
		return "file"
	}
	return clip(s, 120)
}

// altText says what a file is to those who can't see it.
func altText(f flow.FileRef) string {
	return clip(fileName(f.Name)+", "+orDash(f.Type), maxAlt)
}

// reached notes how far an upload has come.
func (s *state) reached(ctx context.Context, key string, u upload) error {
	b, err := json.Marshal(u)
	if err != nil {
		return err
	}
	_, err = s.db.ExecContext(ctx, "UPDATE sent SET more = ? WHERE key = ?", string(b), key)
	return err
}

// hideURL takes an address out of a failure: it is as good as a token.
func hideURL(err error) error {
	if d := wait(err); d > 0 || fateOf(err) == undone {
		return err
	}
	return &bot.Error{Kind: bot.Unavailable, Err: fmt.Errorf("upload: %s", plainly(err))}
}
