package bot

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"regexp"
	"strings"
	"sync"

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
	codeHash string // of a guest code in the text
	file     *flow.File
	desk     func(context.Context, *visit) error // answered outside any job; nil: in the job
}

// Bounds of what an adapter may hand over, in bytes. Longer ones are no
// message of a network we know.
const maxField = 1024

// receive checks and cleans what came in. Nothing of it is believed.
func (b *Bot) receive(ctx context.Context, in Inbound) (*visit, error) {
	if in.Shop == "" && len(b.cfg.Shops) == 1 {
		in.Shop = b.cfg.Shops[0].Name
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
	plain := v.in.Tap == "" && v.edit == "" && v.delete == "" && v.in.File == nil
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
		if desk, ok := b.command(v); ok {
			v.desk = desk
			return nil
		}
	}
	if startsJob(v.text) && plain && v.role != "" && v.in.Job == "" {
		return b.newJob(v)
	}
	if v.in.Job != "" {
		v.job = v.in.Job
		return nil
	}
	if v.in.Tap != "" {
		v.job = flow.TapJob(v.in.Tap)
		if v.job == "" || !shopName.MatchString(v.job) {
			v.desk = ignore
		}
		return nil
	}
	if plain && v.role == "" {
		if found, err := b.byCode(ctx, v); found || err != nil {
			return err
		}
	}
	job, err := b.place(ctx, v)
	if err != nil {
		return err
	}
	switch {
	case job != "":
		v.job = job
		return nil
	case v.role != "" && flow.May(v.role, flow.ActOpen):
		return b.newJob(v)
	}
	v.desk = b.turnAway
	return nil
}

// ignore acknowledges a message that has no meaning here.
func ignore(context.Context, *visit) error { return nil }

// place gives the job of the thread, else the one the person is working in.
func (b *Bot) place(ctx context.Context, v *visit) (string, error) {
	if v.in.Thread != "" {
		key := v.in.Network + "\x00" + string(v.in.Thread)
		job := v.shop.threads.get(key)
		if job == "" {
			var err error
			if job, err = b.cfg.Store.ThreadJob(ctx, v.shop.name, v.in.Network, v.in.Thread); err != nil {
				return "", failed("job of a thread", err)
			}
			v.shop.threads.set(key, job)
		}
		if job != "" {
			return job, nil
		}
	}
	job := v.shop.current.get(string(v.in.From))
	if job == "" {
		var err error
		if job, err = b.cfg.Store.Current(ctx, v.shop.name, v.in.From); err != nil {
			return "", failed("current job", err)
		}
		v.shop.current.set(string(v.in.From), job)
	}
	return job, nil
}

// newJob draws a number for a job that begins with this message.
func (b *Bot) newJob(v *visit) error {
	job, err := draw(b.cfg.Random, jobSigns)
	if err != nil {
		return b.internal(v, err)
	}
	v.job, v.fresh = job, true
	return nil
}

// startsJob says whether a text asks for a new job in so many words.
func startsJob(text string) bool {
	f := strings.Fields(strings.ToLower(text))
	return len(f) >= 2 && (f[0] == "new" || f[0] == "open" || f[0] == "start") &&
		(f[1] == "job" || f[1] == "job:" || len(f) > 2 && f[1] == "a" && strings.TrimRight(f[2], ":,") == "job" || len(f) > 2 && f[1] == "new" && f[2] == "job")
}

// code finds a guest code as people type it: four groups of four, joined by
// hyphens, spaces or nothing.
var code = regexp.MustCompile(`(?i)\b[2-9B-DF-HJ-NP-TV-Z]{4}(?:[- ]?[2-9B-DF-HJ-NP-TV-Z]{4}){3}\b`)

// codeKey is what a job with this code is found by.
func codeKey(hash string) string { return "code:" + hash }

// CodeHash is the form in which a guest code is kept: hex SHA-256 of its 16
// signs, capitals, without hyphens.
func CodeHash(text string) string {
	text = strings.ToUpper(strings.NewReplacer("-", "", " ", "").Replace(text))
	sum := sha256.Sum256([]byte(text))
	return hex.EncodeToString(sum[:])
}

// byCode finds the job a guest code in the text was made for, and takes the
// code out of the text: it is no answer to any question.
func (b *Bot) byCode(ctx context.Context, v *visit) (bool, error) {
	at := code.FindStringIndex(v.text)
	if at == nil {
		return false, nil
	}
	hash := CodeHash(v.text[at[0]:at[1]])
	jobs, err := b.cfg.Store.Known(ctx, v.shop.name, codeKey(hash))
	if err != nil {
		return false, failed("find guest code", err)
	}
	if len(jobs) == 0 {
		return false, nil // not told apart from any other stranger's words
	}
	v.job, v.codeHash = jobs[0], hash
	v.text = understand.Mask(v.text, at[0], at[1])
	return true, nil
}

// memo is a small map that remembers what the store said, and starts over when
// it is full. Empty values are not kept.
type memo struct {
	mu  sync.Mutex
	m   map[string]string
	max int
}

func newMemo(max int) *memo { return &memo{m: map[string]string{}, max: max} }

func (m *memo) get(k string) string {
	m.mu.Lock()
	defer m.mu.Unlock()
	return m.m[k]
}

func (m *memo) set(k, v string) {
	m.mu.Lock()
	defer m.mu.Unlock()
	if len(m.m) >= m.max {
		clear(m.m)
	}
	if delete(m.m, k); v != "" {
		m.m[k] = v
	}
}
