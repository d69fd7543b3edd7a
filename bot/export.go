package bot

import (
	"context"
	"errors"
	"fmt"
	"io"
	"iter"
	"strings"

	"golang.org/x/mod/sumdb/tlog"

	"milepost/bot/journal"
)

// Export writes a job's whole log with its proofs, signed. Without people the
// erasable parts are left out; the proofs are the same. It writes nothing to
// the store, so that it works beside a running program too.
func (b *Bot) Export(ctx context.Context, shopName, job string, w io.Writer, withoutPeople bool) error {
	s, err := b.shop(shopName)
	if err != nil {
		return err
	}
	if !s.hasKey() {
		return &Error{Kind: Invalid, Err: errors.New("export: the shop has no signing key")}
	}
	x, err := b.export(ctx, s, job)
	if err != nil {
		return err
	}
	x.WithoutPeople = withoutPeople
	if err := x.Write(w); err != nil {
		return &Error{Kind: Internal, Err: err}
	}
	return nil
}

// export gathers what an export is made of. Entries are read before the tree:
// the head is then over all of them.
func (b *Bot) export(ctx context.Context, s *shop, job string) (journal.Export, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.loaded = false // beside a running program the log may have grown
	if err := b.readShop(ctx, s); err != nil {
		return journal.Export{}, err
	}
	stored, err := b.cfg.Store.Entries(ctx, s.name, job, 0)
	if err != nil {
		return journal.Export{}, failed("export", err)
	}
	if len(stored) == 0 {
		return journal.Export{}, &Error{Kind: Invalid, Say: say("bot.nojob", "", map[string]any{"Job": job}), Err: fmt.Errorf("export: no job %.80q", job)}
	}
	tree, err := b.cfg.Store.Tree(ctx, s.name)
	if err != nil {
		return journal.Export{}, failed("export", err)
	}
	_, note, err := b.headOf(ctx, s, tree, s.cfg.Key)
	if err != nil {
		return journal.Export{}, err
	}
	heads, err := b.cfg.Store.Heads(ctx, s.name)
	if err != nil {
		return journal.Export{}, failed("export", err)
	}
	x := journal.Export{Job: job, Head: note, Key: s.cfg.Key, Marks: marks(s.marks, heads), Source: exportSource{tree, stored}}
	for _, h := range heads {
		x.Seen = append(x.Seen, h.Size)
	}
	return x, nil
}

// marks gives each change of key its first signed head. The heads are in the
// order of size.
func marks(ms []journal.Mark, heads []Head) []journal.Mark {
	out := make([]journal.Mark, len(ms))
	for i, m := range ms {
		out[i] = m
		l, err := journal.Parse(m.Leaf)
		if err != nil || l.Kind != journal.KindKeyChanged {
			continue
		}
		for _, h := range heads {
			if h.Size > m.Index && twoSigned(h.Note) {
				out[i].Head = []byte(h.Note)
				break
			}
		}
	}
	return out
}

// twoSigned says whether a note has two signature lines. Which keys they are by
// is for the check of the export to say.
func twoSigned(note string) bool {
	_, sigs, _ := strings.Cut(note, "\n\n")
	return strings.Count(sigs, "\n") == 2
}

// exportSource is what a store holds of one job, at one moment.
type exportSource struct {
	tlog.HashReader
	stored []Stored
}

// Entries gives the job's entries in sequence.
func (x exportSource) Entries(string) iter.Seq2[journal.Entry, error] {
	return func(yield func(journal.Entry, error) bool) {
		for _, s := range x.stored {
			if !yield(journal.Entry{Index: s.Index, Leaf: s.Bytes, Items: s.Items}, nil) {
				return
			}
		}
	}
}
