package slack

import (
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"sync"
	"time"

	api "github.com/slack-go/slack"

	"milepost/bot"
	"milepost/flow"
)

// A command or a shortcut on a message brings an address at which it can be
// answered so that only who gave it sees the answer, wherever that was: for half
// an hour, five times (docs.slack.dev, Handling user interaction). What is said
// so is gone with a reload and is in no history: it is for what is in no job.

const (
	aloneFor = 25 * time.Minute
	maxAlone = 2000 // addresses that are remembered

	maxAnswers = 4 // at one of them; what is longer goes to direct messages
)

// alone remembers where commands can be answered, by the thread that a job would
// have begun in. It is not kept: without an address there are direct messages.
type alone struct {
	mu sync.Mutex
	at map[bot.Thread]aloneAt
}

type aloneAt struct {
	url, user string
	until     time.Time
}

func (a *alone) put(thread bot.Thread, at aloneAt) {
	a.mu.Lock()
	defer a.mu.Unlock()
	if len(a.at) >= maxAlone {
		now := time.Now()
		for t, x := range a.at {
			if now.After(x.until) {
				delete(a.at, t)
			}
		}
		if len(a.at) >= maxAlone {
			clear(a.at)
		}
	}
	if a.at == nil {
		a.at = map[bot.Thread]aloneAt{}
	}
	a.at[thread] = at
}

func (a *alone) get(thread bot.Thread) (aloneAt, bool) {
	a.mu.Lock()
	defer a.mu.Unlock()
	x, ok := a.at[thread]
	return x, ok && time.Now().Before(x.until)
}

func (a *alone) drop(thread bot.Thread) {
	a.mu.Lock()
	defer a.mu.Unlock()
	delete(a.at, thread)
}

// forget drops what a user can be answered at.
func (a *alone) forget(user string) {
	a.mu.Lock()
	defer a.mu.Unlock()
	for t, x := range a.at {
		if x.user == user {
			delete(a.at, t)
		}
	}
}

// isAnswerURL says whether an address is one of Slack's for answers, or of the
// server that stands for it.
func (s *Slack) isAnswerURL(text string) bool {
	u, err := url.Parse(text)
	if err != nil || u.Host == "" || u.User != nil || len(text) > 2000 {
		return false
	}
	if s.cfg.APIURL != "" {
		base, err := url.Parse(s.cfg.APIURL)
		if err == nil && u.Scheme == base.Scheme && u.Host == base.Host {
			return true
		}
	}
	return u.Scheme == "https" && (u.Host == "hooks.slack.com" || strings.HasSuffix(u.Host, ".slack.com") || strings.HasSuffix(u.Host, ".slack-gov.com"))
}

// sendAlone answers a command so that only who gave it sees it: at the address
// that came with it, else in direct messages. Whether an answer arrived can't be
// looked up, so one whose fate is not known is given again.
func (s *Slack) sendAlone(ctx context.Context, out *bot.Outbound) error {
	list := split(s.post(out))
	if at, ok := s.alone.get(out.Thread); ok && len(list) <= maxAnswers {
		var err error
		for _, p := range list {
			if err = s.answerAt(ctx, at.url, render(p)); err != nil {
				break
			}
		}
		if err != nil && (fateOf(err) == unknown || wait(err) > 0) {
			return failed("answer a command", err)
		}
		s.alone.drop(out.Thread)
		if err == nil {
			return nil
		}
		s.log.Warn("a command can't be answered where it was given", "err", plainly(err))
	}
	team, user, ok := splitIdentity(out.Users[""])
	if !ok || team != s.me.Team || !isID(user) {
		s.log.Warn("a command is not answered: there is no way to who gave it")
		return nil
	}
	direct, err := s.openDirect(ctx, user)
	switch {
	case err == nil:
		return s.sendAll(ctx, out.Key, &aim{channel: direct, thread: string(out.Thread)}, out)
	case refusedFor(err):
		s.log.Warn("a command is not answered", "code", code(err))
		return nil
	}
	return failed("answer a command", err)
}

// sayAlone says something of our own at an address for answers, once.
func (s *Slack) sayAlone(ctx context.Context, to, text string) {
	if !s.isAnswerURL(to) {
		return
	}
	if err := s.answerAt(ctx, to, render(&post{Kind: flow.Refusal, Text: text})); err != nil {
		s.log.Warn("what was pressed is not answered", "err", plainly(err))
	}
}

// answerAt says something at an address for answers.
func (s *Slack) answerAt(ctx context.Context, to string, m message) error {
	b, err := json.Marshal(map[string]any{"response_type": "ephemeral", "replace_original": false, "text": m.text, "blocks": m.blocks})
	if err != nil {
		return fmt.Errorf("answer: %w", err)
	}
	req, err := http.NewRequestWithContext(ctx, http.MethodPost, to, strings.NewReader(string(b)))
	if err != nil {
		return fmt.Errorf("answer: %s", plainly(err))
	}
	req.Header.Set("Content-Type", "application/json; charset=utf-8")
	res, err := s.ask.Do(req)
	if err != nil {
		return fmt.Errorf("answer: %s", plainly(err))
	}
	defer res.Body.Close()
	switch res.StatusCode {
	case http.StatusOK:
		return nil
	case http.StatusTooManyRequests:
		if n, err := strconv.Atoi(res.Header.Get("Retry-After")); err == nil {
			return &api.RateLimitedError{RetryAfter: time.Duration(n) * time.Second}
		}
	}
	return api.StatusCodeError{Code: res.StatusCode, Status: res.Status}
}
