package sqlite_test

import (
	"context"
	"testing"

	"milepost/adapters/sqlite"
	"milepost/bot"
	"milepost/bot/bottest"
)

func TestStore(t *testing.T) {
	bottest.TestStore(t, func(t *testing.T) bot.Store { return open(t, t.TempDir()) })
}

func TestBlobs(t *testing.T) {
	bottest.TestBlobs(t, func(t *testing.T) bot.Blobs { return open(t, t.TempDir()) })
}

func TestStoreReopen(t *testing.T) {
	bottest.TestStoreReopen(t, func(t *testing.T) (bot.Store, func() bot.Store) {
		dir := t.TempDir()
		s := open(t, dir)
		return s, func() bot.Store {
			must(t, s.Close())
			return open(t, dir)
		}
	})
}

// open opens a store for writing until the end of the test; closing it before is
// no error.
func open(t testing.TB, dir string) *sqlite.Store {
	t.Helper()
	s, err := sqlite.Open(context.Background(), sqlite.Config{Dir: dir})
	must(t, err)
	t.Cleanup(func() { s.Close() })
	return s
}

func openReadOnly(t testing.TB, dir string) *sqlite.Store {
	t.Helper()
	s, err := sqlite.Open(context.Background(), sqlite.Config{Dir: dir, ReadOnly: true})
	must(t, err)
	t.Cleanup(func() { s.Close() })
	return s
}

func must(t testing.TB, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

func commit(t testing.TB, s bot.Store, b *bot.Batch) {
	t.Helper()
	must(t, s.Commit(context.Background(), b))
}

func entries(t testing.TB, s bot.Store, shop, job string) []bot.Stored {
	t.Helper()
	e, err := s.Entries(context.Background(), shop, job, 0)
	must(t, err)
	return e
}
