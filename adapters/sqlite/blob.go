package sqlite

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"hash"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"milepost/bot"
)

// headBytes is how much of a file's beginning Put gives back.
const headBytes = 512

// Put streams a file into a temporary one, syncs it and gives it the name of its
// hash. If we crash before that, the next start removes the temporary file.
func (s *Store) Put(ctx context.Context, r io.Reader, limit int64) (bot.Blob, error) {
	if s.readOnly {
		return bot.Blob{}, fault("put evidence", ErrReadOnly)
	}
	b, err := s.put(ctx, r, limit)
	return b, fault("put evidence", err)
}

func (s *Store) put(ctx context.Context, r io.Reader, limit int64) (bot.Blob, error) {
	dir := filepath.Join(s.dir, evidenceName)
	f, err := os.CreateTemp(dir, tempPrefix+"*") // mode 0600
	if err != nil {
		return bot.Blob{}, err
	}
	defer os.Remove(f.Name()) // gone already if it was renamed
	b, err := fill(ctx, f, r, limit)
	if err := errors.Join(err, f.Close()); err != nil {
		return bot.Blob{}, err
	}
	s.freshMu.Lock()
	s.fresh[b.SHA256] = true
	s.freshMu.Unlock()

	path := s.path(b.SHA256)
	made := false
	if err := os.Mkdir(filepath.Dir(path), 0o700); err == nil {
		made = true
	} else if !errors.Is(err, fs.ErrExist) {
		return bot.Blob{}, err
	}
	// One that is there already has the same content; the new one takes its place.
	if err := os.Rename(f.Name(), path); err != nil {
		return bot.Blob{}, err
	}
	if err := syncDir(filepath.Dir(path)); err != nil {
		return bot.Blob{}, err
	}
	if made {
		return b, syncDir(dir)
	}
	return b, nil
}

const tempPrefix = ".put-"

// fill copies what r gives to f and syncs it.
func fill(ctx context.Context, f *os.File, r io.Reader, limit int64) (bot.Blob, error) {
	sum := sha256.New()
	head := &headWriter{}
	n, err := io.Copy(io.MultiWriter(f, sum, head), io.LimitReader(ctxReader{ctx, r}, limit+1))
	if err != nil {
		return bot.Blob{}, err
	}
	if n > limit {
		return bot.Blob{}, bot.ErrTooLarge
	}
	return bot.Blob{SHA256: hex.EncodeToString(sum.Sum(nil)), Bytes: n, Head: head.b}, f.Sync()
}

type headWriter struct{ b []byte }

func (h *headWriter) Write(p []byte) (int, error) {
	h.b = append(h.b, p[:min(len(p), headBytes-len(h.b))]...)
	return len(p), nil
}

// ctxReader stops reading when the caller has given up.
type ctxReader struct {
	ctx context.Context
	r   io.Reader
}

func (c ctxReader) Read(p []byte) (int, error) {
	if err := c.ctx.Err(); err != nil {
		return 0, err
	}
	return c.r.Read(p)
}

// Open reads a file. Where its content is not what its name says, the last read
// gives ErrDamaged in place of io.EOF.
func (s *Store) Open(_ context.Context, sha256hex string) (io.ReadCloser, error) {
	if !isSum(sha256hex) {
		return nil, fmt.Errorf("open evidence: %.80q is not a hash", sha256hex)
	}
	f, err := os.Open(s.path(sha256hex))
	if err != nil {
		return nil, fault("open evidence", err)
	}
	return &checked{f, sha256.New(), sha256hex}, nil
}

type checked struct {
	f    *os.File
	sum  hash.Hash
	want string
}

func (c *checked) Read(p []byte) (int, error) {
	n, err := c.f.Read(p)
	c.sum.Write(p[:n])
	if err == io.EOF && hex.EncodeToString(c.sum.Sum(nil)) != c.want {
		return n, fmt.Errorf("evidence %s: %w", c.want, ErrDamaged)
	}
	return n, err
}

func (c *checked) Close() error { return c.f.Close() }

// Delete removes a file; one that is not there is no error.
func (s *Store) Delete(ctx context.Context, sha256hex string) error {
	if !isSum(sha256hex) {
		return fmt.Errorf("delete evidence: %.80q is not a hash", sha256hex)
	}
	if err := s.take(ctx); err != nil {
		return fault("delete evidence", err)
	}
	defer s.release()
	s.files.Lock()
	defer s.files.Unlock()
	return fault("delete evidence", s.removeFile(sha256hex))
}

func (s *Store) removeFile(sum string) error {
	if !isSum(sum) {
		return nil // a hash in the index that names no file of ours
	}
	err := os.Remove(s.path(sum))
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return err
	}
	return syncDir(filepath.Dir(s.path(sum)))
}

func (s *Store) path(sum string) string {
	return filepath.Join(s.dir, evidenceName, sum[:2], sum)
}

func (s *Store) isFresh(sum string) bool {
	s.freshMu.Lock()
	defer s.freshMu.Unlock()
	return s.fresh[sum]
}

func isSum(s string) bool {
	return len(s) == 2*sha256.Size && strings.Trim(s, "0123456789abcdef") == ""
}

// tidy does at the start what a crash left undone: an erasure, files half
// written, and evidence whose message never came to be an entry.
func (s *Store) tidy(ctx context.Context) error {
	if err := s.take(ctx); err != nil {
		return err
	}
	defer s.release()
	if err := s.removeDoomed(ctx); err != nil {
		return fault("tidy", err)
	}
	if err := s.scrub(ctx); err != nil && !errors.Is(err, bot.ErrLingers) {
		return fault("tidy", err)
	}
	return fault("tidy", s.walkEvidence(func(path, sum string) error {
		if sum == "" {
			return os.Remove(path)
		}
		held, err := s.isHeld(ctx, sum)
		if err != nil || held {
			return err
		}
		return s.removeFile(sum)
	}))
}

// walkEvidence visits every file in the evidence directory, sum "" if it was
// being written.
func (s *Store) walkEvidence(visit func(path, sum string) error) error {
	return filepath.WalkDir(filepath.Join(s.dir, evidenceName), func(path string, d fs.DirEntry, err error) error {
		switch name := ""; {
		case err != nil:
			return err
		case !d.Type().IsRegular():
			return nil
		default:
			name = d.Name()
			if isSum(name) {
				return visit(path, name)
			}
			if strings.HasPrefix(name, tempPrefix) {
				return visit(path, "")
			}
			return nil
		}
	})
}
