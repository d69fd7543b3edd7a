package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"milepost/adapters/sqlite"
	"milepost/adapters/terminal"
	"milepost/bot"
	"milepost/bot/journal"
)

func boardCommand(s *streams) *cobra.Command {
	var asJSON bool
	c := &cobra.Command{Use: "board [--data DIR] [--json]", Short: "open jobs, longest waiting first", Args: takesNone}
	data := dataFlags(c)
	c.Flags().BoolVar(&asJSON, "json", false, "a job a line, as JSON")
	c.RunE = withReader(s, data, func(ctx context.Context, h *house, _ []string) error {
		rows, err := h.bot.Board(ctx, bot.DefaultShop)
		if err != nil {
			return err
		}
		for i := range rows {
			if asJSON {
				err = s.object(&rows[i])
			} else {
				err = s.say("%s", strings.ReplaceAll(rows[i].Text(time.Local), "\n", " "))
			}
			if err != nil {
				return err
			}
		}
		if len(rows) == 0 && !asJSON {
			return s.say("no open jobs")
		}
		return nil
	})
	return c
}

// withReader runs a command on a store that it only reads.
func withReader(s *streams, data *dataFlag, work func(context.Context, *house, []string) error) func(*cobra.Command, []string) error {
	return func(cmd *cobra.Command, args []string) error {
		dir, err := data.path()
		if err != nil {
			return err
		}
		h, err := openToRead(cmd.Context(), s, dir)
		if err != nil {
			return err
		}
		return errors.Join(work(cmd.Context(), h, args), h.close())
	}
}

func exportCommand(s *streams) *cobra.Command {
	var file string
	var withoutPeople, force bool
	c := &cobra.Command{
		Use: "export JOB -o FILE [--without-people]", Short: "a job's whole log with proofs, signed",
		Args: takes(1, "a job's number, or how it begins"),
	}
	data := dataFlags(c)
	c.Flags().StringVarP(&file, "output", "o", "", "`file` to write")
	c.Flags().BoolVar(&withoutPeople, "without-people", false, "leave out what can be erased; the proofs are the same")
	c.Flags().BoolVar(&force, "force", false, "write over a file that is there")
	read := withReader(s, data, func(ctx context.Context, h *house, args []string) error {
		job, err := h.find(ctx, args[0])
		if err != nil {
			return err
		}
		err = writeTo(file, force, func(f *os.File) error { return h.bot.Export(ctx, bot.DefaultShop, job, f, withoutPeople) })
		if errors.Is(err, os.ErrExist) {
			return fmt.Errorf("%s is there already; --force writes over it", file)
		}
		if err != nil {
			return err
		}
		return s.say("job %s is in %s; check it with: milepost verify %s --key %s", job, file, file, h.key.Public())
	})
	c.RunE = func(cmd *cobra.Command, args []string) error {
		if file == "" {
			return wrongCall{errors.New("-o FILE is missing")}
		}
		return read(cmd, args)
	}
	return c
}

// find gives the job whose number begins so.
func (h *house) find(ctx context.Context, begins string) (string, error) {
	begins = strings.ToLower(strings.TrimSpace(begins))
	jobs, err := h.store.Jobs(ctx, bot.DefaultShop)
	if err != nil {
		return "", err
	}
	var found []string
	for _, j := range jobs {
		if j != journal.ShopJob && begins != "" && strings.HasPrefix(j, begins) {
			found = append(found, j)
		}
	}
	switch {
	case len(found) == 0:
		return "", fmt.Errorf("there is no job %q here", begins)
	case len(found) > 1:
		return "", fmt.Errorf("%q is not one job: %s", begins, strings.Join(found[:min(len(found), 5)], ", "))
	}
	return found[0], nil
}

func verifyCommand(s *streams) *cobra.Command {
	var key string
	var heads []string
	c := &cobra.Command{
		Use: "verify FILE --key PUBLICKEY [--head NOTE]", Short: "checks an export, offline", Args: takes(1, "a file"),
	}
	data := dataFlags(c)
	c.Flags().StringVar(&key, "key", "", "public `key`, or a file with it")
	c.Flags().StringArrayVar(&heads, "head", nil, "a `head` seen earlier, or a file with it; may be repeated")
	c.RunE = func(cmd *cobra.Command, args []string) error {
		keys, err := trusted(key, data)
		if err != nil {
			return err
		}
		for i := range heads {
			if heads[i], err = textOrFile(heads[i]); err != nil {
				return err
			}
		}
		f, err := os.Open(args[0])
		if err != nil {
			return err
		}
		defer f.Close()
		sum, err := journal.Verify(f, keys, heads)
		if err != nil {
			return err
		}
		return s.say("%s", sum)
	}
	return c
}

// trusted gives the keys to check by: that named, or that of a data directory
// that was named.
func trusted(key string, data *dataFlag) ([]string, error) {
	if key != "" {
		text, err := textOrFile(key)
		return []string{text}, err
	}
	if data.dir == "" && data.config == "" {
		return nil, nil
	}
	dir, err := data.path()
	if err != nil {
		return nil, err
	}
	if k, err := readKey(dir); err == nil {
		return []string{k.Public()}, nil
	} else if !errors.Is(err, os.ErrNotExist) {
		return nil, err
	}
	public, err := os.ReadFile(filepath.Join(dir, publicName))
	if err != nil {
		return nil, fmt.Errorf("there is no key in %s", dir)
	}
	return []string{strings.TrimSpace(string(public))}, nil
}

// maxText bounds a file with a key or a head.
const maxText = 64 << 10

// textOrFile reads an argument that is a text or the file with it.
func textOrFile(arg string) (string, error) {
	fi, err := os.Stat(arg)
	if err != nil || !fi.Mode().IsRegular() {
		return arg, nil // of a text that is no file's name the check says more
	}
	if fi.Size() > maxText {
		return "", fmt.Errorf("%s is too large to be a key or a head", arg)
	}
	b, err := os.ReadFile(arg)
	return strings.TrimRight(string(b), "\r\n") + "\n", err
}

func eraseCommand(s *streams) *cobra.Command {
	c := &cobra.Command{
		Use: "erase PERSON-OR-JOB", Short: "removes personal details; exports made afterwards still verify",
		Args: takes(1, "a person (terminal:NAME) or a job's number"),
	}
	data := dataFlags(c)
	c.RunE = func(cmd *cobra.Command, args []string) error {
		e, err := ask(cmd.Context(), s, data, request{Do: "erase", What: args[0]})
		if e != nil && (err == nil || e.Items > 0) {
			err = errors.Join(err, s.erased(e))
		}
		return err
	}
	return c
}

// erased tells what an erasure did and what it can't reach.
func (s *streams) erased(e *bot.Erased) error {
	text := fmt.Sprintf("erased: %d items, %d files, in %d jobs", e.Items, e.Files, len(e.Jobs))
	if len(e.Jobs) > 0 {
		text += ": " + strings.Join(e.Jobs, ", ")
	}
	if len(e.Kept) > 0 {
		text += "\nkept, because a running job's way back depends on it:"
		for _, k := range e.Kept {
			text += "\n  " + k
		}
	}
	text += "\nout of reach:"
	for _, b := range e.Beyond {
		text += "\n  " + b
	}
	return s.say("%s", text)
}

func backupCommand(s *streams) *cobra.Command {
	c := &cobra.Command{Use: "backup FILE", Short: "consistent copy of the store, in use or not", Args: takes(1, "a file")}
	data := dataFlags(c)
	c.RunE = func(cmd *cobra.Command, args []string) error {
		file, err := filepath.Abs(args[0])
		if err != nil {
			return err
		}
		if _, err := ask(cmd.Context(), s, data, request{Do: "backup", File: file}); err != nil {
			return err
		}
		return s.say("the store is in %s; the signing key is not, keep %s apart from it", args[0], keyName)
	}
	return c
}

// ask has something done by the running program, or does it here where none
// runs.
func ask(ctx context.Context, s *streams, data *dataFlag, q request) (*bot.Erased, error) {
	dir, err := data.path()
	if err != nil {
		return nil, err
	}
	if q.Do == "erase" && !strings.Contains(q.What, ":") {
		if q.What, err = person(ctx, dir, q.What); err != nil {
			return nil, err
		}
	}
	// That there is a store: opening it to write would make one.
	if r, err := sqlite.Open(ctx, sqlite.Config{Dir: dir, ReadOnly: true}); err != nil {
		return nil, err
	} else if err := r.Close(); err != nil {
		return nil, err
	}
	h, err := openToWrite(ctx, s, dir, s.log(slog.LevelWarn))
	var held *sqlite.LockedError
	if errors.As(err, &held) {
		e, asked := knock(ctx, dir, q)
		if errors.Is(asked, errNobody) {
			return nil, fmt.Errorf("%w; it has no socket that answers", held)
		}
		return e, asked
	}
	if err != nil {
		return nil, err
	}
	e, err := h.do(ctx, q)
	return e, errors.Join(err, h.close())
}

// person tells a job's number from the name of somebody who wrote here.
func person(ctx context.Context, dir, what string) (string, error) {
	r, err := sqlite.Open(ctx, sqlite.Config{Dir: dir, ReadOnly: true})
	if err != nil {
		return "", err
	}
	jobs, err := r.Jobs(ctx, bot.DefaultShop)
	if err := errors.Join(err, r.Close()); err != nil {
		return "", err
	}
	if slices.Contains(jobs, strings.ToLower(what)) {
		return strings.ToLower(what), nil
	}
	return string(terminal.Identity(what)), nil
}

func restoreCommand(s *streams) *cobra.Command {
	var oldKey string
	c := &cobra.Command{Use: "restore FILE", Short: "a backup back into an empty data directory", Args: takes(1, "a backup")}
	data := dataFlags(c)
	c.Flags().StringVar(&oldKey, "old-key", "", "public `key` of the store in the backup, or a file with it, where the log itself does not tell it")
	c.RunE = func(cmd *cobra.Command, args []string) error {
		dir, err := data.path()
		if err != nil {
			return err
		}
		if oldKey, err = textOrFile(oldKey); err != nil {
			return err
		}
		return restore(cmd.Context(), s, args[0], dir, strings.TrimSpace(oldKey))
	}
	return c
}

// restore puts a backup into an empty directory and makes the first entries: that
// the log was restored, and that its key has changed where it has.
func restore(ctx context.Context, s *streams, file, dir, oldKey string) error {
	if oldKey != "" {
		if _, err := journal.Fingerprint(oldKey); err != nil {
			return wrongCall{fmt.Errorf("--old-key: %w", err)}
		}
	}
	r, err := sqlite.Restore(ctx, sqlite.RestoreConfig{File: file, Dir: dir, Keep: []string{keyName, publicName, ownerName, socketName}})
	if err != nil {
		return err
	}
	public := filepath.Join(dir, publicName)
	if _, err := os.Stat(public); errors.Is(err, os.ErrNotExist) && oldKey != "" {
		if err := writeFile(public, []byte(oldKey+"\n"), false); err != nil {
			return err
		}
	}
	_, keyErr := readKey(dir)
	h, err := openToWrite(ctx, s, dir, s.log(slog.LevelWarn))
	if err != nil {
		return err
	}
	if errors.Is(keyErr, os.ErrNotExist) {
		s.warn("there was no signing key: a new one is in %s; the log says that it took the old one's place", filepath.Join(dir, keyName))
	}
	for _, t := range r.Shops {
		err = errors.Join(err, s.say("restored: shop %s, %d entries, as of %s; %d erased again", t.Shop, t.Size, r.Time.Local().Format("2006-01-02 15:04:05"), r.ErasedAgain))
	}
	return errors.Join(err, h.close())
}
