package main

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"milepost/bot/journal"
)

// shopKeys are the signing keys of the shops, by name. The zero key signs
// nothing: it is not at hand.
type shopKeys map[string]journal.Key

// keyFile is where a shop's key is kept. Its public half always lies in the data
// directory.
type keyFile struct {
	shop    string
	private string // path in the data directory
	from    secret // where the configuration names another place
	public  string // path
}

// path is where the private half is, "" in a variable.
func (f *keyFile) path() string {
	if f.from.set() {
		return f.from.file
	}
	return f.private
}

// keyFiles gives each shop its file: log.key is that of the shop which stands in
// it, whatever the order of the configuration becomes, else of the first; every
// other shop's is log-NAME.key.
func keyFiles(dir string, shops []string, named map[string]secret) (files []keyFile) {
	first := firstKey(dir)
	if first == "" {
		first = shops[0]
	}
	for _, shop := range shops {
		private, public := keyName, publicName
		if shop != first {
			private, public = "log-"+shop+".key", "log-"+shop+".pub"
		}
		files = append(files, keyFile{shop: shop, private: filepath.Join(dir, private), from: named[shop], public: filepath.Join(dir, public)})
	}
	return files
}

// firstKey tells whose key log.key is, by itself or by its public half; "" where
// there is neither.
func firstKey(dir string) string {
	if k, err := readKeyFile(filepath.Join(dir, keyName)); err == nil {
		return shopOf(k.Public())
	}
	b, err := os.ReadFile(filepath.Join(dir, publicName))
	if err != nil {
		return ""
	}
	return shopOf(string(b))
}

// shopOf is the shop that a public key is of, "" if it is none.
func shopOf(public string) string {
	name, _, _ := strings.Cut(strings.TrimSpace(public), "+")
	shop, ok := strings.CutPrefix(name, journal.KeyName(""))
	if !ok || !isShopName(shop) {
		return ""
	}
	return shop
}

// keptShops gives the shops of a data directory by the keys that lie in it,
// the first shop first.
func keptShops(dir string) []string {
	var shops []string
	if first := firstKey(dir); first != "" {
		shops = append(shops, first)
	}
	paths, _ := filepath.Glob(filepath.Join(globSafe(dir), "log-*.*")) // an error is one of the pattern: unreachable
	slices.Sort(paths)
	for _, p := range paths {
		name := strings.TrimPrefix(filepath.Base(p), "log-")
		shop := strings.TrimSuffix(strings.TrimSuffix(name, ".key"), ".pub")
		if shop != name && isShopName(shop) && !slices.Contains(shops, shop) {
			shops = append(shops, shop)
		}
	}
	return shops
}

// globSafe takes from a path what a pattern would understand by it.
func globSafe(path string) string {
	return strings.NewReplacer(`*`, `\*`, `?`, `\?`, `[`, `\[`, `\`, `\\`).Replace(path)
}

// read reads the key. It is fs.ErrNotExist if there is none.
func (f *keyFile) read() (journal.Key, error) {
	if f.from.set() {
		text, err := f.from.read()
		if err != nil {
			return journal.Key{}, err
		}
		k, err := journal.ParseKey(text)
		if err != nil {
			return k, fmt.Errorf("%s: %w", f.from.at, err)
		}
		return k, f.mine(k)
	}
	k, err := readKeyFile(f.private)
	if err != nil {
		return k, err
	}
	return k, f.mine(k)
}

// mine refuses a key of another shop.
func (f *keyFile) mine(k journal.Key) error {
	if of := shopOf(k.Public()); of != f.shop {
		return fmt.Errorf("the signing key of shop %s is one of shop %s", f.shop, of)
	}
	return nil
}

// readOrMake reads the key, or makes it at the first start. Where the
// configuration names a place, one that was there before and is gone is not
// replaced: it is more likely to be in another place than lost.
func (f *keyFile) readOrMake() (journal.Key, error) {
	k, err := f.read()
	if !errors.Is(err, fs.ErrNotExist) {
		return k, err
	}
	if _, had := os.Lstat(f.public); f.from.set() && (f.from.file == "" || had == nil) {
		return k, err
	}
	if k, err = journal.NewKey(f.shop, rand.Reader); err != nil {
		return k, err
	}
	return k, writeFile(f.path(), []byte(k.Private()+"\n"), false)
}

// readKeyFile reads a signing key. A file that others may read is refused.
func readKeyFile(path string) (journal.Key, error) {
	if _, err := os.Stat(path); err != nil {
		return journal.Key{}, err
	}
	b, err := readPrivate(path)
	if err != nil {
		return journal.Key{}, err
	}
	k, err := journal.ParseKey(string(b))
	if err != nil {
		return journal.Key{}, fmt.Errorf("%s: %w", path, err)
	}
	return k, nil
}

// recordKey makes the entry of a change of key where the public half kept here
// is of another one. If we crash before the new half is kept, the next start
// finds the entry made.
func (h *house) recordKey(ctx context.Context, s *streams, f *keyFile) error {
	old, err := os.ReadFile(f.public)
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	key, was := h.keys[f.shop], strings.TrimSpace(string(old))
	if was == key.Public() {
		return nil
	}
	if was != "" {
		if _, err := journal.Fingerprint(was); err != nil {
			return fmt.Errorf("%s: %w", f.public, err)
		}
	}
	if err := h.bot.RecordKey(ctx, f.shop, journal.Key{}, was); err != nil {
		return err
	}
	if was != "" {
		s.warn("the signing key has changed and the old one is not at hand; the log says so")
	}
	return writeFile(f.public, []byte(key.Public()+"\n"), true)
}
