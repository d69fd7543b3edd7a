package slack

import (
	"context"
	"crypto/sha256"
	"encoding/json"
	"fmt"
	"strings"
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
		user, next := h.take(time.Now())
		if user != "" {
			called, err := s.publishHome(ctx, boards, user)
			if err != nil && ctx.Err() == nil {
				s.log.Warn("publish home view", "err", plainly(err))
			}
			h.done(user, called, err)
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

// publishHome shows a person the board, if it has changed. called says whether Slack
// was asked to.
func (s *Slack) publishHome(ctx context.Context, boards Boards, user string) (called bool, err error) {
	ctx, leave, err := s.enter(ctx)
	if err != nil {
		return false, err
	}
	defer leave()
	home, err := boards.Home(ctx, Identity(s.me.Team, user))
	if err != nil {
		return false, err
	}
	links := map[string]string{}
	for i := range home.Rows[:min(len(home.Rows), homeRows)] {
		job := home.Rows[i].Job
		if links[job], err = s.linkTo(ctx, job); err != nil {
			return false, err
		}
	}
	view := homeView(home, links)
	b, err := json.Marshal(view)
	if err != nil {
		return false, fmt.Errorf("make home view: %w", err)
	}
	sum := sha256.Sum256(b)
	if !s.mouth.homes.news(user, sum) {
		return false, nil
	}
	if _, err = s.api.PublishViewContext(ctx, api.PublishViewContextRequest{UserID: user, View: view}); err != nil {
		s.mouth.homes.news(user, [32]byte{})
		return true, failed("publish home view", err)
	}
	return true, nil
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
