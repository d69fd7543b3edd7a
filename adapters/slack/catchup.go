package slack

import (
	"context"
	"errors"
	"log/slog"
	"strconv"
	"strings"
	"time"
)

// What did not reach us, because we were away for longer than Slack repeats its
// deliveries, or could not store what came for so long, is read back and goes the
// same way under the same keys: what had come is not heard again. Of a missed
// message that was edited since, only the last form can be had; of a deletion, only
// that the message is gone.
//
// Over a socket it shows when there was no connection. Over HTTP nobody says that
// nothing comes: it is looked when Slack repeats something for the second time, when
// something comes after a silence, and now and then.

// metaAlive holds when we last heard, in ms: from there it is read back. Over HTTP it
// is when it was last read back.
const metaAlive = "alive"

// metaBorn holds when it was begun here for the first time: what was written
// before is none of ours.
const metaBorn = "born"

// errKeep says that what comes can't be stored.
var errKeep = errors.New("what comes can't be stored: it is not acknowledged, and read back later")

// store keeps what came, so that it may be acknowledged. While that fails we are not
// ready, and what Slack has given up meanwhile is read back after it.
func (e *ears) store(ctx context.Context, list []arrival) error {
	err := e.keep(ctx, list)
	switch {
	case err == nil && len(list) == 0:
	case err == nil:
		e.mu.Lock()
		was := e.full
		e.full = false
		e.mu.Unlock()
		if was {
			e.s.log.Info("what comes can be stored again")
			e.s.keeps(true)
			e.missed()
		}
	case e.ctx.Err() != nil || ctx.Err() != nil: // we end, or Slack has hung up: it comes again
	default:
		e.mu.Lock()
		e.full, e.behind = true, true
		e.mu.Unlock()
		e.s.keeps(false)
	}
	return err
}

// cameAgain is what Slack says of a delivery that it repeats.
type cameAgain struct {
	attempt int    // 0: it comes for the first time
	reason  string // why it does not take the one before for delivered
}

// came notes that an event has come, and what that tells of others: one that comes
// for the third time is over a minute old, and older ones may have been given up.
func (e *ears) came(at string, again cameAgain) {
	if again.attempt > 0 {
		e.s.log.Info("slack delivers something again", "attempt", again.attempt, "reason", codeWord(again.reason))
	}
	if e.s.cfg.EventsAddr == "" {
		return
	}
	now := time.Now()
	e.mu.Lock()
	silence := now.Sub(e.heard)
	e.heard = now
	lost := again.attempt >= 2 && at > tsOf(e.looked.Add(-time.Minute))
	e.mu.Unlock()
	if lost || silence > e.s.times.silence {
		e.missed()
	}
}

// codeWord is a word from outside, fit for the log.
func codeWord(s string) string {
	s = s[:min(len(s), 40)]
	if strings.Trim(s, "abcdefghijklmnopqrstuvwxyz0123456789_") != "" {
		return "other"
	}
	return s
}

// live notes now and then that we hear, and tries whether what comes can be stored
// again: it need not come.
func (e *ears) live(ctx context.Context) {
	for {
		e.mu.Lock()
		full := e.full
		e.mu.Unlock()
		if full {
			_ = e.store(ctx, []arrival{{}}) // it is said when it can
		}
		if err := e.alive(ctx, false); err != nil && ctx.Err() == nil {
			e.s.log.Error("note of the time can't be kept", "err", err)
		}
		e.sayForged(e.forged.rest(time.Now()))
		if !sleep(ctx, e.s.times.alive) {
			last, stop := context.WithTimeout(context.WithoutCancel(ctx), 2*time.Second)
			defer stop()
			_ = e.alive(last, false) // at worst more is read back
			return
		}
	}
}

// alive moves the mark, unless something behind it is still to be looked for. Over
// HTTP only looking does.
func (e *ears) alive(ctx context.Context, first bool) error {
	if first {
		if v, err := e.st.meta(ctx, metaAlive); err != nil || v != "" {
			return err
		}
		if err := e.st.setMeta(ctx, metaBorn, tsOf(time.Now())); err != nil {
			return err
		}
	} else {
		e.mu.Lock()
		hears := e.linked && !e.behind && !e.looking && e.s.cfg.EventsAddr == ""
		e.mu.Unlock()
		if !hears {
			return nil
		}
	}
	return e.setAlive(ctx, time.Now())
}

func (e *ears) setAlive(ctx context.Context, at time.Time) error {
	return e.st.setMeta(ctx, metaAlive, strconv.FormatInt(at.UnixMilli(), 10))
}

// heardLast gives when we last heard, and since when we are here at all.
func (e *ears) heardLast(ctx context.Context) (alive time.Time, born string, err error) {
	v, err := e.st.meta(ctx, metaAlive)
	if err != nil {
		return alive, "", err
	}
	ms, err := strconv.ParseInt(v, 10, 64)
	if err != nil {
		return alive, "", nil
	}
	born, err = e.st.meta(ctx, metaBorn)
	return time.UnixMilli(ms), born, err
}

// missed has it looked for what did not reach us.
func (e *ears) missed() {
	e.mu.Lock()
	e.behind = true
	e.mu.Unlock()
	e.lookSoon()
}

func (e *ears) lookSoon() {
	select {
	case e.look <- struct{}{}:
	default:
	}
}

// catchUp reads back whenever something may have been missed, not too often, and
// over HTTP now and then, slowly.
func (e *ears) catchUp(ctx context.Context) {
	every := e.s.times.slowly
	if e.s.cfg.EventsAddr == "" {
		every = 1 << 62
	}
	slow := time.NewTicker(every)
	defer slow.Stop()
	for {
		hurry := true
		select {
		case <-e.look:
		case <-slow.C:
			hurry = false
		case <-ctx.Done():
			return
		}
		pause := e.s.times.between
		if err := e.lookBack(ctx, hurry); err != nil {
			if ctx.Err() != nil {
				return
			}
			e.s.log.Error("what was missed can't be read back and is tried again", "err", plainly(err))
			e.missed()
		}
		if !sleep(ctx, pause) {
			return
		}
	}
}

// lookBack reads back once. Until that is done the mark of when we last heard stays.
func (e *ears) lookBack(ctx context.Context, hurry bool) error {
	e.mu.Lock()
	rejoined := e.rejoined
	some := hurry && len(rejoined) > 0 && !e.behind
	e.behind, e.rejoined = false, nil // whatever is missed from here on sets them again
	e.looking = true
	if !some {
		e.breaks, rejoined = 0, nil
	}
	e.mu.Unlock()
	err := e.readBack(ctx, hurry, rejoined)
	e.mu.Lock()
	e.looking = false
	if err != nil {
		e.behind = true
	}
	e.mu.Unlock()
	if err != nil {
		return err
	}
	return e.alive(ctx, false)
}

// readBack reads back threads of open jobs first. Where nothing else was missed, it
// is only in the channels that we are in again.
func (e *ears) readBack(ctx context.Context, hurry bool, rejoined map[string]bool) error {
	alive, born, err := e.heardLast(ctx)
	if err != nil {
		return err
	}
	if alive.IsZero() {
		return nil // it never heard: there is nothing to miss
	}
	b := &back{ears: e, hurry: hurry, done: map[string]bool{}, refused: map[string]bool{}, began: time.Now(), born: born, since: max(tsOf(alive.Add(-e.s.times.overlap)), born)}
	if b.absences, err = e.st.absences(ctx); err != nil {
		return err
	}
	if len(rejoined) > 0 {
		if err := b.all(ctx, func(channel string) bool { return rejoined[channel] }); err != nil {
			return err
		}
		e.s.log.Info("read back where we are again", "threads", b.threads, "channels", b.channels, "messages", b.fed)
		return nil
	}
	if err := b.all(ctx, func(string) bool { return true }); err != nil {
		return err
	}
	e.mu.Lock()
	e.looked = b.began
	e.mu.Unlock()
	level := slog.LevelInfo
	if !hurry {
		level = slog.LevelDebug
	}
	e.s.log.Log(ctx, level, "read back what may have been missed", "since", alive.UTC().Format(time.RFC3339), "threads", b.threads,
		"channels", b.channels, "messages", b.fed, "took", time.Since(b.began).Round(time.Millisecond).String())
	if e.s.cfg.EventsAddr != "" {
		return e.setAlive(ctx, b.began)
	}
	return nil
}
