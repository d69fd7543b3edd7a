package bottest

import (
	"bytes"
	"cmp"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"slices"

	"golang.org/x/mod/sumdb/tlog"

	"milepost/bot"
)

// Tree implements bot.Store.
func (m *Memory) Tree(_ context.Context, shop string) (bot.TreeReader, error) {
	t := &memTree{}
	m.look(shop, func(s *memShop) { t.size, t.hashes = s.Edge.Size(), s.Hashes })
	return t, nil
}

type memTree struct {
	size   int64
	hashes []tlog.Hash // never changed, only added to
}

func (t *memTree) Size() int64 { return t.size }

func (t *memTree) ReadHashes(indexes []int64) ([]tlog.Hash, error) {
	out := make([]tlog.Hash, len(indexes))
	for i, index := range indexes {
		if index < 0 || index >= int64(len(t.hashes)) {
			return nil, fmt.Errorf("read hash %d: not in a tree of %d", index, t.size)
		}
		out[i] = t.hashes[index]
	}
	return out, nil
}

// SaveHead implements bot.Store.
func (m *Memory) SaveHead(_ context.Context, shop string, h bot.Head) error {
	m.mu.Lock()
	defer m.mu.Unlock()
	s := m.shop(shop)
	if !slices.ContainsFunc(s.Heads, func(old bot.Head) bool { return old.Size == h.Size && old.Note == h.Note }) {
		s.Heads = append(s.Heads, h)
		slices.SortStableFunc(s.Heads, func(a, b bot.Head) int { return cmp.Compare(a.Size, b.Size) })
	}
	return nil
}

// Heads implements bot.Store.
func (m *Memory) Heads(_ context.Context, shop string) (out []bot.Head, err error) {
	m.look(shop, func(s *memShop) { out = slices.Clone(s.Heads) })
	return out, nil
}

// Backup implements bot.Store: all of it as JSON, which nothing reads back.
func (m *Memory) Backup(_ context.Context, file string) error {
	m.mu.RLock()
	b, err := json.Marshal(map[string]any{"shops": m.shops, "outbox": m.out, "files": m.files})
	m.mu.RUnlock()
	if err != nil {
		return err
	}
	f, err := os.OpenFile(file, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
	if err != nil {
		return fmt.Errorf("backup: %w", err)
	}
	_, err = f.Write(b)
	return errors.Join(err, f.Close())
}

// Close implements bot.Store.
func (m *Memory) Close() error { return nil }

// Put implements bot.Blobs.
func (m *Memory) Put(_ context.Context, r io.Reader, limit int64) (bot.Blob, error) {
	b, err := io.ReadAll(io.LimitReader(r, limit+1))
	if err != nil {
		return bot.Blob{}, err
	}
	if int64(len(b)) > limit {
		return bot.Blob{}, bot.ErrTooLarge
	}
	sum := sha256.Sum256(b)
	name := hex.EncodeToString(sum[:])
	m.mu.Lock()
	defer m.mu.Unlock()
	m.files[name] = b
	return bot.Blob{SHA256: name, Bytes: int64(len(b)), Head: bytes.Clone(b[:min(512, len(b))])}, nil
}

// Open implements bot.Blobs.
func (m *Memory) Open(_ context.Context, sha256 string) (io.ReadCloser, error) {
	m.mu.RLock()
	defer m.mu.RUnlock()
	b, ok := m.files[sha256]
	if !ok {
		return nil, fmt.Errorf("open evidence %s: %w", sha256, fs.ErrNotExist)
	}
	return io.NopCloser(bytes.NewReader(b)), nil
}

// Delete implements bot.Blobs.
func (m *Memory) Delete(_ context.Context, sha256 string) error {
	m.mu.Lock()
	defer m.mu.Unlock()
	delete(m.files, sha256)
	return nil
}
