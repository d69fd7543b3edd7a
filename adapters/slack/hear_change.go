package slack

import (
	"context"
	"strconv"
	"strings"
	"time"

	"milepost/bot"
	"milepost/flow"
)

// deleted is a message that is gone, with all its parts.
func (h *hearing) deleted(ctx context.Context, r *row, e *inEvent) ([]bot.Inbound, error) {
	channel, ts := string(e.Channel), e.Deleted
	if e.Subtype == subChanged {
		ts = e.Message.TS // what is left of a thread's root
	}
	user, list, err := h.st.author(ctx, keyMessage+channel+":"+ts)
	if err != nil {
		return nil, unavailable("find deleted message", err)
	}
	in, team := bot.Inbound{Loose: true}, ""
	if e.Previous != nil {
		user, list, team = string(e.Previous.User), parts(e.Previous)+editParts(list), teamOf(e.Previous)
	}
	if user == "" {
		return nil, nil
	}
	if ok, err := h.from(ctx, &in, channel, user, team); err != nil || !ok {
		return nil, err
	}
	base := h.base(channel, ts)
	in.Thread = threadName(h.s.me.Team, channel, ts)
	in.SentAt, _ = timeOf(r.at)
	var gone []bot.Inbound
	for part := range strings.FieldsSeq(list) {
		one := in
		one.Delete = partDelivery(base, part)
		one.Delivery = one.Delete + "/d"
		gone = append(gone, one)
	}
	return gone, nil
}

// reactions are the signs that choose, by the number of the choice they mean; 0
// and below are worked out.
var reactions = map[string]int{"one": 1, "two": 2, "three": 3, "four": 4, "five": 5, "six": 6, "seven": 7, "eight": 8, "nine": 9,
	"white_check_mark": signYes, "x": signNo}

const (
	signYes = 0
	signNo  = -1
)

// chosen is the choice a sign means: a tick is yes, or what is likely; a cross is
// no, or the other one of two.
// Where a number is an answer of its own the signs of numbers mean nothing.
func chosen(choices []flow.Choice, bare bool, sign string) (flow.Choice, bool) {
	n, ok := reactions[sign]
	if !ok || len(choices) == 0 || bare && n > signYes {
		return flow.Choice{}, false
	}
	for _, c := range choices {
		if n == signYes && strings.HasSuffix(c.Send, ".yes") || n == signNo && strings.HasSuffix(c.Send, ".no") {
			return c, true
		}
	}
	switch {
	case n == signYes:
		n = 1
	case n == signNo && len(choices) == 2:
		n = 2
	}
	if n < 1 || n > len(choices) {
		return flow.Choice{}, false
	}
	return choices[n-1], true
}

// reacted is a sign put on a post of ours: one of its choices.
func (h *hearing) reacted(ctx context.Context, r *row, e *inEvent) ([]bot.Inbound, error) {
	channel := string(e.Item.Channel)
	p, ok, err := h.st.shownAt(ctx, channel, e.Item.TS)
	if err != nil {
		return nil, unavailable("find post", err)
	}
	if !ok {
		return nil, nil // on somebody else's words
	}
	c, ok := chosen(p.post.Choices, p.post.Bare, e.Reaction)
	if !ok {
		return nil, nil
	}
	in := bot.Inbound{Thread: bot.Thread(p.thread), Job: p.job, Tap: c.Send, Delivery: h.s.me.Team + "/" + r.key}
	if ok, err := h.from(ctx, &in, channel, string(e.User), ""); err != nil || !ok {
		return nil, err
	}
	if err := h.st.tapped(ctx, channel, e.Item.TS, pick{User: string(e.User), Name: in.Name, Send: c.Send, Delivery: in.Delivery}); err != nil {
		return nil, unavailable("note a choice", err)
	}
	in.SentAt, _ = timeOf(e.EventTS)
	return []bot.Inbound{in}, nil
}

// unreacted is a sign that was taken back.
func (h *hearing) unreacted(ctx context.Context, r *row, e *inEvent) ([]bot.Inbound, error) {
	channel := string(e.Item.Channel)
	key, err := h.st.lastKey(ctx, reactionKey(keyReact, e), r.at)
	if err != nil {
		return nil, unavailable("find reaction", err)
	}
	thread, err := h.st.threadOfPost(ctx, channel, e.Item.TS)
	if err != nil {
		return nil, unavailable("find post", err)
	}
	if key == "" || thread == "" {
		return nil, nil
	}
	in := bot.Inbound{Thread: bot.Thread(thread), Delete: h.s.me.Team + "/" + key, Delivery: h.s.me.Team + "/" + r.key}
	if ok, err := h.from(ctx, &in, channel, string(e.User), ""); err != nil || !ok {
		return nil, err
	}
	in.SentAt, _ = timeOf(e.EventTS)
	return []bot.Inbound{in}, nil
}

// pressed is a button of ours, or a shortcut.
func (h *hearing) pressed(ctx context.Context, r *row, i *inInteraction) ([]bot.Inbound, error) {
	switch i.Type {
	case "message_action", "shortcut":
		g := given{channel: string(i.Channel), user: i.User.ID, team: i.User.Team, answer: i.Answer}
		if i.Message != nil && byPerson(i.Message) {
			g.message = i.Message.Text
		}
		return h.begin(ctx, r, g)
	case "block_actions":
		return h.tapped(ctx, r, i)
	case "view_submission":
		return h.filledIn(ctx, r, i)
	}
	return nil, nil
}

// filledIn is a form that was sent: what would have been typed.
func (h *hearing) filledIn(ctx context.Context, r *row, i *inInteraction) ([]bot.Inbound, error) {
	sub, m, err := readForm(r.raw)
	if err != nil {
		return nil, invalid(err)
	}
	in := bot.Inbound{Thread: sub.Thread, Job: sub.Job, SentAt: r.came}
	if ok, err := h.from(ctx, &in, m.Channel, i.User.ID, i.User.Team); err != nil || !ok {
		return nil, err
	}
	var list []bot.Inbound
	for n, text := range sub.Texts {
		one := in
		one.Text, one.Delivery = text, h.s.me.Team+"/"+r.key+"/"+strconv.Itoa(n+1)
		list = append(list, one)
	}
	return list, nil
}

// given is a command or a shortcut.
type given struct {
	channel, user, team, text string
	message                   string // of a shortcut: the words of the message it was used on
	answer                    string // address for an answer, "" none
}

// begin is a command of Slack or a shortcut: a job is to begin, with what was typed
// or what the message says. Where we may not
// speak it begins in the person's direct messages. It is always answered, if only
// to say that there is no way to go on.
func (h *hearing) begin(ctx context.Context, r *row, g given) ([]bot.Inbound, error) {
	in := bot.Inbound{Loose: true, Called: true, Alone: true, Delivery: h.s.me.Team + "/" + r.key, SentAt: r.came}
	if ok, err := h.from(ctx, &in, g.channel, g.user, g.team); err != nil || !ok {
		return nil, err
	}
	answer := aloneAt{url: g.answer, user: g.user, until: r.came.Add(aloneFor)}
	if !h.s.isAnswerURL(g.answer) {
		answer.until = time.Time{}
	}
	at, err := h.speakable(ctx, g.channel, g.user)
	if err != nil {
		return nil, err
	}
	if at == "" {
		if time.Now().Before(answer.until) {
			h.s.sayAlone(ctx, g.answer, sayNoWay)
		}
		return nil, nil
	}
	text, _ := readable(or(g.text, g.message), h.s.me.User, func(user, label string) string { return h.s.called(ctx, user, label) })
	in.Text = beginText(text)
	if g.message != "" {
		in.Text = beginWith(text)
	}
	in.Thread = threadName(h.s.me.Team, at, commandTS(freshTS(r)))
	if time.Now().Before(answer.until) {
		h.s.alone.put(in.Thread, answer)
	}
	return []bot.Inbound{in}, nil
}

// freshTS is a time for a thread that no message began: the same whenever the row
// is handled, and no other row's.
func freshTS(r *row) string { return tsOf(r.came.Add(time.Duration(r.n%1000) * time.Microsecond)) }

// speakable gives the channel if we may write in it, else the direct messages
// with the user; "" if there are none either.
func (h *hearing) speakable(ctx context.Context, channel, user string) (string, error) {
	if channel != "" {
		c, err := h.s.channel(ctx, channel)
		if err != nil {
			return "", err
		}
		if c.member && !c.group {
			return channel, nil
		}
	}
	d, err := h.s.openDirect(ctx, user)
	if err != nil {
		h.s.log.Warn("no way to answer a command", "channel", channel, "code", code(err))
		return "", later("open direct messages", err)
	}
	return d, nil
}

// plainWords are what a command may go on with that is no vehicle.
var plainWords = []string{"new", "start", "open", "begin", "next", "another", "newjob", "job", "jobs", "board", "watch", "policy", "policies",
	"help", "?", "where", "status", "why", "guest", "invite"}

// beginText is what a command says to the core: what a job begins with, unless it
// is a word that asks for something else.
func beginText(text string) string {
	word, _, _ := strings.Cut(strings.ToLower(text), " ")
	if word == "" {
		return "new job"
	}
	for _, w := range plainWords {
		if w == word {
			return text
		}
	}
	return "new job " + text
}

// beginWith makes a message the first words of a job, whatever else they could mean.
func beginWith(text string) string {
	const begins = "new job"
	if text = strings.TrimSpace(text); len(text) >= len(begins) && strings.EqualFold(text[:len(begins)], begins) {
		return text
	}
	return strings.TrimSpace(begins + " " + text)
}
