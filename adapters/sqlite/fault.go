package sqlite

import (
	"errors"
	"fmt"
	"syscall"
	"time"

	"modernc.org/sqlite"
	sqlite3 "modernc.org/sqlite/lib"

	"milepost/bot"
)

// ErrDamaged says that the store is not what was written: the database is not
// sound, or leaves and tree disagree. Nothing was changed; restore a backup.
var ErrDamaged = errors.New("the store is damaged; restore a backup")

// ErrReadOnly says that a store opened with ReadOnly was asked to write.
var ErrReadOnly = errors.New("the store is open for reading only")

// ErrNoStore says that there is no store in the directory.
var ErrNoStore = errors.New("there is no store here")

// A LockedError says that another process writes to the data directory.
type LockedError struct {
	Dir   string
	PID   int       // 0 if it could not be told
	Since time.Time // zero if it could not be told
}

func (e *LockedError) Error() string {
	s := fmt.Sprintf("data directory %s is in use by another process", e.Dir)
	if e.PID != 0 {
		s += fmt.Sprintf(", %d, since %s", e.PID, e.Since.Format("2006-01-02 15:04:05 MST"))
	}
	return s + ": only one may write; stop it first"
}

// fault gives an error its operation and, where the store's users act on it, its
// kind.
func fault(op string, err error) error {
	if err == nil {
		return nil
	}
	var e *sqlite.Error
	switch {
	case errors.As(err, &e):
		switch {
		case isFull(e.Code()):
			return fmt.Errorf("%s: %w: %w", op, bot.ErrFull, err)
		case e.Code()&0xff == sqlite3.SQLITE_CORRUPT, e.Code()&0xff == sqlite3.SQLITE_NOTADB:
			return fmt.Errorf("%s: %w: %w", op, ErrDamaged, err)
		}
	case errors.Is(err, syscall.ENOSPC), errors.Is(err, syscall.EDQUOT):
		return fmt.Errorf("%s: %w: %w", op, bot.ErrFull, err)
	}
	return fmt.Errorf("%s: %w", op, err)
}

// isFull: SQLite tells of a full disk by its own code, or where the file could
// not be written or its shared memory not be made larger, by those.
func isFull(code int) bool {
	return code&0xff == sqlite3.SQLITE_FULL || code == sqlite3.SQLITE_IOERR_WRITE || code == sqlite3.SQLITE_IOERR_SHMSIZE
}

// isUnique says whether a row was refused because its key is there already.
func isUnique(err error) bool {
	var e *sqlite.Error
	return errors.As(err, &e) &&
		(e.Code() == sqlite3.SQLITE_CONSTRAINT_PRIMARYKEY || e.Code() == sqlite3.SQLITE_CONSTRAINT_UNIQUE)
}
