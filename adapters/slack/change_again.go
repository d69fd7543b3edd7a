package slack

import (
	"context"
	"sync"
	"time"
)

// A post that can't be changed is tried again, each time later. It keeps no other
// waiting, and a refusal that means nothing to us ends it after some tries.
const (
	againMost  = 5 * time.Minute // longest pause
	againTries = 6
	maxFailing = 1000
)

// standing are refusals that are not of the post: somebody has to mend the token or
// the workspace, and then all that waits is changed.
var standing = append([]string{"token_expired", "missing_scope", "no_permission", "access_denied", "accesslimited", "org_login_required",
	"enterprise_is_restricted", "not_allowed_token_type", "two_factor_setup_required"}, grave...)

// failing are the posts whose change failed. It is not kept: after a new start each is
// tried at once.
type failing struct {
	mu sync.Mutex
	at map[string]failure // by channel/ts
}

type failure struct {
	n     int
	until time.Time
}

// pause is how long a post is not to be tried.
func (f *failing) pause(channel, ts string) time.Duration {
	f.mu.Lock()
	defer f.mu.Unlock()
	return max(0, time.Until(f.at[channel+"/"+ts].until))
}

func (f *failing) count() int {
	f.mu.Lock()
	defer f.mu.Unlock()
	return len(f.at)
}

// failed notes that a change failed, and gives how often by now, and the pause.
func (f *failing) failed(channel, ts string, first time.Duration) (n int, pause time.Duration) {
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.at == nil || len(f.at) >= maxFailing {
		f.at = map[string]failure{} // all are tried at once: that can be borne
	}
	key := channel + "/" + ts
	n = f.at[key].n + 1
	pause = min(first<<min(n-1, 20), againMost)
	f.at[key] = failure{n: n, until: time.Now().Add(pause)}
	return n, pause
}

// over forgets a post that was changed.
func (f *failing) over(channel, ts string) {
	f.mu.Lock()
	defer f.mu.Unlock()
	delete(f.at, channel+"/"+ts)
}

// notChanged judges a change that failed. A post that was given up is tried once more
// when it is to look different again.
func (s *Slack) notChanged(ctx context.Context, channel, ts string, rev int64, err error) {
	n, pause := s.mouth.failing.failed(channel, ts, s.times.again)
	if n >= againTries && refusedFor(err) && !is(err, standing) {
		if n == againTries {
			s.log.Warn("a post can't be changed and stays as it is", "channel", channel, "tries", n, "code", code(err))
		}
		if err := s.state.stays(context.WithoutCancel(ctx), channel, ts, rev); err != nil {
			s.log.Error("note that a post stays as it is", "err", err)
		}
		return
	}
	if n == 1 {
		s.log.Warn("change post, will be tried again, each time later", "channel", channel, "in", pause, "err", plainly(err))
		return
	}
	s.log.Debug("change post, will be tried again", "channel", channel, "tries", n, "in", pause, "err", plainly(err))
}

// stays gives up to change a post to a state, unless there is another by now.
func (s *state) stays(ctx context.Context, channel, ts string, rev int64) error {
	_, err := s.db.ExecContext(ctx, "UPDATE shown SET stale = 0 WHERE channel = ? AND ts = ? AND rev = ?", channel, ts, rev)
	return err
}
