package bot

import (
	"context"

	"milepost/flow/understand"
)

// which finds the shop a message belongs to where there are several: by the
// room, which is configured in one of them; by the thread, whose job is one's; by
// the person, who belongs to one; by the message it names; by a guest code.
// Nothing of that: the first shop, which will turn a stranger away. No shop learns
// of another's people or jobs by it.
func (b *Bot) which(ctx context.Context, in *Inbound) (string, error) {
	if len(b.cfg.Shops) == 1 {
		return b.cfg.Shops[0].Name, nil
	}
	for _, c := range b.cfg.Shops {
		if _, ok := c.Rooms[in.Room]; ok && in.Room != "" {
			return c.Name, nil
		}
	}
	for _, c := range b.cfg.Shops {
		if in.Thread == "" || in.Loose {
			break
		}
		if job, err := b.cfg.Store.ThreadJob(ctx, c.Name, in.Network, in.Thread); job != "" || err != nil {
			return c.Name, failed("find shop", err)
		}
	}
	for _, c := range b.cfg.Shops {
		if _, ok := c.People[in.From]; ok {
			return c.Name, nil
		}
	}
	for _, c := range b.cfg.Shops {
		if found, err := b.hasTrace(ctx, c.Name, in); found || err != nil {
			return c.Name, err
		}
	}
	return b.cfg.Shops[0].Name, nil
}

// hasTrace says whether a shop knows the message, the person or the guest code.
func (b *Bot) hasTrace(ctx context.Context, shop string, in *Inbound) (bool, error) {
	store := b.cfg.Store
	for _, target := range []string{in.Edit, in.Delete} {
		if target == "" {
			continue
		}
		if _, ok, err := store.Delivered(ctx, shop, deliveryKey(in.Network, target)); ok || err != nil {
			return ok, failed("find shop", err)
		}
	}
	if job, err := store.Current(ctx, shop, in.From); job != "" || err != nil {
		return job != "", failed("find shop", err)
	}
	text, _ := understand.Clean(in.Text)
	if code, ok := understand.GuestCode(text); ok {
		jobs, err := store.Known(ctx, shop, codeKey(CodeHash(code.Value)))
		return len(jobs) > 0, failed("find shop", err)
	}
	return false, nil
}
