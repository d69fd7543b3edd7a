package matrix

import (
	"context"
	"errors"
	"path"
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
func (m *Matrix) sendText(ctx context.Context, out *bot.Outbound, p *place, key string, r *rendered) (id.EventID, error) {
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

// tapSigns are the reactions that stand ready under a question.
var tapSigns = []string{"1️⃣", "2️⃣", "3️⃣"}

// taps gives the choices that can be tapped. A checklist has its own numbers: a
// tap on one of them would mean another thing than it shows.
func taps(r *flow.Reply) []flow.Choice {
	if isList(r.Text) {
		return nil
	}
	return r.Choices
}

// offerTaps puts the reactions under a question. They are a shortcut: where the
// room does not allow them, the numbers serve.
func (m *Matrix) offerTaps(ctx context.Context, out *bot.Outbound, p *place, key string, ev id.EventID) error {
	if out.Reply.Kind != flow.Prompt {
		return nil
	}
	for i := range taps(&out.Reply)[:min(len(taps(&out.Reply)), len(tapSigns))] {
		content := &event.ReactionEventContent{}
		content.RelatesTo.SetAnnotation(ev, tapSigns[i])
		_, err := m.post(ctx, &item{key: key + "/tap" + strconv.Itoa(i+1), room: p.room, typ: event.EventReaction, content: content, target: ev})
		var e *bot.Error
		switch {
		case err == nil, code(err) == "M_DUPLICATE_ANNOTATION":
		case errors.As(err, &e) && (e.Kind == bot.Forbidden || e.Kind == bot.Invalid):
			m.cfg.Log.Warn("no reactions in this room", "room", p.room, "err", err)
			return nil
		default:
			return err
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
