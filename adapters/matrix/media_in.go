package matrix

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path"
	"path/filepath"
	"strings"
	"time"

	"maunium.net/go/mautrix/event"
	"maunium.net/go/mautrix/id"

	"milepost/bot"
)

// Words of a file that could not be taken.
const (
	faultTooLarge = "file.too_large"
	faultGone     = "file.gone"
)

// fetchFor is for how long a download is tried: longer than a homeserver is away
// that is started again.
const fetchFor = 3 * time.Minute

// attachment is a file on its way in: fetched when it is opened, into a file of
// ours, so that nothing is handed on before its end and its hash are known.
func (m *stint) attachment(ctx context.Context, c *event.MessageEventContent) *bot.Attachment {
	a := &bot.Attachment{Name: baseName(c.GetFileName())}
	address := c.URL
	if c.File != nil {
		address = c.File.URL
	}
	uri, err := address.Parse()
	switch {
	case err != nil || uri.IsEmpty() || c.File != nil && m.cipher == nil:
		a.Fault = faultGone
	case c.Info != nil && int64(c.Info.Size) > m.cfg.MaxFile: // what it says of itself; the true size is seen on the way
		a.Fault = faultTooLarge
	default:
		a.Open = func() (io.ReadCloser, error) { return m.fetchFile(ctx, uri, c.File) }
	}
	return a
}

// baseName is the last part of a name, on whatever system it was one.
func baseName(name string) string {
	name = path.Base(strings.ReplaceAll(strings.ToValidUTF8(name, "\ufffd"), `\`, "/"))
	if name == "." || name == ".." || name == "/" {
		return ""
	}
	return cut(name, longestName)
}

// fetchFile downloads a file. A server that is not there for a while must not
// cost a person's evidence: it is tried until its time is over or the server has
// said no. In the pauses another worker takes other threads on.
func (m *stint) fetchFile(ctx context.Context, uri id.ContentURI, sealed *event.EncryptedFileInfo) (io.ReadCloser, error) {
	ctx, cancel := context.WithTimeout(ctx, m.in.fetchFor)
	defer cancel()
	var b backoff
	for {
		f, err := m.fetchOnce(ctx, uri, sealed)
		if err == nil || final(err) || ctx.Err() != nil {
			return f, err
		}
		wait := b.next(err)
		m.cfg.Log.Warn("matrix: fetch a file", "err", brief(err), "again in", wait.Round(time.Millisecond))
		var over error
		m.in.turns.pause(func() { over = sleep(ctx, wait) })
		if over != nil {
			return nil, errors.Join(fmt.Errorf("fetch file: %w", over), err)
		}
	}
}

// refusal is an end of a download that another try would not change.
func refusal(format string, args ...any) error {
	return &bot.Error{Kind: bot.Invalid, Err: fmt.Errorf("fetch file: "+format, args...)}
}

func (m *stint) fetchOnce(ctx context.Context, uri id.ContentURI, sealed *event.EncryptedFileInfo) (_ io.ReadCloser, err error) {
	res, err := m.client.Download(ctx, uri)
	if err != nil {
		return nil, fmt.Errorf("fetch file: %w", err)
	}
	defer res.Body.Close()
	if res.ContentLength > m.cfg.MaxFile {
		return nil, refusal("%w", bot.ErrTooLarge)
	}
	f, err := os.CreateTemp(m.tempDir(), "in-*")
	if err != nil {
		return nil, refusal("%w", err)
	}
	t := &tempFile{f}
	defer func() {
		if err != nil {
			err = errors.Join(err, t.Close())
		}
	}()
	body := &metered{r: io.LimitReader(res.Body, m.cfg.MaxFile+1)}
	if err := m.copyFile(f, body, sealed); err != nil {
		return nil, err
	}
	if body.n > m.cfg.MaxFile {
		return nil, refusal("%w", bot.ErrTooLarge)
	}
	if _, err := f.Seek(0, io.SeekStart); err != nil {
		return nil, refusal("%w", err)
	}
	return t, nil
}

// copyFile copies what comes, decrypted where it was encrypted. The hash of that
// is known at its end only.
func (m *stint) copyFile(f *os.File, body *metered, sealed *event.EncryptedFileInfo) error {
	plain := io.NopCloser(body)
	if sealed != nil {
		err := m.contain("opening a file", func() (err error) {
			plain, err = m.cipher.OpenFile(plain, sealed)
			return err
		})
		if err != nil {
			return refusal("open: %w", err)
		}
	}
	_, err := io.Copy(f, plain)
	switch cerr := plain.Close(); {
	case body.err != nil:
		return fmt.Errorf("fetch file: %w", body.err) // the line broke: another try
	case body.n > m.cfg.MaxFile:
		return nil // found out above
	case err != nil:
		return refusal("%w", err)
	case cerr != nil:
		return refusal("check: %w", cerr)
	}
	return nil
}

// metered counts what comes, and remembers why it ended.
type metered struct {
	r   io.Reader
	n   int64
	err error
}

func (l *metered) Read(p []byte) (int, error) {
	n, err := l.r.Read(p)
	l.n += int64(n)
	if err != nil && err != io.EOF {
		l.err = err
	}
	return n, err
}

// tempFile is gone when it is closed.
type tempFile struct{ *os.File }

func (t *tempFile) Close() error {
	return errors.Join(t.File.Close(), os.Remove(t.Name()))
}

func (m *stint) tempDir() string { return filepath.Join(m.cfg.Dir, "tmp") }

// clearTemp makes the directory for files on their way, without those that a
// crash has left.
func (m *stint) clearTemp() error {
	if err := os.RemoveAll(m.tempDir()); err != nil {
		return &bot.Error{Kind: bot.Unavailable, Err: fmt.Errorf("clear files on their way: %w", err)}
	}
	if err := os.MkdirAll(m.tempDir(), 0o700); err != nil {
		return &bot.Error{Kind: bot.Unavailable, Err: fmt.Errorf("make place for files: %w", err)}
	}
	return nil
}
