package bot

import (
	"context"
	"time"

	"milepost/flow"
)

// Home is what a person sees of a shop at a glance.
type Home struct {
	Rows  []Row // open jobs, the one that waits longest first
	Whole bool  // all of the shop, not only those the person takes part in
	Zone  *time.Location
}

// Home gives the open jobs that a person may see: a supervisor those of the shop,
// anyone else those in which he takes part. Where several shops are served it is
// the first that names the person; who is named in none sees the jobs he takes
// part in.
func (b *Bot) Home(ctx context.Context, id Identity) (Home, error) {
	var home Home
	for _, c := range b.cfg.Shops {
		role := known(c.People[id])
		rows, err := b.Board(ctx, c.Name)
		if err != nil {
			return Home{}, err
		}
		mine := rowsOf(rows, id)
		switch {
		case role == flow.Supervisor:
			return Home{Rows: rows, Whole: true, Zone: c.Zone}, nil
		case role != flow.Stranger:
			return Home{Rows: mine, Zone: c.Zone}, nil
		case len(mine) > 0 && len(home.Rows) == 0:
			home = Home{Rows: mine, Zone: c.Zone}
		}
	}
	return home, nil
}
