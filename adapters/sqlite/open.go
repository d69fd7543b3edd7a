package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"net/url"
	"os"
	"path/filepath"
	"runtime"
	"sync"
	"time"

	"github.com/gofrs/flock"
	"modernc.org/sqlite"

	"milepost/bot"
	"milepost/bot/journal"
)

var (
	_ bot.Store = (*Store)(nil)
	_ bot.Blobs = (*Store)(nil)
)

const (
	dbName       = "milepost.db"
	evidenceName = "evidence"
	erasedName   = "erased"
)

// Config says where a store is and how it is used.
type Config struct {
	Dir      string // data directory, made if it is not there
	ReadOnly bool   // beside a running program: nothing is written, made or migrated

	// ErasedList is the file with the items erased so far, beside the signing
	// key and outside every backup: what is restored is erased again by it. ""
	// is DIR/erased.
	ErasedList string

	Now func() time.Time // nil: time.Now; stands in the lock file and in backups
}

// Store is a bot.Store and bot.Blobs in one data directory.
type Store struct {
	dir        string
	erasedList string
	readOnly   bool
	now        func() time.Time
	lock       *flock.Flock // nil if read-only
	reader     *sql.DB
	read       readStatements

	// turn has one token: who holds it owns the writer, everything below and the
	// list of erased items.
	turn   chan struct{}
	writer *sql.DB
	conn   *sql.Conn
	write  writeStatements
	edges  map[string]*journal.Edge // right edge of each shop's tree
	last   map[jobKey]int64         // sequence of the last entry of jobs lately written to

	// files is held for reading while evidence is copied into a backup, for
	// writing while evidence is removed.
	files sync.RWMutex

	freshMu sync.Mutex
	fresh   map[string]bool // evidence put since the start and not yet held by a job
}

type jobKey struct{ shop, job string }

// Open opens the store in a data directory, made and brought to this version's
// schema where necessary, and checks it: the database by SQLite's quick check,
// and the end of each shop's log against its tree and its last head. It is a
// *LockedError if another process writes there, ErrDamaged if a check fails.
//
// With ReadOnly there must be a store of this version (ErrNoStore if there is
// none); it may be in use.
func Open(ctx context.Context, c Config) (*Store, error) {
	s, err := open(ctx, c)
	if err != nil {
		return nil, fmt.Errorf("open store %s: %w", c.Dir, err)
	}
	return s, nil
}

func open(ctx context.Context, c Config) (*Store, error) {
	s, err := newStore(c)
	if err != nil {
		return nil, err
	}
	if err := s.start(ctx); err != nil {
		return nil, errors.Join(err, s.stop())
	}
	return s, nil
}

func newStore(c Config) (*Store, error) {
	if c.Dir == "" {
		return nil, errors.New("no data directory is named")
	}
	dir, err := filepath.Abs(c.Dir)
	if err != nil {
		return nil, err
	}
	s := &Store{dir: dir, erasedList: c.ErasedList, readOnly: c.ReadOnly, now: c.Now, turn: make(chan struct{}, 1),
		edges: map[string]*journal.Edge{}, last: map[jobKey]int64{}, fresh: map[string]bool{}}
	if s.erasedList == "" {
		s.erasedList = filepath.Join(dir, erasedName)
	}
	if s.now == nil {
		s.now = time.Now
	}
	return s, nil
}

func (s *Store) start(ctx context.Context) error {
	path := filepath.Join(s.dir, dbName)
	if s.readOnly {
		if _, err := os.Stat(path); errors.Is(err, fs.ErrNotExist) {
			return ErrNoStore
		} else if err != nil {
			return err
		}
	} else if err := s.openWriter(ctx, path); err != nil {
		return err
	}
	if err := s.openReader(ctx, path); err != nil {
		return err
	}
	if err := s.checkTails(ctx); err != nil {
		return err
	}
	if s.readOnly {
		return nil
	}
	return s.tidy(ctx)
}

func (s *Store) openWriter(ctx context.Context, path string) error {
	if err := makeDir(s.dir); err != nil {
		return err
	}
	var err error
	if s.lock, err = lockDir(s.dir, s.now()); err != nil {
		return err
	}
	if err := makeDir(filepath.Join(s.dir, evidenceName)); err != nil {
		return err
	}
	if err := makeFile(path); err != nil {
		return err
	}
	// A commit then waits for the data and not for the file's time stamps, with
	// the same durability. It is a switch of the whole process; where there is no
	// such call SQLite goes on as before.
	_, _ = sqlite.Fdatasync(true)

	s.writer, err = openDB(path, writerPragmas, "")
	if err != nil {
		return err
	}
	if s.conn, err = s.writer.Conn(ctx); err != nil {
		return fault("open database", err)
	}
	if err := migrate(ctx, s.conn, latest()); err != nil {
		return err
	}
	if err := quickCheck(ctx, s.conn); err != nil {
		return err
	}
	return fault("prepare", s.write.prepare(ctx, s.conn))
}

func (s *Store) openReader(ctx context.Context, path string) error {
	var err error
	if s.reader, err = openDB(path, readerPragmas, "ro"); err != nil {
		return err
	}
	s.reader.SetMaxOpenConns(4 + runtime.GOMAXPROCS(0))
	s.reader.SetMaxIdleConns(4)
	if err := checkSchema(ctx, s.reader); err != nil {
		return err
	}
	return fault("prepare", s.read.prepare(ctx, s.reader))
}

// Pragmas of a connection. With recursive triggers even INSERT OR REPLACE can't
// take a leaf away. Temporary tables, as VACUUM makes them, stay in memory:
// nothing of a person is to lie in another directory.
var (
	writerPragmas = []string{"busy_timeout(5000)", "journal_mode(WAL)", "synchronous(FULL)", "secure_delete(ON)",
		"recursive_triggers(ON)", "temp_store(MEMORY)", "trusted_schema(OFF)", "cell_size_check(ON)", "journal_size_limit(67108864)"}
	readerPragmas = []string{"busy_timeout(5000)", "query_only(ON)", "temp_store(MEMORY)", "trusted_schema(OFF)", "cell_size_check(ON)"}
	copyPragmas   = []string{"busy_timeout(5000)", "temp_store(MEMORY)", "trusted_schema(OFF)"} // VACUUM INTO counts as writing
)

// openDB opens a database by a file: name, as only there SQLite obeys mode.
func openDB(path string, pragmas []string, mode string) (*sql.DB, error) {
	q := url.Values{"_pragma": pragmas, "_defensive": {"1"}, "_dqs": {"0"}}
	if mode != "" {
		q.Set("mode", mode)
	}
	db, err := sql.Open("sqlite", "file:"+(&url.URL{Path: filepath.ToSlash(path)}).EscapedPath()+"?"+q.Encode())
	if err != nil {
		return nil, fault("open database", err)
	}
	return db, nil
}

// makeDir makes a directory for the owner alone, or sees to it that it is.
func makeDir(dir string) error {
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return err
	}
	fi, err := os.Stat(dir)
	if err != nil {
		return err
	}
	if fi.Mode().Perm()&0o077 != 0 {
		return os.Chmod(dir, 0o700)
	}
	return nil
}

// makeFile makes the database's file before SQLite does, who would let the
// group read it; the files beside it take over its mode. Only by its name: a
// descriptor of our own, closed, would take SQLite's locks with it.
func makeFile(path string) error {
	f, err := os.OpenFile(path, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
	if err == nil {
		return f.Close()
	}
	if !errors.Is(err, fs.ErrExist) {
		return fault("make database", err)
	}
	return os.Chmod(path, 0o600)
}

// Close ends the use of the store. Nothing is lost without it.
func (s *Store) Close() error {
	if s.conn != nil {
		s.turn <- struct{}{} // not before the last commit is through
		defer s.release()
		_, _ = s.conn.ExecContext(context.Background(), "PRAGMA optimize")
	}
	return s.stop()
}

func (s *Store) stop() error {
	var errs []error
	if s.reader != nil {
		errs = append(errs, s.reader.Close())
	}
	if s.conn != nil {
		errs = append(errs, s.write.close(), s.conn.Close())
		s.conn = nil
	}
	if s.writer != nil {
		errs = append(errs, s.writer.Close())
	}
	if s.lock != nil {
		errs = append(errs, s.lock.Close())
	}
	return errors.Join(errs...)
}

// take waits for the turn to write, for as long as the caller does.
func (s *Store) take(ctx context.Context) error {
	if s.readOnly {
		return ErrReadOnly
	}
	if err := ctx.Err(); err != nil {
		return err
	}
	select {
	case s.turn <- struct{}{}:
	case <-ctx.Done():
		return ctx.Err()
	}
	if s.conn == nil {
		s.release()
		return errors.New("the store is closed")
	}
	return nil
}

func (s *Store) release() { <-s.turn }
