package matrix

import (
	"context"
	"encoding/json"
	"errors"
	"slices"
	"strings"
	"time"

	"maunium.net/go/mautrix/event"

	"milepost/adapters/own"
	"milepost/bot"
	"milepost/flow"
)

// hearReaction takes a reaction to a message of ours for one of the choices it
// offers. Any other is somebody's mood.
func (m *stint) hearReaction(ctx context.Context, evt *event.Event, rel *event.RelatesTo) ([]bot.Inbound, error) {
	if rel.Type != event.RelAnnotation || !soundID(string(rel.EventID), "$") {
		return nil, nil
	}
	thread, job, list, err := m.state.offered(ctx, string(rel.EventID))
	if err != nil {
		return nil, err
	}
	if thread == "" {
		return nil, m.maybeSoon(ctx, evt, rel)
	}
	var choices []flow.Choice
	if json.Unmarshal([]byte(list), &choices) != nil {
		return nil, nil
	}
	c, ok := tapped(rel.Key, choices)
	if !ok {
		return nil, nil
	}
	in, err := m.inbound(ctx, evt)
	if err != nil {
		return nil, err
	}
	in.Thread, in.Job, in.Tap = bot.Thread(thread), job, c.Send
	return []bot.Inbound{in}, nil
}

// tapWait is how long a reaction to words of ours waits for what they offer to be
// noted, from when it came or the program started.
const tapWait = 10 * time.Second

// maybeSoon gives an error that passes where a reaction could be to a choice that
// is not noted yet: the server has our message, and we have not had its answer.
func (m *stint) maybeSoon(ctx context.Context, evt *event.Event, rel *event.RelatesTo) error {
	if !isSign(plainKey(rel.Key)) {
		return nil
	}
	came, err := m.state.cameAt(ctx, string(evt.ID))
	if err != nil {
		return err
	}
	if m.out.since.After(came) {
		came = m.out.since
	}
	if time.Since(came) > tapWait {
		return nil
	}
	ours, err := m.isOurs(ctx, evt.RoomID, rel.EventID)
	if err == nil && ours {
		err = &bot.Error{Kind: bot.Unavailable, Err: errors.New("what the message offers is not noted yet")}
	}
	return err
}

// cameAt is when an event came into the inbox.
func (s *state) cameAt(ctx context.Context, evt string) (time.Time, error) {
	var ms int64
	err := s.db.QueryRowContext(ctx, "SELECT came FROM inbox WHERE event = ?", evt).Scan(&ms)
	return time.UnixMilli(ms), own.IgnoreNone(err)
}

// isSign says whether a key, without what draws it, can stand for any choice.
func isSign(k string) bool {
	return len(k) == 1 && k[0] >= '1' && k[0] <= '9' || slices.Contains(yesSigns, k) || slices.Contains(noSigns, k)
}

// Signs that stand for a choice by what it means.
var (
	yesSigns = []string{"✅", "👍", "✔", "☑"}
	noSigns  = []string{"❌", "👎", "✖"}
)

// Choices that mean yes and no, by the last part of what they send.
var (
	yesChoices = []string{"yes", "all_yes", "yes_both", "done", "ok", "go_on", "noted", "values_noted"}
	noChoices  = []string{"no"}
)

// tapped gives the choice that a reaction's key stands for: its number, where it
// was shown with one; the first for a tick, if it says yes; the one that says no
// for a cross.
func tapped(key string, choices []flow.Choice) (flow.Choice, bool) {
	none := flow.Choice{}
	switch k := plainKey(key); {
	case len(choices) == 0:
	case len(k) == 1 && k[0] >= '1' && k[0] <= '9':
		if i := int(k[0] - '1'); i < len(choices) && choices[i].Label != "" {
			return choices[i], true
		}
	case slices.Contains(yesSigns, k):
		if slices.Contains(yesChoices, choiceID(choices[0])) {
			return choices[0], true
		}
	case slices.Contains(noSigns, k):
		for _, c := range choices {
			if slices.Contains(noChoices, choiceID(c)) {
				return c, true
			}
		}
	}
	return none, false
}

// plainKey drops what comes and goes in a key: how it is to be drawn, the frame
// of a keycap, the shade of a hand.
func plainKey(key string) string {
	if len(key) > 64 {
		return ""
	}
	return strings.Map(func(r rune) rune {
		if r == 0xFE0F || r == 0xFE0E || r == 0x20E3 || r >= 0x1F3FB && r <= 0x1F3FF {
			return -1
		}
		return r
	}, strings.TrimSpace(key))
}

// choiceID is the name of a choice: the last part of what it sends.
func choiceID(c flow.Choice) string { return c.Send[strings.LastIndexByte(c.Send, '.')+1:] }
