package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"milepost/adapters/sqlite"
	"milepost/bot/journal"
)

func restoreCommand(s *streams) *cobra.Command {
	var oldKey string
	c := &cobra.Command{Use: "restore FILE", Short: "a backup back into an empty data directory", Args: takes(1, "a backup")}
	data := dataFlags(c)
	c.Flags().StringVar(&oldKey, "old-key", "", "public `key` of the store in the backup, or a file with it, where the log itself does not tell it")
	c.RunE = func(cmd *cobra.Command, args []string) error {
		from, err := data.source()
		if err != nil {
			return err
		}
		if oldKey, err = textOrFile(oldKey); err != nil {
			return err
		}
		return restore(cmd.Context(), s, args[0], from, strings.TrimSpace(oldKey))
	}
	return c
}

// restore puts a backup into an empty directory and makes the first entries: that
// the log was restored, and that its key has changed where it has.
func restore(ctx context.Context, s *streams, file string, from source, oldKey string) error {
	if oldKey != "" {
		if _, err := journal.Fingerprint(oldKey); err != nil {
			return wrongCall{fmt.Errorf("--old-key: %w", err)}
		}
	}
	if from.cfg != nil {
		if err := checkOwner(from.dir, ownerServe); err != nil {
			return err
		}
	}
	r, err := sqlite.Restore(ctx, sqlite.RestoreConfig{File: file, Dir: from.dir, Keep: mayLie(from)})
	if err != nil {
		return err
	}
	if err := keepOldKey(from.dir, oldKey); err != nil {
		return err
	}
	var without []string
	for _, f := range from.keyFiles(from.shops(r.Shops)) {
		if _, err := f.read(); errors.Is(err, os.ErrNotExist) {
			without = append(without, f.path())
		}
	}
	h, err := openToWrite(ctx, s, from, equipment{log: s.log(slog.LevelWarn)})
	if err != nil {
		return err
	}
	if from.cfg != nil {
		err = markOwner(from.dir, ownerServe)
	}
	for _, path := range without {
		s.warn("there was no signing key: a new one is in %s; the log says that it took the old one's place", path)
	}
	for _, t := range r.Shops {
		err = errors.Join(err, s.say("restored: shop %s, %d entries, as of %s; %d erased again", t.Shop, t.Size, r.Time.Local().Format("2006-01-02 15:04:05"), r.ErasedAgain))
	}
	return errors.Join(err, h.close())
}

// mayLie names what may lie in the directory that a backup goes back into.
func mayLie(from source) []string {
	keep := []string{keyName, publicName, ownerName, socketName}
	if from.cfg != nil {
		keep = append(keep, "matrix", "slack") // what the networks' adapters keep is in no backup
	}
	for _, f := range from.keyFiles(from.shops(nil)) {
		keep = append(keep, filepath.Base(f.private), filepath.Base(f.public))
	}
	return keep
}

// keepOldKey puts the public key of the store in the backup where it would lie,
// for the entry of the change.
func keepOldKey(dir, oldKey string) error {
	if oldKey == "" {
		return nil
	}
	public := filepath.Join(dir, publicName)
	if first := firstKey(dir); first != "" && first != shopOf(oldKey) {
		public = filepath.Join(dir, "log-"+shopOf(oldKey)+".pub")
	}
	if _, err := os.Stat(public); !errors.Is(err, os.ErrNotExist) {
		return err
	}
	return writeFile(public, []byte(oldKey+"\n"), false)
}
