package slack

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"slices"
	"strconv"
	"strings"

	api "github.com/slack-go/slack"

	"milepost/bot"
	"milepost/flow"
)

// eventType marks our posts in their metadata, where any app of the workspace
// may read it: an opaque id and no more.
const eventType = "milepost_post"

// Send says a message. It waits for its turn in the channel. The same key again
// is the same message: what is out is not said again, and where that is not
// known it is looked for.
func (s *Slack) Send(ctx context.Context, out bot.Outbound) error {
	ctx, leave, err := s.enter(ctx)
	if err != nil {
		return err
	}
	defer leave()
	if out.Alone {
		return s.sendAlone(ctx, &out)
	}
	a, err := s.aim(ctx, &out)
	if err != nil {
		return err
	}
	if changed, err := s.state.giveWay(ctx, &out); err != nil {
		return failed("note what is answered", err)
	} else if changed {
		defer s.mouth.wake()
	}
	defer s.mouth.homes.changed()
	err = s.sendAll(ctx, out.Key, &a, &out)
	if is(err, gone) {
		return s.sendDirect(ctx, &out, a, err)
	}
	return err
}

// sendAll sends a message's posts and files. Where the thread begins anew with one of
// them, a is where the rest goes.
func (s *Slack) sendAll(ctx context.Context, key string, a *aim, out *bot.Outbound) error {
	for i, one := range split(s.post(out)) {
		k := key
		if i > 0 {
			k += "#" + strconv.Itoa(i+1)
		}
		if err := s.sendPost(ctx, k, a, one); err != nil {
			return err
		}
	}
	for i := range out.Reply.Files {
		if err := s.sendFile(ctx, key+"#file"+strconv.Itoa(i+1), a, out.Reply.Files[i]); err != nil {
			return err
		}
	}
	return nil
}

// sendDirect says it in direct messages to those it is for, when their channel
// takes nothing more from us: there they can go on. Where that can't be either it
// is the channel's refusal that counts.
func (s *Slack) sendDirect(ctx context.Context, out *bot.Outbound, a aim, refused error) error {
	told := false
	for _, w := range out.Reply.To {
		team, user, ok := splitIdentity(out.Users[w])
		if !ok || team != s.me.Team || !isID(user) {
			continue
		}
		direct, err := s.openDirect(ctx, user)
		if err != nil || direct == a.channel {
			if err != nil && !refusedFor(err) {
				return failed("send directly", err)
			}
			continue
		}
		to := aim{channel: direct, thread: a.thread, job: a.job}
		if err := s.sendAll(ctx, out.Key+"#to/"+user, &to, out); err != nil {
			return err
		}
		told = true
	}
	if !told {
		return refused
	}
	s.log.Warn("a channel takes nothing from us; said in direct messages", "channel", a.channel, "code", code(refused))
	return nil
}

// post is what a reply says, whom it calls, and what answers it.
func (s *Slack) post(out *bot.Outbound) *post {
	r := &out.Reply
	p := &post{Kind: r.Kind, Text: r.Text, Choices: r.Choices, To: out.Asked.To, Log: out.Log}
	if r.Kind == flow.Card {
		return p
	}
	if r.Kind == flow.Prompt {
		p.Ask = out.Asked.Ask
		if len(r.Choices) > 0 {
			if n := tapAsk(r.Choices[0].Send); n > 0 {
				p.Ask = n
			}
		}
		p.Bare = ownNumbers(p, out)
		s.call(p, out)
	}
	if r.Kind == flow.Notice && (r.Role == flow.Helper || r.Role == flow.Supervisor) {
		s.call(p, out) // to a job: no question does that
	}
	if p.Form = formFor(out); p.Form != "" {
		p.Job, p.Speed = out.Job, out.Asked.Speed
	}
	return p
}

// call names who must answer, unless it is who has just spoken: he is here.
func (s *Slack) call(p *post, out *bot.Outbound) {
	var names []string
	for _, w := range out.Reply.To {
		if w == out.By {
			return
		}
		team, user, ok := splitIdentity(out.Users[w])
		switch {
		case ok && team == s.me.Team && isID(user):
			p.Calls = append(p.Calls, user)
		case out.Names[w] != "":
			names = append(names, out.Names[w])
		}
	}
	slices.Sort(p.Calls)
	if p.Calls = slices.Compact(p.Calls); len(p.Calls) > 5 {
		p.Calls = p.Calls[:5]
	}
	if len(p.Calls) == 0 && out.By != "" && len(names) > 0 && len(names) <= 5 {
		p.Name = strings.Join(names, ", ")
	}
}

// isID says whether a word is an id as Slack gives them, so that it can be put
// into a mention.
func isID(s string) bool {
	return s != "" && strings.Trim(s, "ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789") == ""
}

// tapAsk is the number of the question that a choice answers, 0 if it is of
// another form.
func tapAsk(send string) int {
	parts := strings.SplitN(send, ".", 3)
	if len(parts) != 3 {
		return 0
	}
	n, err := strconv.Atoi(parts[1])
	if err != nil {
		return 0
	}
	return n
}

// split gives the posts that a post takes: what is chosen stands with the last.
func split(p *post) []*post {
	if p.Kind == flow.Card {
		return []*post{p}
	}
	texts := pieces(p.Text, p.room())
	list := make([]*post, len(texts))
	for i, t := range texts {
		if i < len(texts)-1 {
			list[i] = &post{Kind: p.Kind, Text: t, Log: p.Log}
			continue
		}
		last := *p
		last.Text = t
		list[i] = &last
	}
	return list
}

// rowID is a message's opaque id.
func rowID(key string) string {
	h := sha256.Sum256([]byte("milepost post " + key))
	return hex.EncodeToString(h[:12])
}

// sendPost puts one post out, once.
func (s *Slack) sendPost(ctx context.Context, key string, a *aim, p *post) error {
	ts, _, tried, err := s.state.sentAs(ctx, key)
	if err != nil {
		return failed("send", err)
	}
	if ts != "" {
		return nil
	}
	row := rowID(key)
	if tried {
		if ts, err = s.look(ctx, *a, row, key); err != nil {
			return err
		}
		if began := a.began(); ts == "" && a.card && a.root == "" && began != "" {
			below := *a // where only threads are open to us
			below.root = began
			if ts, err = s.look(ctx, below, row, key); err != nil {
				return err
			}
			if ts != "" {
				a.root = began
			}
		}
	} else if err := s.state.trying(ctx, key, row, a.channel); err != nil {
		return failed("send", err)
	}
	if ts == "" {
		hung := a.root != ""
		if ts, err = s.put(ctx, key, row, a, p); err != nil {
			return err
		}
		if hung && a.root == "" {
			a.root = ts // no card to begin anew with: the rest hangs on this
		}
	}
	r := shown{channel: a.channel, ts: ts, thread: a.thread, job: a.job, post: *p}
	keep := a.job != "" && (p.Kind == flow.Card || len(p.Choices) > 0 || p.Form != "")
	if err := s.state.outcome(context.WithoutCancel(ctx), key, r, keep); err != nil {
		return failed("send", err) // it is out; a repeat finds it
	}
	return nil
}

// put posts and says what ts it got. A failure whose outcome is known takes the
// mark of the try away.
func (s *Slack) put(ctx context.Context, key, row string, a *aim, p *post) (ts string, err error) {
	lane := s.paces.of(a.channel)
	if err := lane.enter(ctx, a.job); err != nil {
		return "", errors.Join(failed("send", err), s.untry(ctx, key))
	}
	ts, err = s.call1(ctx, row, a, p)
	lane.leave(wait(err))
	switch {
	case err == nil:
		return ts, nil
	case fateOf(err) == undone:
		return "", errors.Join(failed("send", err), s.untry(ctx, key))
	}
	return "", failed("send", err)
}

// untry notes that a try came to nothing. Without the note a repeat looks for
// the message in vain, and no more.
func (s *Slack) untry(ctx context.Context, key string) error {
	return s.state.untry(context.WithoutCancel(ctx), key)
}

// call1 is chat.postMessage, with what a person may need when Slack won't have
// it as it is: without blocks, and without the thread once its root is deleted.
func (s *Slack) call1(ctx context.Context, row string, a *aim, p *post) (string, error) {
	m := render(p)
	ts, err := s.postMessage(ctx, row, *a, m)
	if is(err, badBody) && m.blocks != nil {
		s.log.Warn("blocks refused, sent as text", "code", code(err))
		m.blocks = nil
		ts, err = s.postMessage(ctx, row, *a, m)
	}
	if began := a.began(); code(err) == threadsOnly && a.root == "" && began != "" {
		a.root = began
		ts, err = s.postMessage(ctx, row, *a, m)
	}
	if is(err, rootless) && a.root != "" {
		if err := s.newRoot(ctx, a); err != nil {
			return "", err
		}
		ts, err = s.postMessage(ctx, row, *a, m)
	}
	return ts, err
}

func (s *Slack) postMessage(ctx context.Context, row string, a aim, m message) (string, error) {
	o := []api.MsgOption{api.MsgOptionText(m.text, false), api.MsgOptionDisableMarkdown(),
		api.MsgOptionDisableLinkUnfurl(), api.MsgOptionDisableMediaUnfurl(), api.MsgOptionMetadata(metadata(row, a))}
	if m.blocks != nil {
		o = append(o, api.MsgOptionBlocks(m.blocks...))
	}
	if a.root != "" {
		o = append(o, api.MsgOptionTS(a.root))
	}
	_, ts, err := s.api.PostMessageContext(ctx, a.channel, o...)
	if err == nil && ts == "" {
		err = errNoAnswer
	}
	return ts, err
}

// metadata is what a post is found again by. A card also says which thread it is
// the root of.
func metadata(row string, a aim) api.SlackMetadata {
	m := api.SlackMetadata{EventType: eventType, EventPayload: map[string]any{"row": row}}
	if a.card {
		m.EventPayload["thread"] = rowID(a.thread)
	}
	return m
}
