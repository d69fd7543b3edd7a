package matrix

import (
	"context"
	"encoding/json"
	"slices"
	"strings"

	"maunium.net/go/mautrix/event"

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
	if err != nil || thread == "" {
		return nil, err
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
	case k == "✅" || k == "👍" || k == "✔" || k == "☑":
		if slices.Contains(yesChoices, choiceID(choices[0])) {
			return choices[0], true
		}
	case k == "❌" || k == "👎" || k == "✖":
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
