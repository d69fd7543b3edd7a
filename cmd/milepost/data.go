package main

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"os"
	"path/filepath"
	"runtime"
	"strings"

	"milepost/adapters/sqlite"
	"milepost/bot"
	"milepost/bot/journal"
)

// What lies in a data directory beside the store's own files:
//
//	log.key        the private signing key, 0600; in no backup
//	log.pub        its public half, to give away; tells a change of key
//	owner          whose directory it is: "chat" or "serve"
//	milepost.sock  the way to the running program, 0600 (socket.go)
const (
	keyName    = "log.key"
	publicName = "log.pub"
	ownerName  = "owner"
	ownerChat  = "chat"
)

// userData is the data directory where none is named.
func userData() (string, error) {
	if dir := os.Getenv("XDG_DATA_HOME"); filepath.IsAbs(dir) {
		return filepath.Join(dir, "milepost"), nil
	}
	if dir := os.Getenv("LocalAppData"); runtime.GOOS == "windows" && dir != "" {
		return filepath.Join(dir, "milepost"), nil
	}
	home, err := os.UserHomeDir()
	if err != nil {
		return "", fmt.Errorf("find the data directory: %w; name one with --data", err)
	}
	if runtime.GOOS == "darwin" {
		return filepath.Join(home, "Library", "Application Support", "milepost"), nil
	}
	return filepath.Join(home, ".local", "share", "milepost"), nil
}

// house is a data directory in use: its store, its key and a bot over them.
type house struct {
	dir   string
	store *sqlite.Store
	key   journal.Key
	bot   *bot.Bot
}

// openToRead opens a store beside whatever runs there. Without a key nothing can
// be signed.
func openToRead(ctx context.Context, s *streams, dir string) (*house, error) {
	store, err := sqlite.Open(ctx, sqlite.Config{Dir: dir, ReadOnly: true})
	if err != nil {
		return nil, err
	}
	h := &house{dir: dir, store: store}
	if h.key, err = readKey(dir); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return nil, errors.Join(err, store.Close())
	}
	if err := h.makeBot(s.log(slog.LevelWarn)); err != nil {
		return nil, errors.Join(err, store.Close())
	}
	return h, nil
}

// openToWrite opens a store for the one process that may write, with its
// signing key, made where there is none. What a restore or a change of key has
// left to be entered is entered before anything else.
func openToWrite(ctx context.Context, s *streams, dir string, log *slog.Logger, nets ...bot.Network) (_ *house, err error) {
	store, err := sqlite.Open(ctx, sqlite.Config{Dir: dir})
	if err != nil {
		return nil, err
	}
	h := &house{dir: dir, store: store}
	defer func() {
		if err != nil {
			err = errors.Join(err, store.Close())
		}
	}()
	if h.key, err = readKey(dir); errors.Is(err, fs.ErrNotExist) {
		h.key, err = makeKey(dir)
	}
	if err != nil {
		return nil, err
	}
	if err := h.makeBot(log, nets...); err != nil {
		return nil, err
	}
	if err := h.recordRestore(ctx); err != nil {
		return nil, err
	}
	return h, h.recordKey(ctx, s)
}

func (h *house) makeBot(log *slog.Logger, nets ...bot.Network) (err error) {
	h.bot, err = bot.New(bot.Config{
		Store: h.store, Blobs: h.store, Networks: nets, Program: program(), Single: true, Log: log,
		Shops: []bot.Shop{{Name: bot.DefaultShop, Key: h.key}},
	})
	return err
}

func (h *house) close() error { return h.store.Close() }

// recordRestore makes the first entry after a restore, if there was one.
func (h *house) recordRestore(ctx context.Context) error {
	trees, err := h.store.Unrecorded(ctx)
	if err != nil {
		return err
	}
	for _, t := range trees {
		if t.Size == 0 {
			continue
		}
		if err := h.bot.RecordRestore(ctx, t.Shop); err != nil {
			return err
		}
		if err := h.bot.Rebuild(ctx, t.Shop); err != nil {
			return err
		}
	}
	return nil
}

// recordKey makes the entry of a change of key where the public half kept here
// is of another one. If we crash before the new half is kept, the next start
// finds the entry made.
func (h *house) recordKey(ctx context.Context, s *streams) error {
	path := filepath.Join(h.dir, publicName)
	old, err := os.ReadFile(path)
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	was := strings.TrimSpace(string(old))
	if was == h.key.Public() {
		return nil
	}
	if was != "" {
		if _, err := journal.Fingerprint(was); err != nil {
			return fmt.Errorf("%s: %w", path, err)
		}
	}
	if err := h.bot.RecordKey(ctx, bot.DefaultShop, journal.Key{}, was); err != nil {
		return err
	}
	if was != "" {
		s.warn("the signing key has changed and the old one is not at hand; the log says so")
	}
	return writeFile(path, []byte(h.key.Public()+"\n"), true)
}

// readKey reads the signing key. A file that others may read is refused.
func readKey(dir string) (journal.Key, error) {
	path := filepath.Join(dir, keyName)
	fi, err := os.Stat(path)
	if err != nil {
		return journal.Key{}, err
	}
	if runtime.GOOS != "windows" && fi.Mode().Perm()&0o077 != 0 {
		return journal.Key{}, fmt.Errorf("%s may be read by others (mode %03o): make it 600, and think of a new key", path, fi.Mode().Perm())
	}
	b, err := os.ReadFile(path)
	if err != nil {
		return journal.Key{}, err
	}
	k, err := journal.ParseKey(string(b))
	if err != nil {
		return journal.Key{}, fmt.Errorf("%s: %w", path, err)
	}
	return k, nil
}

// makeKey makes the signing key of a new directory.
func makeKey(dir string) (journal.Key, error) {
	k, err := journal.NewKey(bot.DefaultShop, rand.Reader)
	if err != nil {
		return k, err
	}
	return k, writeFile(filepath.Join(dir, keyName), []byte(k.Private()+"\n"), false)
}

// checkOwner refuses a directory that serve owns, before anything in it is
// touched.
func checkOwner(dir string) error {
	b, err := os.ReadFile(filepath.Join(dir, ownerName))
	switch owner := strings.TrimSpace(string(b)); {
	case errors.Is(err, fs.ErrNotExist):
		return nil
	case err != nil:
		return err
	case owner != ownerChat:
		return fmt.Errorf("data directory %s belongs to %.40q: chat is for a store of its own; name another with --data", dir, owner)
	}
	return nil
}

// markOwner makes a directory that of chat, if it is nobody's. Called with the
// directory's lock held.
func markOwner(dir string) error {
	path := filepath.Join(dir, ownerName)
	if _, err := os.Lstat(path); err == nil {
		return checkOwner(dir) // since it was looked at, or before
	}
	return writeFile(path, []byte(ownerChat+"\n"), false)
}

// writeFile writes a file whole or not at all, for the owner alone. Without
// over, one that is there stays and is an error.
func writeFile(path string, b []byte, over bool) error {
	return writeTo(path, over, func(f *os.File) error {
		_, err := f.Write(b)
		return err
	})
}

// writeTo is writeFile for what is written piece by piece.
func writeTo(path string, over bool, write func(*os.File) error) (err error) {
	if _, err := os.Lstat(path); err == nil && !over {
		return fmt.Errorf("write %s: %w", path, fs.ErrExist)
	}
	f, err := os.CreateTemp(filepath.Dir(path), ".milepost-*") // mode 0600
	if err != nil {
		return fmt.Errorf("write %s: %w", path, err)
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, ignoreGone(os.Remove(f.Name())))
		}
	}()
	if err := errors.Join(write(f), f.Sync(), f.Close()); err != nil {
		return fmt.Errorf("write %s: %w", path, err)
	}
	if err := os.Rename(f.Name(), path); err != nil {
		return fmt.Errorf("write %s: %w", path, err)
	}
	return syncDir(filepath.Dir(path))
}

func ignoreGone(err error) error {
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	return err
}

// syncDir makes a rename last. Where a directory can't be synced, as on Windows,
// the file system sees to it.
func syncDir(dir string) error {
	if runtime.GOOS == "windows" {
		return nil
	}
	d, err := os.Open(dir)
	if err != nil {
		return err
	}
	return errors.Join(d.Sync(), d.Close())
}
