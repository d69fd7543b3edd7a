package slack

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"milepost/bot"
)

// hearing makes of stored arrivals what the core is told.
type hearing struct {
	s    *Slack
	st   *state
	hear Hearer
	ears *ears
}

// row hears one row of the inbox. What is told more than once is one message for
// the core: each part has its delivery.
func (h *hearing) row(ctx context.Context, r row) error {
	if strings.HasPrefix(r.key, keyMessage) {
		if err := h.ears.before(ctx, &r); err != nil {
			return err
		}
	}
	list, err := h.mean(ctx, &r)
	if err != nil {
		return err
	}
	for _, in := range list {
		if err := h.hear.Handle(ctx, in); err != nil {
			return err
		}
	}
	return nil
}

// mean says what a row means: nothing, one thing, or a message's parts.
func (h *hearing) mean(ctx context.Context, r *row) ([]bot.Inbound, error) {
	switch r.kind {
	case kindEvent:
		o, err := readOuter(r.raw)
		if err != nil {
			return nil, invalid(err)
		}
		if !o.isOf(h.s.me.Team) {
			h.s.foreign(r.kind, o.Team)
			return nil, nil
		}
		e, err := o.readEvent()
		if err != nil {
			return nil, invalid(err)
		}
		switch {
		case e.Type == typeReacted:
			return h.reacted(ctx, r, &e)
		case e.Type == typeUnreacted:
			return h.unreacted(ctx, r, &e)
		case strings.HasPrefix(r.key, keyGone):
			return h.fileGone(ctx, r, &e)
		case strings.HasPrefix(r.key, keyEdit):
			return h.edited(ctx, r, &e)
		case strings.HasPrefix(r.key, keyDelete):
			return h.deleted(ctx, r, &e)
		}
		return h.said(ctx, r, &e)
	case kindPressed:
		i, err := readInteraction(r.raw)
		if err != nil {
			return nil, invalid(err)
		}
		if ours, err := h.s.isOurs(ctx, &i); err != nil || !ours {
			if err == nil {
				h.s.foreign(r.kind, i.Team.ID)
			}
			return nil, err
		}
		return h.pressed(ctx, r, &i)
	case kindCommand:
		c, err := readCommand(r.raw)
		if err != nil {
			return nil, invalid(err)
		}
		if c.Team != "" && c.Team != h.s.me.Team {
			h.s.foreign(r.kind, c.Team)
			return nil, nil
		}
		return h.begin(ctx, r, given{channel: c.Channel, user: c.User, text: c.Text, answer: c.Answer})
	}
	return nil, invalid(errors.New("a kind that is not known"))
}

func invalid(err error) error { return &bot.Error{Kind: bot.Invalid, Err: err} }

func unavailable(op string, err error) error {
	return &bot.Error{Kind: bot.Unavailable, Err: fmt.Errorf("%s: %w", op, err)}
}

// base is what a message is delivered as.
func (h *hearing) base(channel, ts string) string {
	return h.s.me.Team + "/" + channel + "/" + ts
}

// from fills in who it is; ok is false for bots.
func (h *hearing) from(ctx context.Context, in *bot.Inbound, channel, user, team string) (ok bool, err error) {
	if user == h.s.me.User {
		return false, nil
	}
	p, err := h.s.person(ctx, user, team)
	if err != nil || p.Bot {
		return false, err
	}
	in.Network, in.From, in.Name = NetworkName, Identity(p.Team, user), p.Name
	if p.Guest {
		return true, nil
	}
	room, err := h.s.room(ctx, channel, user)
	if err == nil && room != "" {
		in.Room = h.s.me.Team + "/" + room
	}
	return err == nil, err
}

// teamOf is the workspace a message says its author is of, "" if it does not.
func teamOf(m *inMessage) string {
	if m.UserTeam != "" {
		return m.UserTeam
	}
	return m.SourceTeam
}

// said is a message of a person.
func (h *hearing) said(ctx context.Context, r *row, e *inEvent) ([]bot.Inbound, error) {
	m, channel := &e.inMessage, string(e.Channel)
	if yes, err := h.groupTalk(ctx, e); err != nil || yes {
		return nil, err
	}
	in := bot.Inbound{}
	if ok, err := h.from(ctx, &in, channel, string(m.User), teamOf(m)); err != nil || !ok {
		return nil, err
	}
	text, mentioned := readable(m.Text, h.s.me.User, func(user, label string) string { return h.s.called(ctx, user, label) })
	in.Direct = isDirect(e)
	in.Called = mentioned || in.Direct
	where, err := h.where(ctx, r, channel, m)
	if err != nil || where.foreign && !in.Called {
		return nil, err
	}
	in.Thread, in.Loose, in.Job = where.thread, where.loose, where.job
	in.SentAt, _ = timeOf(m.TS)
	in.Begins = threadName(h.s.me.Team, channel, m.TS)
	if in.Loose && in.Called {
		if err := h.st.calledBy(ctx, keyMessage+channel+":"+m.TS); err != nil {
			return nil, unavailable("note a call", err)
		}
	}
	base := h.base(channel, m.TS)
	var list []bot.Inbound
	for _, f := range m.Files {
		if !r.holds(f.ID) {
			continue
		}
		one := in
		one.Delivery, one.File = partDelivery(base, f.ID), h.s.attachment(ctx, f)
		list = append(list, one)
	}
	if r.holds(partText) && (m.Text != "" || len(m.Files) == 0) {
		in.Delivery, in.Text = base, text
		if err := h.st.typed(ctx, string(in.Thread), text, pick{User: string(m.User), Name: in.Name, Delivery: in.Delivery}); err != nil {
			return nil, unavailable("note an answer", err)
		}
		if in.Loose && in.Job == "" {
			return append([]bot.Inbound{in}, list...), nil // the words may begin the job that the files are for
		}
		list = append(list, in)
	}
	return list, nil
}

func isDirect(e *inEvent) bool {
	return e.Kind == "im" || e.Kind == "" && strings.HasPrefix(string(e.Channel), "D")
}

// where is the place of a message.
type where struct {
	thread  bot.Thread
	loose   bool
	foreign bool // in a thread that is none of ours
	job     string
}

// where finds the thread of ours that a message was written in, by the post it
// hangs on.
func (h *hearing) where(ctx context.Context, r *row, channel string, m *inMessage) (where, error) {
	team, root := h.s.me.Team, threadRoot(m)
	if root == "" {
		return where{thread: threadName(team, channel, m.TS), loose: true}, nil
	}
	w, ok, err := h.hangsOn(ctx, channel, root)
	if err != nil || ok {
		return w, err
	}
	if m.Parent == h.s.me.User {
		// A post of ours that is not noted (yet): its sender may just be doing so.
		if time.Since(r.came) < rootIn {
			return where{}, unavailable("find thread", errors.New("what the message hangs on is not known yet"))
		}
		if w, ok, err := h.lookFor(ctx, channel, root); err != nil || ok {
			return w, err
		}
	}
	// A job that begins here has its card in the channel: it can't hang on a reply.
	return where{thread: threadName(team, channel, commandTS(m.TS)), loose: true, foreign: true}, nil
}

// rootIn is how long a reply waits for the post it hangs on to be noted.
const rootIn = 3 * time.Second

// hangsOn finds what is known of a post: a job's card, a message that began one,
// or something else we said.
func (h *hearing) hangsOn(ctx context.Context, channel, root string) (where, bool, error) {
	name := threadName(h.s.me.Team, channel, root)
	thread, err := h.st.threadOf(ctx, channel, root)
	if err != nil {
		return where{}, false, unavailable("find thread", err)
	}
	if thread != "" {
		return where{thread: bot.Thread(thread)}, true, nil
	}
	begun, err := h.st.begun(ctx, string(name), keyMessage+channel+":"+root)
	if err != nil {
		return where{}, false, unavailable("find thread", err)
	}
	if begun {
		return where{thread: name}, true, nil
	}
	p, ok, err := h.st.shownAt(ctx, channel, root)
	if err != nil {
		return where{}, false, unavailable("find thread", err)
	}
	if ok && p.job != "" { // an alert, say: answers to it are meant for its job
		return where{thread: name, loose: true, job: p.job}, true, nil
	}
	return where{}, false, nil
}

// lookFor finds the thread of a card whose note was lost: by its metadata, among
// the messages before it, one of which began the job.
func (h *hearing) lookFor(ctx context.Context, channel, root string) (where, bool, error) {
	list, _, err := h.s.posts(ctx, channel, root, nil)
	if err != nil {
		return where{}, false, later("find thread", err)
	}
	var id any
	for i := range list {
		if m := &list[i]; m.TS == root && m.Mark.Type == eventType {
			id = m.Mark.Payload["thread"]
		}
	}
	if id == nil {
		return where{}, false, nil
	}
	begun, _ := timeOf(root)
	before, _, err := h.s.posts(ctx, channel, "", args("latest", root, "oldest", tsOf(begun.Add(-time.Hour))))
	if err != nil {
		return where{}, false, later("find thread", err)
	}
	for i := range before {
		name := threadName(h.s.me.Team, channel, before[i].TS)
		if rowID(string(name)) == id {
			if err := h.st.setRoot(ctx, string(name), channel, root, ""); err != nil {
				return where{}, false, unavailable("keep thread", err)
			}
			return where{thread: name}, true, nil
		}
	}
	return where{}, false, nil
}

// later judges a failed call on the way in: what can't be had now is tried again,
// what is refused is not there.
func later(op string, err error) error {
	if refusedFor(err) {
		return nil
	}
	return &bot.Error{Kind: bot.Unavailable, Err: fmt.Errorf("%s: %s", op, plainly(err))}
}

// groupTalk says whether a message is from a direct message of several people,
// which is not served. Who calls us there is told so, once.
func (h *hearing) groupTalk(ctx context.Context, e *inEvent) (bool, error) {
	channel := string(e.Channel)
	switch e.Kind {
	case "mpim":
	case "channel", "group", "im":
		return false, nil
	default:
		if e.Type != typeMention && strings.HasPrefix(channel, "D") {
			return false, nil
		}
		c, err := h.s.channel(ctx, channel)
		if err != nil || !c.group {
			return false, err
		}
	}
	if e.Type != typeMention && !strings.Contains(e.Text, "<@"+h.s.me.User) {
		return true, nil
	}
	return true, h.notServed(ctx, channel)
}

// commandTS is the last part of the name of a thread that no message of its own
// began: like a ts, and none.
func commandTS(ts string) string { return "c" + ts }
