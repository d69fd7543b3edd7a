package sqlite

import (
	"fmt"
	"os"
	"path/filepath"
	"time"

	"github.com/gofrs/flock"
)

const lockName = "lock"

// lockDir takes the data directory for writing. The lock is the operating
// system's and ends with the process, whatever becomes of the file; what stands
// in the file only says who holds it.
func lockDir(dir string, now time.Time) (*flock.Flock, error) {
	path := filepath.Join(dir, lockName)
	l := flock.New(path, flock.SetPermissions(0o600))
	ok, err := l.TryLock()
	if err != nil {
		return nil, fmt.Errorf("lock %s: %w", path, err)
	}
	if !ok {
		return nil, heldBy(dir)
	}
	// If this fails the lock holds all the same, only the message to the second
	// process says less.
	_ = os.WriteFile(path, fmt.Appendf(nil, "%d %d\n", os.Getpid(), now.Unix()), 0o600)
	return l, nil
}

// heldBy reads who holds the lock. In the moment between taking it and writing
// the file it may be told wrongly or not at all.
func heldBy(dir string) *LockedError {
	e := &LockedError{Dir: dir}
	b, err := os.ReadFile(filepath.Join(dir, lockName))
	var pid int
	var since int64
	if err != nil {
		return e
	}
	if n, _ := fmt.Sscanf(string(b), "%d %d\n", &pid, &since); n == 2 && pid > 0 {
		e.PID, e.Since = pid, time.Unix(since, 0)
	}
	return e
}

// Held says whether a process writes to the data directory: nil if none does, a
// *LockedError if one does.
func Held(dir string) error {
	if _, err := os.Stat(filepath.Join(dir, lockName)); err != nil {
		return nil
	}
	l := flock.New(filepath.Join(dir, lockName), flock.SetPermissions(0o600))
	ok, err := l.TryLock()
	switch {
	case err != nil:
		return fmt.Errorf("lock %s: %w", dir, err)
	case !ok:
		return heldBy(dir)
	}
	return l.Unlock()
}
