package bot

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"slices"
	"time"

	"milepost/flow"
	"milepost/flow/understand"
)

// visit is a message on its way: what arrived, and what was found out.
type visit struct {
	in     Inbound
	shop   *shop
	key    string    // delivery, "" where the network has no identifier
	text   string    // cleaned and cut
	edit   string    // delivery key of the message that is edited
	delete string    // or deleted
	role   flow.Role // by configuration or as stated, "" for nobody's
	wake   bool      // the clock, no person

	job      string
	fresh    bool   // a job that does not exist yet
	coded    bool   // the text holds a guest code, of whatever worth
	codeHash string // of a guest code that some job has given out
	file     *flow.File
	desk     func(context.Context, *visit) error // answered outside any job; nil: in the job

	tally // what becomes of it, for the figures
}

// Bounds of what an adapter may hand over, in bytes. Longer ones are no
// message of a network we know.
const maxField = 1024

// receive checks and cleans what came in. Nothing of it is believed.
func (b *Bot) receive(ctx context.Context, in Inbound) (*visit, error) {
	if in.Shop == "" {
		name, err := b.which(ctx, &in)
		if err != nil {
			return nil, err
		}
		in.Shop = name
	}
	s := b.shops[in.Shop]
	switch {
	case s == nil:
		return nil, &Error{Kind: Invalid, Err: errors.New("receive: no such shop")}
	case in.From == "" || in.Network == "":
		return nil, &Error{Kind: Invalid, Err: errors.New("receive: nobody's message, or of no network")}
	}
	for _, f := range []string{string(in.From), string(in.Thread), in.Room, in.Job, in.Tap} {
		if len(f) > maxField {
			return nil, &Error{Kind: Invalid, Err: errors.New("receive: an identifier is too long")}
		}
	}
	if err := b.openShop(ctx, s); err != nil {
		return nil, err
	}
	v := &visit{in: in, shop: s, key: deliveryKey(in.Network, in.Delivery), role: b.configured(s, &in),
		edit: deliveryKey(in.Network, in.Edit), delete: deliveryKey(in.Network, in.Delete)}
	v.text, _ = understand.Clean(in.Text)
	v.in.Text = "" // only what was cleaned goes on
	v.in.Name = callName(&in)
	return v, nil
}

// route finds the job a message belongs to: the one named, the one of the tap
// or of the message that is edited, what a command or a guest code names, the
// thread's, the person's current one, else a new one.
func (b *Bot) route(ctx context.Context, v *visit) error {
	plain := v.in.Tap == "" && v.edit == "" && v.delete == "" && v.in.File == nil && v.in.Fault == ""
	if target := v.edit + v.delete; target != "" {
		job, ok, err := b.cfg.Store.Delivered(ctx, v.shop.name, target)
		if err != nil {
			return failed("find edited message", err)
		}
		if v.job = job; !ok || job == "" || job == v.shop.ownJob() {
			v.desk = ignore // of a message that no job knows
		}
		return nil
	}
	if plain {
		if done, err := b.command(ctx, v); done || err != nil {
			if b.stale(v) {
				v.fresh, v.desk = false, b.deskLate
			}
			return err
		}
	}
	if v.in.Tap != "" {
		return b.tapped(ctx, v)
	}
	if v.in.Job != "" {
		v.job = v.in.Job
		return nil
	}
	if plain && (v.role == "" || v.role == flow.Customer) {
		if found, err := b.byCode(ctx, v); found || err != nil {
			return err
		}
	}
	if v.in.Loose {
		return b.loose(ctx, v)
	}
	job, err := b.place(ctx, v)
	if err != nil {
		return err
	}
	if job != v.shop.goneTo.get(string(v.in.From)) {
		v.shop.goneTo.set(string(v.in.From), "") // speaks elsewhere: no longer there
	}
	switch {
	case job != "":
		v.job = job
		return nil
	case v.in.Fault != "" && v.role != "":
		v.desk = b.unread
		return nil
	case plain && ofAJob(v.text): // words that only mean something in a job never begin one
		if b.cfg.Single && v.role != "" && v.in.Thread == "" {
			if v.job, err = b.onlyStream(ctx, v.shop, false); err != nil {
				return err
			}
		}
		if v.job == "" {
			v.desk = b.deskHelp
		}
		return nil
	case v.role != "" && flow.May(v.role, flow.ActOpen):
		return b.newJob(v)
	}
	v.desk = b.turnAway
	return nil
}

// ignore acknowledges a message that has no meaning here.
func ignore(context.Context, *visit) error { return nil }

// place gives the job a message without a name for it belongs to: the one the
// person is working in, if it lives in this thread; else the thread's; else the
// person's.
func (b *Bot) place(ctx context.Context, v *visit) (string, error) {
	s, store := v.shop, b.cfg.Store
	current, err := s.current.ask(string(v.in.From), func() (string, error) {
		return store.Current(ctx, s.name, v.in.From)
	})
	if err != nil {
		return "", failed("current job", err)
	}
	if v.in.Thread == "" {
		if current == "" && b.cfg.Single && v.role != "" {
			return b.onlyStream(ctx, s, true)
		}
		return current, nil
	}
	if current != "" {
		lives, err := b.lives(ctx, v, current)
		if err != nil {
			return "", err
		}
		if lives {
			return current, nil
		}
	}
	job, err := s.threads.ask(threadKey(v.in.Network, v.in.Thread), func() (string, error) {
		return store.ThreadJob(ctx, s.name, v.in.Network, v.in.Thread)
	})
	if err != nil {
		return "", failed("job of a thread", err)
	}
	if job == "" {
		job = current
	}
	return job, nil
}

// ofAJob says whether a text is a command that needs a job to mean anything.
func ofAJob(text string) bool {
	c, ok := understand.ReadCommand(text)
	return ok && slices.Contains([]string{understand.CmdWaive, understand.CmdSignOff, understand.CmdRelease, understand.CmdNotYet,
		understand.CmdReassign, understand.CmdRecover, understand.CmdReopen, understand.CmdStop, understand.CmdTakeOver}, c.Value.Name)
}

// onlyStream gives the job last moved in a single-user store, of the open ones
// or of all: its one stream is the thread, and who speaks up in it for the
// first time means that.
func (b *Bot) onlyStream(ctx context.Context, s *shop, openOnly bool) (string, error) {
	rows, err := b.cfg.Store.Index(ctx, s.name, openOnly)
	if err != nil {
		return "", failed("open jobs", err)
	}
	job, last := "", time.Time{}
	for i := range rows {
		if r := &rows[i]; (r.Open || !openOnly) && r.Job != s.ownJob() && !r.Since.Before(last) {
			job, last = r.Job, r.Since
		}
	}
	return job, nil
}

func threadKey(network string, t Thread) string { return network + "\x00" + string(t) }

func livesKey(network string, t Thread, job string) string {
	return threadKey(network, t) + "\x00" + job
}

// newJob draws a number for a job that begins with this message.
func (b *Bot) newJob(v *visit) error {
	if b.stale(v) {
		v.desk = b.deskLate
		return nil
	}
	job, err := draw(b.cfg.Random, jobSigns)
	if err != nil {
		return b.internal(v, err)
	}
	v.job, v.fresh = job, true
	v.shop.goneTo.set(string(v.in.From), "")
	if v.in.Direct {
		v.shop.greeted.set(string(v.in.From), job)
	}
	if v.in.Begins != "" {
		v.in.Thread = v.in.Begins // each job has a thread of its own, even one asked for in another's
	}
	return nil
}

// empty finds the job that somebody began by a greeting in his direct messages and
// that holds nothing yet: a new one asked for there is that one.
func (b *Bot) empty(ctx context.Context, v *visit) (bool, error) {
	job := v.shop.greeted.get(string(v.in.From))
	if !v.in.Direct || job == "" || b.stale(v) {
		return false, nil
	}
	f, err := readJob(ctx, b.cfg.Store, v.shop.name, job)
	if err != nil {
		return false, err
	}
	s := f.state
	if s.Seq == 0 || s.Phase != flow.PhaseOpen || s.Vehicle != "" || s.VIN != "" || len(s.Answers)+len(s.Sizes)+len(s.Modules)+s.Files > 0 || len(s.People) > 1 {
		return false, nil
	}
	v.job = job
	return true, nil
}

// stale says whether a message is of another day.
func (b *Bot) stale(v *visit) bool {
	return !v.in.SentAt.IsZero() && b.now().Sub(v.in.SentAt) > flow.Stale
}

// codeKey is what a job with a guest code of this hash is found by.
func codeKey(hash string) string { return "code:" + hash }

// CodeHash is the form in which the flow keeps a guest code: hex SHA-256 of the
// code in capitals with hyphens.
func CodeHash(code string) string {
	sum := sha256.Sum256([]byte(code))
	return hex.EncodeToString(sum[:])
}

// byCode finds the job a guest code in the text was made for, and takes the
// code out of the text: it is no answer to any question.
func (b *Bot) byCode(ctx context.Context, v *visit) (bool, error) {
	code, ok := understand.GuestCode(v.text)
	if !ok {
		return false, nil
	}
	v.coded = true
	hash := CodeHash(code.Value)
	jobs, err := b.cfg.Store.Known(ctx, v.shop.name, codeKey(hash))
	if err != nil {
		return false, failed("find guest code", err)
	}
	if len(jobs) == 0 {
		return false, nil // not told apart from any other stranger's words
	}
	v.job, v.codeHash = jobs[0], hash
	v.text = v.text[:code.Start] + "…" + v.text[code.End:]
	return true, nil
}
