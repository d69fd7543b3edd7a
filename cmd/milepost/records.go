package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"milepost/bot"
	"milepost/bot/journal"
)

func boardCommand(s *streams) *cobra.Command {
	var asJSON bool
	c := &cobra.Command{Use: "board [--data DIR or --config FILE] [--json]", Short: "open jobs, longest waiting first", Args: takesNone}
	data := dataFlags(c)
	c.Flags().BoolVar(&asJSON, "json", false, "a job a line, as JSON")
	c.RunE = withReader(s, data, func(ctx context.Context, h *house, _ []string) error {
		rows, err := h.board(ctx)
		if err != nil {
			return err
		}
		for i := range rows {
			if asJSON {
				err = s.object(&rows[i])
			} else {
				err = s.say("%s", rows[i].text())
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

// boardRow is a line of the board of all shops.
type boardRow struct {
	Shop string `json:"shop,omitempty"` // "" where there is only one
	bot.Row
}

func (r *boardRow) text() string {
	line := strings.ReplaceAll(r.Row.Text(time.Local), "\n", " ")
	if r.Shop != "" {
		line = r.Shop + ": " + line
	}
	return line
}

// board gives the open jobs of all shops, the one that waits longest first.
func (h *house) board(ctx context.Context) (rows []boardRow, err error) {
	for _, shop := range h.shops {
		of, err := h.bot.Board(ctx, shop)
		if err != nil {
			return nil, err
		}
		if len(h.shops) == 1 {
			shop = ""
		}
		for i := range of {
			rows = append(rows, boardRow{Shop: shop, Row: of[i]})
		}
	}
	slices.SortStableFunc(rows, func(a, b boardRow) int { return a.Since.Compare(b.Since) })
	return rows, nil
}

// withReader runs a command on a store that it only reads.
func withReader(s *streams, data *dataFlag, work func(context.Context, *house, []string) error) func(*cobra.Command, []string) error {
	return func(cmd *cobra.Command, args []string) error {
		from, err := data.source()
		if err != nil {
			return err
		}
		h, err := openToRead(cmd.Context(), s, from)
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
		shop, job, err := h.find(ctx, args[0])
		if err != nil {
			return err
		}
		err = writeTo(file, force, func(f *os.File) error { return h.bot.Export(ctx, shop, job, f, withoutPeople) })
		if errors.Is(err, os.ErrExist) {
			return fmt.Errorf("%s is there already; --force writes over it", file)
		}
		if err != nil {
			return err
		}
		return s.say("job %s is in %s; check it with: milepost verify %s --key %s", job, file, file, h.keys[shop].Public())
	})
	c.RunE = func(cmd *cobra.Command, args []string) error {
		if file == "" {
			return wrongCall{errors.New("-o FILE is missing")}
		}
		return read(cmd, args)
	}
	return c
}

// find gives the job whose number begins so, and its shop.
func (h *house) find(ctx context.Context, begins string) (shop, job string, err error) {
	begins = strings.ToLower(strings.TrimSpace(begins))
	var found []string
	for _, of := range h.shops {
		jobs, err := h.store.Jobs(ctx, of)
		if err != nil {
			return "", "", err
		}
		for _, j := range jobs {
			if j != journal.ShopJob && begins != "" && strings.HasPrefix(j, begins) {
				shop, found = of, append(found, j)
			}
		}
	}
	switch {
	case len(found) == 0:
		return "", "", fmt.Errorf("there is no job %q here", begins)
	case len(found) > 1:
		return "", "", fmt.Errorf("%q is not one job: %s", begins, strings.Join(found[:min(len(found), 5)], ", "))
	}
	return shop, found[0], nil
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

// trusted gives the keys to check by: that named, or those of the shops of a
// store that was named.
func trusted(key string, data *dataFlag) ([]string, error) {
	if key != "" {
		text, err := textOrFile(key)
		return []string{text}, err
	}
	if data.dir == "" && data.config == "" {
		return nil, nil
	}
	from, err := data.source()
	if err != nil {
		return nil, err
	}
	var keys []string
	for _, f := range from.keyFiles(from.shops(nil)) {
		k, err := f.read()
		if err == nil {
			keys = append(keys, k.Public())
			continue
		}
		if !errors.Is(err, os.ErrNotExist) {
			return nil, err
		}
		if public, err := os.ReadFile(f.public); err == nil {
			keys = append(keys, strings.TrimSpace(string(public)))
		}
	}
	if len(keys) == 0 {
		return nil, fmt.Errorf("there is no key in %s", from.dir)
	}
	return keys, nil
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
