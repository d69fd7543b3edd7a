package bot

import (
	"context"
	"errors"
	"slices"
	"strings"

	"milepost/bot/journal"
	"milepost/flow"
	"milepost/flow/words"
)

// signHead signs the head of the tree as it stands and, where it leaves the
// house, keeps it: later heads and exports must agree with it. Called with the
// shop's mu held.
func (b *Bot) signHead(ctx context.Context, s *shop, leaves bool, keys ...journal.Key) (journal.Head, error) {
	tree, err := b.cfg.Store.Tree(ctx, s.name)
	if err != nil {
		return journal.Head{}, failed("head", err)
	}
	h, note, err := b.headOf(ctx, s, tree, keys...)
	if err != nil || !leaves {
		return h, err
	}
	return h, failed("keep head", b.cfg.Store.SaveHead(ctx, s.name, Head{Size: h.Size, Note: string(note), Time: b.now()}))
}

// headOf signs the head of a tree. Called with the shop's mu held.
func (b *Bot) headOf(ctx context.Context, s *shop, tree TreeReader, keys ...journal.Key) (journal.Head, []byte, error) {
	root, err := journal.Root(tree.Size(), tree)
	if err != nil {
		return journal.Head{}, nil, failed("head", err)
	}
	h := journal.Head{Origin: s.origin, Size: tree.Size(), Root: root, Time: stamp(b.now())}
	heads, err := b.cfg.Store.Heads(ctx, s.name)
	if err != nil {
		return h, nil, failed("head", err)
	}
	for _, before := range slices.Backward(heads) {
		prev, err := journal.ParseHead(headText(before.Note))
		if err != nil || prev.Origin != h.Origin || prev.Size > h.Size {
			continue // of the log before a restore
		}
		h.PrevSize, h.PrevRoot = prev.Size, prev.Root
		break
	}
	note, err := journal.SignHead(h, keys...)
	if err != nil {
		return h, nil, &Error{Kind: Internal, Err: err}
	}
	return h, note, nil
}

// headText is the text of a signed note.
func headText(note string) string {
	text, _, _ := strings.Cut(note, "\n\n")
	return text + "\n"
}

// hasKey says whether the shop signs heads.
func (s *shop) hasKey() bool { return s.cfg.Key.Public() != "" }

// postHead gives the head out in a job's threads, after its close: a rewritten
// log will disagree with it. The same transaction notes that it is owed no more.
func (b *Bot) postHead(ctx context.Context, s *shop, l *lane) error {
	role := flow.Technician
	if p, ok := l.state.People[l.state.Owner]; ok {
		role = p.Role
	}
	row := indexRow(l.state, l.folded, b.wakeOf(s, l.state), false)
	err := b.giveHead(ctx, s, headData{Job: l.job}, row, l.threads, func(head string) flow.Reply {
		return flow.Reply{Kind: flow.Notice, Role: role, Phase: l.state.Phase, Text: say("bot.head", role, words.Args{"Head": head})}
	}, names(l.state, nil))
	if err == nil {
		b.owed.set(s.name, l.job, false)
	}
	return err
}

// Digest posts the day's digest to a shop's digest threads: how many jobs are
// open, and the head of the log. Run calls it once a day.
func (b *Bot) Digest(ctx context.Context, shopName string) error {
	s, err := b.shop(shopName)
	if err != nil {
		return err
	}
	if err := b.openShop(ctx, s); err != nil {
		return err
	}
	if len(s.cfg.Digest) == 0 || !s.hasKey() {
		return nil
	}
	rows, err := b.Board(ctx, s.name)
	if err != nil {
		return err
	}
	return b.giveHead(ctx, s, headData{Day: s.day(b.now())}, nil, s.cfg.Digest, func(head string) flow.Reply {
		text := say("bot.digest", flow.Supervisor, words.Args{"Open": len(rows), "Head": head})
		for _, r := range rows {
			text += "\n" + r.Text(s.cfg.Zone)
		}
		return flow.Reply{Kind: flow.Notice, Role: flow.Supervisor, Text: text}
	}, nil)
}

// giveHead signs the head, keeps it, records that it was given out and sends it.
// row is the board's new one of the job it is for, if any.
func (b *Bot) giveHead(ctx context.Context, s *shop, d headData, row *IndexRow, to []JobThread, reply func(string) flow.Reply, names map[flow.Who]string) error {
	return b.shopDo(ctx, s, func() error {
		h, err := b.signHead(ctx, s, true, s.cfg.Key)
		if err != nil {
			return err
		}
		d.Size, d.Head = h.Size, h.Short()
		r := reply(h.Short())
		r.Seq = s.seq + 1
		var sends []send
		for n, t := range to {
			o, err := newSend(Outbound{Key: s.outKey(r.Seq, n), Shop: s.name, Network: t.Network, Thread: t.Thread,
				Job: d.Job, Log: r.Seq, Reply: r, Names: names})
			if err != nil {
				return &Error{Kind: Internal, Err: err}
			}
			sends = append(sends, o)
		}
		return b.shopSend(ctx, s, &Batch{Index: row}, sends, shopEntry{kind: kindHead, data: d})
	})
}

// RecordRestore makes the first entry after a restore: what the tree was in
// the backup, and that the log goes on under another origin, so that heads of
// the two can't be taken for one another.
func (b *Bot) RecordRestore(ctx context.Context, shopName string) error {
	s, err := b.shop(shopName)
	if err != nil {
		return err
	}
	return b.shopDo(ctx, s, func() error {
		if s.seq == 0 {
			return &Error{Kind: Invalid, Err: errors.New("record restore: there is no log")}
		}
		tree, err := b.cfg.Store.Tree(ctx, s.name)
		if err != nil {
			return failed("record restore", err)
		}
		root, err := journal.Root(tree.Size(), tree)
		if err != nil {
			return failed("record restore", err)
		}
		o, err := journal.NewOrigin(s.name, s.origin, b.cfg.Random)
		if err != nil {
			return failed("record restore", err)
		}
		heads, err := b.cfg.Store.Heads(ctx, s.name)
		if err != nil {
			return failed("record restore", err)
		}
		d := journal.Restored{Origin: o.String(), Size: tree.Size(), Root: root}
		if n := len(heads); n > 0 {
			d.Head = heads[n-1].Note
		}
		_, err = b.shopCommit(ctx, s, &Batch{}, shopEntry{kind: journal.KindRestored, data: d})
		s.loaded = false // read again, with the mark's place in the tree
		if err != nil {
			return err
		}
		return b.readShop(ctx, s)
	})
}

// RecordKey makes the entry that the configured key takes the place of another
// one: old signs the first head over it too; where old is not at hand, its
// public half is given, or taken from the log, and the entry says so. Nothing
// happens if the entry is there already, or if nobody knows the old key.
func (b *Bot) RecordKey(ctx context.Context, shopName string, old journal.Key, oldPublic string) error {
	s, err := b.shop(shopName)
	if err != nil {
		return err
	}
	if old.Public() != "" {
		oldPublic = old.Public()
	}
	return b.shopDo(ctx, s, func() error {
		if oldPublic == "" {
			oldPublic = s.key
		}
		if oldPublic != "" && s.key != s.cfg.Key.Public() {
			d := journal.KeyChange{Old: oldPublic, New: s.cfg.Key.Public(), Lost: old.Public() == ""}
			if _, err := b.shopCommit(ctx, s, &Batch{}, shopEntry{kind: journal.KindKeyChanged, data: d}); err != nil {
				return err
			}
			s.loaded = false
			if err := b.readShop(ctx, s); err != nil {
				return err
			}
		}
		if old.Public() == "" {
			return nil
		}
		// If we crash before this head is kept, the next call makes it.
		_, err := b.signHead(ctx, s, true, old, s.cfg.Key)
		return err
	})
}
