package slack

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"time"

	"github.com/gofrs/flock"

	"milepost/bot"
)

// self is who we are in the workspace.
type self struct {
	Team string `json:"team"`
	User string `json:"user"`
	Bot  string `json:"bot"`
}

// self is who we are, empty before that is known.
func (s *Slack) self() self {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.me
}

// lock keeps a second process out of the state directory.
func lock(dir string) (unlock func(), err error) {
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return nil, fmt.Errorf("lock state: %w", err)
	}
	l := flock.New(filepath.Join(dir, "slack.lock"), flock.SetPermissions(0o600))
	ok, err := l.TryLock()
	switch {
	case err != nil:
		return nil, fmt.Errorf("lock state: %w", err)
	case !ok:
		return nil, &bot.Error{Kind: bot.Conflict, Err: errors.New("lock state: another process uses it; Slack is served by one process for each state directory")}
	}
	return func() { _ = l.Unlock() }, nil
}

// lockSoon waits a moment for the state directory: an erasure while we did not run
// holds it as long as it takes.
func (s *Slack) lockSoon(ctx context.Context) (unlock func(), err error) {
	for end := time.Now().Add(lockIn); ; {
		unlock, err = lock(s.cfg.Dir)
		var held *bot.Error
		if !errors.As(err, &held) || held.Kind != bot.Conflict || time.Now().After(end) || !sleep(ctx, 50*time.Millisecond) {
			return unlock, err
		}
	}
}

const lockIn = 3 * time.Second

// grave are the answers after which no further try can help: somebody has to
// mend the token or the installation.
var grave = []string{"invalid_auth", "not_authed", "account_inactive", "token_revoked", "token_expired"}

// graveError says it in words for the operator.
func graveError(err error) error {
	return &bot.Error{Kind: bot.Forbidden, Err: fmt.Errorf("slack refuses us for good (%s): check both tokens and that the app is still installed", plainly(err))}
}

// whoami asks Slack who we are, until it answers.
func (s *Slack) whoami(ctx context.Context, st *state) (self, error) {
	for pause := s.times.retry; ; pause = min(2*pause, s.times.most) {
		r, err := s.api.AuthTestContext(ctx)
		switch {
		case ctx.Err() != nil:
			return self{}, ctx.Err()
		case is(err, grave):
			return self{}, graveError(err)
		case err == nil && s.cfg.Team != "" && r.TeamID != s.cfg.Team:
			return self{}, &bot.Error{Kind: bot.Invalid, Err: fmt.Errorf("the bot token is of workspace %s, configured is %s", r.TeamID, s.cfg.Team)}
		case err == nil && r.UserID != "" && r.TeamID != "":
			me := self{Team: r.TeamID, User: r.UserID, Bot: r.BotID}
			b, err := json.Marshal(me)
			if err != nil {
				return self{}, fmt.Errorf("keep who we are: %w", err)
			}
			return me, st.setMeta(ctx, "me", string(b))
		case err == nil:
			err = errors.New("auth.test does not say who we are")
		}
		if s.unready(fmt.Errorf("auth.test: %s", plainly(err))) {
			s.log.Warn("slack does not answer", "method", "auth.test", "err", plainly(err))
		}
		if !sleep(ctx, max(pause, wait(err))) {
			return self{}, ctx.Err()
		}
	}
}

// sleep waits and says whether ctx still lasts.
func sleep(ctx context.Context, d time.Duration) bool {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-t.C:
		return ctx.Err() == nil
	case <-ctx.Done():
		return false
	}
}

// plainly gives an error's words for the log: without addresses, which can hold
// a file's name or a ticket.
func plainly(err error) string {
	if err == nil {
		return ""
	}
	if u := urlError(err); u != nil {
		return u.Op + ": " + plainly(u.Err)
	}
	return err.Error()
}
