package main

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"os"
	"path/filepath"
	"runtime"
	"slices"

	"milepost/adapters/sqlite"
	"milepost/bot"
)

// What lies in a data directory beside the store's own files:
//
//	log.key        the private signing key, 0600; in no backup
//	log.pub        its public half, to give away; tells a change of key
//	log-NAME.key   the same of each further shop, and its log-NAME.pub
//	matrix, slack  what a chat network's adapter keeps
//	owner          whose directory it is: "chat" or "serve"
//	milepost.sock  the way to the running program, 0600 (socket.go)
const (
	keyName    = "log.key"
	publicName = "log.pub"
	ownerName  = "owner"
	ownerChat  = "chat"
	ownerServe = "serve"
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

// source is where a command finds its store: a data directory, and the
// configuration that named it if one did.
type source struct {
	dir string
	cfg *config // nil: the directory was named, or is the user's
}

// shops are the names of the shops there: those configured, else those whose
// keys lie there, and those just restored, whose first entry is still to be made
// and is made whatever is configured. Of nothing it is the one that chat makes.
func (c source) shops(restored []sqlite.Tree) (shops []string) {
	switch owner, _ := ownerOf(c.dir); { // who can't be told is nobody: what follows says why
	case c.cfg != nil:
		shops = c.cfg.shopNames()
	case owner != ownerChat:
		shops = keptShops(c.dir)
	}
	for _, t := range restored {
		if !slices.Contains(shops, t.Shop) {
			shops = append(shops, t.Shop)
		}
	}
	if len(shops) == 0 {
		shops = []string{bot.DefaultShop}
	}
	return shops
}

func (c source) keyFiles(shops []string) []keyFile {
	named := map[string]secret{}
	if c.cfg != nil {
		for i := range c.cfg.shops {
			named[c.cfg.shops[i].name] = c.cfg.shops[i].key
		}
	}
	return keyFiles(c.dir, shops, named)
}

// house is a data directory in use: its store, its keys and a bot over them.
type house struct {
	dir   string
	store *sqlite.Store
	shops []string // in the order configured
	keys  shopKeys
	bot   *bot.Bot
}

// equipment is what a house that is written to has beside its store.
type equipment struct {
	log      *slog.Logger
	networks func(*house) ([]bot.Network, error) // nil: none
	measure  bot.Measure                         // nil: none
}

// openToRead opens a store beside whatever runs there. Without a key nothing can
// be signed.
func openToRead(ctx context.Context, s *streams, from source) (*house, error) {
	store, err := sqlite.Open(ctx, sqlite.Config{Dir: from.dir, ReadOnly: true})
	if err != nil {
		return nil, err
	}
	h := &house{dir: from.dir, store: store, shops: from.shops(nil), keys: shopKeys{}}
	for _, f := range from.keyFiles(h.shops) {
		if h.keys[f.shop], err = f.read(); err != nil && !errors.Is(err, fs.ErrNotExist) {
			return nil, errors.Join(err, store.Close())
		}
	}
	if err := h.makeBot(from, equipment{log: s.log(slog.LevelWarn)}); err != nil {
		return nil, errors.Join(err, store.Close())
	}
	return h, nil
}

// openToWrite opens a store for the one process that may write, with its
// signing keys, made where there are none. What a restore or a change of key has
// left to be entered is entered before anything else.
func openToWrite(ctx context.Context, s *streams, from source, with equipment) (_ *house, err error) {
	store, err := sqlite.Open(ctx, sqlite.Config{Dir: from.dir})
	if err != nil {
		return nil, err
	}
	h := &house{dir: from.dir, store: store, keys: shopKeys{}}
	defer func() {
		if err != nil {
			err = errors.Join(err, store.Close())
		}
	}()
	restored, err := store.Unrecorded(ctx)
	if err != nil {
		return nil, err
	}
	h.shops = from.shops(restored)
	files := from.keyFiles(h.shops)
	for i := range files {
		if h.keys[files[i].shop], err = files[i].readOrMake(); err != nil {
			return nil, err
		}
	}
	if err := h.makeBot(from, with); err != nil {
		return nil, err
	}
	if err := h.recordRestore(ctx, restored); err != nil {
		return nil, err
	}
	for i := range files {
		if err := h.recordKey(ctx, s, &files[i]); err != nil {
			return nil, err
		}
	}
	return h, nil
}

func (h *house) makeBot(from source, with equipment) (err error) {
	owner, err := ownerOf(h.dir)
	if err != nil {
		return err
	}
	c := bot.Config{
		Store: h.store, Blobs: h.store, Program: program(), Log: with.log, Measure: with.measure,
		Single: from.cfg == nil && owner != ownerServe,
	}
	if from.cfg != nil {
		c.Shops = from.cfg.botShops(h.keys)
	}
	for _, shop := range h.shops[len(c.Shops):] {
		c.Shops = append(c.Shops, bot.Shop{Name: shop, Key: h.keys[shop]})
	}
	if with.networks != nil {
		if c.Networks, err = with.networks(h); err != nil {
			return err
		}
	}
	h.bot, err = bot.New(c)
	return err
}

func (h *house) close() error { return h.store.Close() }

// recordRestore makes the first entry after a restore, if there was one.
func (h *house) recordRestore(ctx context.Context, trees []sqlite.Tree) error {
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
