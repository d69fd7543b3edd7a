package main

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
)

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
