package main

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
)

// ownerOf tells whose a data directory is, "" if it is nobody's.
func ownerOf(dir string) (string, error) {
	b, err := os.ReadFile(filepath.Join(dir, ownerName))
	if errors.Is(err, fs.ErrNotExist) {
		return "", nil
	}
	return strings.TrimSpace(string(b)), err
}

// checkOwner refuses a directory that is another's, before anything in it is
// touched.
func checkOwner(dir, mine string) error {
	switch owner, err := ownerOf(dir); {
	case err != nil:
		return err
	case owner == "" || owner == mine:
		return nil
	case mine == ownerChat:
		return fmt.Errorf("data directory %s belongs to %.40q: chat is for a store of its own; name another with --data", dir, owner)
	default:
		return fmt.Errorf("data directory %s belongs to %.40q, where roles are as stated: %s wants a directory of its own in [store] sqlite", dir, owner, mine)
	}
}

// markOwner makes a directory ours, if it is nobody's. Called with the
// directory's lock held.
func markOwner(dir, mine string) error {
	path := filepath.Join(dir, ownerName)
	if _, err := os.Lstat(path); err == nil {
		return checkOwner(dir, mine) // since it was looked at, or before
	}
	return writeFile(path, []byte(mine+"\n"), false)
}
