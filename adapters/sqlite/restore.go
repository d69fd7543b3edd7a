package sqlite

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"
)

// RestoreConfig says what is restored and where to.
type RestoreConfig struct {
	File string // the backup
	Dir  string // data directory: made, or empty but for what is named below

	// ErasedList is the list of erased items beside the signing key, as in Config.
	// What it names is erased again; what the backup's own list has more is added
	// to it. No file is an empty list.
	ErasedList string

	Keep []string         // names of files that may be in Dir already, as the key's
	Now  func() time.Time // nil: time.Now
}

// Restored says what came of a restore. The caller makes the entry that the log
// was restored, under a new origin, before anything else is written, and has the
// indexes rebuilt: those of jobs in which something was erased again are empty.
type Restored struct {
	Manifest
	ErasedAgain int // items
}

const restoreTemp = ".restore-"

// Restore unpacks a backup into an empty data directory. All of it is checked
// before anything is in its place: names, sizes and hashes, the whole log with
// its tree and heads, the evidence. It is a *LockedError if a program runs there,
// ErrDamaged if the backup is not sound.
func Restore(ctx context.Context, c RestoreConfig) (Restored, error) {
	r, err := restore(ctx, c)
	if err != nil {
		return Restored{}, fault("restore "+c.File, err)
	}
	return *r, nil
}

func restore(ctx context.Context, c RestoreConfig) (_ *Restored, err error) {
	to, err := newStore(Config{Dir: c.Dir, ErasedList: c.ErasedList, Now: c.Now})
	if err != nil {
		return nil, err
	}
	if err := makeDir(to.dir); err != nil {
		return nil, err
	}
	lock, err := lockDir(to.dir, to.now())
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, lock.Close()) }()
	if err := checkEmpty(to, c.Keep); err != nil {
		return nil, err
	}
	temp, err := os.MkdirTemp(to.dir, restoreTemp) // mode 0700
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, os.RemoveAll(temp)) }()
	m, err := unpack(ctx, c.File, temp)
	if err != nil {
		return nil, err
	}
	r := &Restored{Manifest: *m}
	if r.ErasedAgain, err = makeSound(ctx, to, temp, m); err != nil {
		return nil, err
	}
	return r, putInPlace(temp, to.dir)
}

// checkEmpty refuses a directory with anything of another store in it. What is
// left of a restore that was broken off is removed.
func checkEmpty(s *Store, keep []string) error {
	names, err := os.ReadDir(s.dir)
	if err != nil {
		return err
	}
	for _, d := range names {
		name := d.Name()
		switch {
		case name == lockName, slices.Contains(keep, name), filepath.Join(s.dir, name) == s.erasedList:
		case strings.HasPrefix(name, restoreTemp):
			if err := os.RemoveAll(filepath.Join(s.dir, name)); err != nil {
				return err
			}
		default:
			return fmt.Errorf("%s is not empty: %s is there", s.dir, name)
		}
	}
	return nil
}

// makeSound opens what was unpacked as a store of its own, checks all of it,
// erases again what was erased since and notes where it came from.
func makeSound(ctx context.Context, to *Store, temp string, m *Manifest) (erased int, err error) {
	s, err := open(ctx, Config{Dir: temp, Now: to.now})
	if err != nil {
		return 0, err
	}
	defer func() { err = errors.Join(err, s.Close()) }()
	if err := s.Verify(ctx); err != nil {
		return 0, err
	}
	trees, err := s.trees(ctx)
	if err != nil {
		return 0, err
	}
	if !slices.Equal(trees, m.Shops) {
		return 0, damaged("the log is not the one that the backup's manifest names")
	}
	list, err := readErased(s.erasedList)
	if err != nil {
		return 0, fmt.Errorf("the backup's list of erased items: %w", err)
	}
	since, err := readErased(to.erasedList)
	if err != nil {
		return 0, fmt.Errorf("%s: %w", to.erasedList, err)
	}
	list = append(list, since...)
	if erased, err = s.eraseAgain(ctx, list); err != nil {
		return 0, err
	}
	if len(list) > 0 {
		if err := writeErased(to.erasedList, list); err != nil {
			return 0, err
		}
	}
	note, err := json.Marshal(m)
	if err != nil {
		return 0, err
	}
	return erased, s.setMeta(ctx, "restored", string(note))
}

// putInPlace moves a store from the directory where it was checked. The database
// comes last: if we crash before, the directory has files and no store, and
// another restore says so.
func putInPlace(temp, dir string) error {
	if _, err := os.Stat(filepath.Join(temp, dbName+"-wal")); err == nil {
		return errors.New("the database could not be closed")
	}
	for _, name := range []string{evidenceName, dbName} {
		if err := os.Rename(filepath.Join(temp, name), filepath.Join(dir, name)); err != nil {
			return err
		}
	}
	return syncDir(dir)
}

// Unrecorded gives the shops whose log was restored and has no entry since: the
// entry that it was restored is still to be made, before any other.
func (s *Store) Unrecorded(ctx context.Context) ([]Tree, error) {
	st, err := s.reader.PrepareContext(ctx, "SELECT value FROM meta WHERE name = 'restored'")
	if err != nil {
		return nil, fault("read restore", err)
	}
	defer st.Close()
	note, ok, err := text(ctx, st)
	if err != nil || !ok {
		return nil, fault("read restore", err)
	}
	var m Manifest
	if err := json.Unmarshal([]byte(note), &m); err != nil {
		return nil, fault("read restore", err)
	}
	var out []Tree
	for _, was := range m.Shops {
		t, err := s.tree(ctx, was.Shop)
		if err != nil {
			return nil, fault("read restore", err)
		}
		if t.size == was.Size {
			out = append(out, was)
		}
	}
	return out, nil
}
