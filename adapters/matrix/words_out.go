package matrix

import (
	"context"
	"errors"
	"path"
	"slices"
	"strconv"
	"strings"

	"maunium.net/go/mautrix"
	"maunium.net/go/mautrix/event"
	"maunium.net/go/mautrix/id"

	"milepost/bot"
	"milepost/flow"
)

// sendText sends the words of a message; more than an event holds goes as a text
// file, with its beginning in words.
func (m *stint) sendText(ctx context.Context, out *bot.Outbound, p *place, key string, r *rendered) (id.EventID, error) {
	if r.size() <= maxWords {
		ev, err := m.say(ctx, out, p, key, r.content(r.kind))
		if !errors.Is(err, errTooLarge) {
			return ev, err
		}
	}
	name := strings.Map(fileSign, path.Base(path.Dir(out.Key))+"-"+path.Base(out.Key)) + ".txt"
	brief := &rendered{kind: r.kind, calls: r.calls, body: beginning(r.body) + "\n" + name}
	ev, err := m.say(ctx, out, p, key, brief.content(r.kind))
	if err != nil {
		return "", err
	}
	err = m.sendMedia(ctx, out, p, key+"/text", &media{name: name, mime: "text/plain", data: []byte(r.body)})
	return ev, err
}

// maxBeginning is how much of a long text stands in the message, in bytes.
const maxBeginning = 1000

// beginning is a text's first paragraph.
func beginning(text string) string {
	first, _, _ := strings.Cut(strings.TrimSpace(text), "\n\n")
	return shorten(first, maxBeginning)
}

// fileSign keeps the letters of our own file names to plain ones.
func fileSign(r rune) rune {
	if r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' || r == '-' || r == '_' {
		return r
	}
	return '-'
}

// tapSigns are the reactions that stand ready under a question; yesSign under a
// checklist that can be confirmed as a whole.
var tapSigns = []string{"1️⃣", "2️⃣", "3️⃣"}

const yesSign = "✅"

// taps gives the choices as reactions to them are understood. A checklist has
// its own numbers: its choices get no labels, so that none is tapped by number.
func taps(r *flow.Reply) []flow.Choice {
	if !isList(r.Text) {
		return r.Choices
	}
	cs := slices.Clone(r.Choices)
	for i := range cs {
		cs[i].Label = ""
	}
	return cs
}

// signs gives the reactions to be put under a message.
func signs(r *flow.Reply) []string {
	switch {
	case r.Kind != flow.Prompt || len(r.Choices) == 0:
		return nil
	case !isList(r.Text):
		return tapSigns[:min(len(r.Choices), len(tapSigns))]
	case slices.Contains(yesChoices, choiceID(r.Choices[0])):
		return []string{yesSign}
	}
	return nil
}

// offerTaps puts the reactions under a question. They are a shortcut: where the
// room does not allow them, or the server has not taken one, the numbers serve,
// and nothing waits. It returns an error only where we are told to stop.
func (m *stint) offerTaps(ctx context.Context, out *bot.Outbound, p *place, key string, ev id.EventID) error {
	all := signs(&out.Reply)
	for i, sign := range all {
		if m.out.isLimited() {
			m.cfg.Log.Debug("matrix: no reactions while the homeserver asks to wait", "room", p.room, "left out", len(all)-i)
			return nil
		}
		content := &event.ReactionEventContent{}
		content.RelatesTo.SetAnnotation(ev, sign)
		_, err := m.post(ctx, &item{key: key + "/tap" + strconv.Itoa(i+1), room: p.room, typ: event.EventReaction, content: content, target: ev})
		var e *bot.Error
		switch {
		case err == nil, code(err) == "M_DUPLICATE_ANNOTATION":
		case errors.As(err, &e) && (e.Kind == bot.Conflict || e.Kind == bot.Invalid):
			m.cfg.Log.Warn("no reactions in this room", "room", p.room, "err", err)
			return nil
		case ctx.Err() != nil:
			return err
		default:
			m.cfg.Log.Debug("matrix: reactions left out", "room", p.room, "left out", len(all)-i, "err", brief(err))
			return nil
		}
	}
	return nil
}

// code is the server's own code of a refusal, "" if there is none.
func code(err error) string {
	var he mautrix.HTTPError
	if errors.As(err, &he) && he.RespError != nil {
		return he.RespError.ErrCode
	}
	return ""
}
