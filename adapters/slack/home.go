package slack

import (
	"context"
	"crypto/sha256"
	"encoding/json"
	"fmt"
	"strings"
	"sync"
	"time"

	api "github.com/slack-go/slack"

	"milepost/adapters/own"
	"milepost/bot"
)

// Boards is where the home view comes from: bot.Bot.
type Boards interface {
	// Home gives the open jobs that a person may see.
	Home(ctx context.Context, id bot.Identity) (bot.Home, error)
}

// A home view is published when its tab is opened, and again when the board has
// changed: to a person at most once in homeEvery, and only to those who looked
// within homeLately.
const (
	homeEvery  = 5 * time.Second
	homeLately = 12 * time.Hour
	homeRows   = 60 // jobs shown; the view's blocks and bytes have their limits
	homePeople = 500
)

type homes struct {
	more chan struct{}

	mu     sync.Mutex
	people map[string]*homeOf // by user id
	links  map[string]string  // permalinks by channel/ts
}

type homeOf struct {
	opened, next time.Time // looked last; not to be published before
	due          bool
	last         [32]byte // what is published, so that the same is not published again
}

func (h *homes) init() {
	h.more, h.people, h.links = make(chan struct{}, 1), map[string]*homeOf{}, map[string]string{}
}

// homeOpened notes that a person looks at the home tab: it is published.
func (s *Slack) homeOpened(user string) { s.mouth.homes.opened(user, time.Now()) }

func (h *homes) opened(user string, now time.Time) {
	h.mu.Lock()
	defer h.mu.Unlock()
	p := h.people[user]
	if p == nil {
		if len(h.people) >= homePeople {
			h.drop(now)
		}
		p = &homeOf{}
		h.people[user] = p
	}
	p.opened, p.due = now, true
	p.last = [32]byte{} // Slack may have lost it: publish whatever it was
	h.wake()
}

// drop forgets who looked longest ago. Called with mu held.
func (h *homes) drop(now time.Time) {
	var who string
	oldest := now
	for u, p := range h.people {
		if !p.opened.After(oldest) {
			who, oldest = u, p.opened
		}
	}
	delete(h.people, who)
}

// forget drops a person.
func (h *homes) forget(user string) {
	h.mu.Lock()
	defer h.mu.Unlock()
	delete(h.people, user)
}

// changed notes that the board may have changed.
func (h *homes) changed() {
	h.mu.Lock()
	defer h.mu.Unlock()
	if len(h.people) == 0 {
		return
	}
	for _, p := range h.people {
		p.due = true
	}
	h.wake()
}

func (h *homes) wake() {
	select {
	case h.more <- struct{}{}:
	default:
	}
}

// take gives who is due now, and how long until the next one is.
func (h *homes) take(now time.Time) (users []string, next time.Duration) {
	h.mu.Lock()
	defer h.mu.Unlock()
	next = time.Hour
	for u, p := range h.people {
		switch {
		case now.Sub(p.opened) > homeLately:
			delete(h.people, u)
		case !p.due:
		case p.next.After(now):
			next = min(next, p.next.Sub(now))
		default:
			p.due, p.next = false, now.Add(homeEvery)
			users = append(users, u)
		}
	}
	return users, next
}

// again puts a person back whose view could not be published.
func (h *homes) again(user string, after time.Duration) {
	h.mu.Lock()
	defer h.mu.Unlock()
	if p := h.people[user]; p != nil {
		p.due, p.next = true, time.Now().Add(max(after, homeEvery))
	}
}

// news says whether a view is another than the one published, and notes it.
func (h *homes) news(user string, sum [32]byte) bool {
	h.mu.Lock()
	defer h.mu.Unlock()
	p := h.people[user]
	if p == nil || p.last == sum {
		return false
	}
	p.last = sum
	return true
}

// boards is where the home view comes from, nil if from nowhere.
func (s *Slack) boards(hear Hearer) Boards {
	if s.cfg.Boards != nil {
		return s.cfg.Boards
	}
	b, _ := hear.(Boards)
	return b
}

// publishHomes publishes home views until ctx is done.
func (s *Slack) publishHomes(ctx context.Context, boards Boards) {
	h := &s.mouth.homes
	for ctx.Err() == nil {
		users, next := h.take(time.Now())
		for _, u := range users {
			if err := s.publishHome(ctx, boards, u); err != nil && ctx.Err() == nil {
				s.log.Warn("publish home view", "err", plainly(err))
				h.again(u, wait(err))
			}
		}
		if len(users) > 0 {
			continue
		}
		t := time.NewTimer(next)
		select {
		case <-h.more:
		case <-t.C:
		case <-ctx.Done():
		}
		t.Stop()
	}
}

func (s *Slack) publishHome(ctx context.Context, boards Boards, user string) error {
	ctx, leave, err := s.enter(ctx)
	if err != nil {
		return err
	}
	defer leave()
	home, err := boards.Home(ctx, Identity(s.me.Team, user))
	if err != nil {
		return err
	}
	links := map[string]string{}
	for i := range home.Rows[:min(len(home.Rows), homeRows)] {
		job := home.Rows[i].Job
		if links[job], err = s.linkTo(ctx, job); err != nil {
			return err
		}
	}
	view := homeView(home, links)
	b, err := json.Marshal(view)
	if err != nil {
		return fmt.Errorf("make home view: %w", err)
	}
	sum := sha256.Sum256(b)
	if !s.mouth.homes.news(user, sum) {
		return nil
	}
	if _, err = s.api.PublishViewContext(ctx, api.PublishViewContextRequest{UserID: user, View: view}); err != nil {
		s.mouth.homes.news(user, [32]byte{})
		return failed("publish home view", err)
	}
	return nil
}

// linkTo gives the address of a job's thread, "" if it has none that can be
// linked to.
func (s *Slack) linkTo(ctx context.Context, job string) (string, error) {
	channel, ts, err := s.state.rootByJob(ctx, job)
	if err != nil || ts == "" {
		return "", err
	}
	h, key := &s.mouth.homes, channel+"/"+ts
	h.mu.Lock()
	link, ok := h.links[key]
	h.mu.Unlock()
	if ok {
		return link, nil
	}
	link, err = s.api.GetPermalinkContext(ctx, &api.PermalinkParameters{Channel: channel, Ts: ts})
	if err != nil && !refusedFor(err) {
		return "", failed("link to thread", err)
	}
	if !strings.HasPrefix(link, "https://") {
		link = "" // the post or the channel is gone
	}
	h.mu.Lock()
	defer h.mu.Unlock()
	if len(h.links) > 5000 {
		clear(h.links)
	}
	h.links[key] = link
	return link, nil
}

// homeView is the board as a home tab.
func homeView(home bot.Home, links map[string]string) api.HomeTabViewRequest {
	title := sayMine
	if home.Whole {
		title = sayShop
	}
	blocks := []api.Block{api.NewHeaderBlock(plain(title, maxHeader), api.HeaderBlockOptionBlockID("title"))}
	if len(home.Rows) == 0 {
		blocks = append(blocks, richText("none", nil, sayNoJobs))
	}
	for i := range home.Rows {
		if i == homeRows {
			blocks = append(blocks, richText(blockMore, nil, fmt.Sprintf(sayMoreJobs, len(home.Rows)-homeRows)))
			break
		}
		blocks = append(blocks, jobBlock(i, &home.Rows[i], home.Zone, links[home.Rows[i].Job]))
	}
	return api.HomeTabViewRequest{Type: api.VTHomeTab, Blocks: api.Blocks{BlockSet: blocks}}
}

// jobBlock is a job's lines on the board: which one, how it stands, its thread.
func jobBlock(i int, r *bot.Row, zone *time.Location, link string) api.Block {
	first, rest, _ := strings.Cut(tidy(r.Text(zone)), " · ")
	if len(r.Flags) > 0 {
		first = "⚑ " + first
	}
	e := []api.RichTextSectionElement{asIs(short(orDash(first), 300), &api.RichTextSectionTextStyle{Bold: true})}
	if rest != "" {
		e = append(e, asIs("\n"+short(rest, 800), nil))
	}
	if link != "" {
		e = append(e, asIs("\n", nil), api.NewRichTextSectionLinkElement(link, sayThread, nil))
	}
	return api.NewRichTextBlock(fmt.Sprintf("job%d", i), api.NewRichTextSection(e...))
}

// rootByJob gives the post that a job's thread hangs on, "" if there is none.
func (s *state) rootByJob(ctx context.Context, job string) (channel, ts string, err error) {
	err = s.db.QueryRowContext(ctx, "SELECT channel, ts FROM root WHERE job = ? LIMIT 1", job).Scan(&channel, &ts)
	return channel, ts, own.IgnoreNone(err)
}
