package flow

import (
	"regexp"
	"slices"
	"strings"
	"time"

	"milepost/flow/understand"
	"milepost/flow/words"
)

// Stale is how old a message may be, by the network's time, to be acted on. It
// leaves room for an outage over night.
const Stale = 24 * time.Hour

// apart is by how much a network's clock and ours may differ unnoticed.
const apart = 5 * time.Second

// lag is how much later than they were sent somebody's messages were heard, the
// promptest of them: by so much the clocks differ, at most. Zero where the network
// gives no time.
type lag struct {
	of    Who
	by    time.Duration
	heard time.Time
}

// hears learns from a message how the clocks differ: it tells nothing of itself, so
// it counts once the next one is heard.
func (s *State) hears(e *Entry) {
	if l := s.lastLag; l.of != "" {
		if was, ok := s.lags[l.of]; !ok || l.by < was.by {
			s.lags = with(s.lags, l.of, l)
		}
	}
	s.lastLag = lag{of: e.Who, heard: e.At}
	if !e.Net.IsZero() {
		s.lastLag.by = e.At.Sub(e.Net)
	}
}

// sent is when the message was sent, by our clock. The network's stands for it,
// unless this message came after as long as others of its author that came well
// before it: then the clocks differ, and it was not under way for so long.
func (t *turn) sent() time.Time {
	at := t.m.SentAt
	l, ok := t.s.lags[t.m.Who]
	if !ok || t.env.Now.Sub(l.heard) < apart || t.env.Now.Sub(at) < l.by-apart {
		return at
	}
	return at.Add(l.by)
}

// late deals with a message that took long to come. One of another day is kept
// and not acted on. One written before the open question was asked may bring
// figures, but decides nothing: it never releases, waives, signs off, writes or
// says that something was done.
func (t *turn) late() bool {
	sent := t.m.SentAt
	switch {
	case sent.IsZero() || t.m.File != nil: // a file is evidence, however old
		return false
	case t.env.Now.Sub(sent) > Stale:
		if sent.Before(t.s.StillAt) {
			return true // said already, of all that was on its way then
		}
		t.answerTo(Notice, "late.still", words.Args{"Days": Days(t.env.Now.Sub(sent))})
		t.again()
		return true
	case t.s.Asked != nil && t.m.Tap == "" && t.sent().Before(t.s.AskedAt.Add(-apart)) && t.decides(t.m.Text):
		t.answerTo(Notice, "late.older", nil)
		t.again()
		return true
	}
	return false
}

// decides says whether a text would do more than bring figures.
func (t *turn) decides(text string) bool {
	if c, ok := t.command(text); ok {
		return !slices.Contains(harmless, c.Name)
	}
	if q := t.open(); q != nil && (t.named(q, text) != "" || t.labelled(text) != "") {
		return true // a bare number is a choice's, not a figure
	}
	return agrees.MatchString(text) || !strings.ContainsAny(text, "0123456789")
}

// agrees finds a text that begins with a yes or a no, whatever figures follow.
var agrees = regexp.MustCompile(`(?i)^\W*(all\s+)?(yes|no|ok|okay|done|took|release)\b`)

// harmless are the digressions that decide nothing.
var harmless = []string{understand.CmdWhy, understand.CmdHelp, understand.CmdWhere, understand.CmdNote, understand.CmdPause,
	understand.CmdResume, understand.CmdSupervisor, understand.CmdHelper, understand.CmdStop}

// Days is how many days an age is, at least one.
func Days(age time.Duration) int { return max(1, int(age.Round(Stale)/Stale)) }
