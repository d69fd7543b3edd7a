package workspace

import (
	"encoding/json"
	"io"
	"net/http"
	"net/url"
	"strings"
	"time"
)

// replyURL is a response_url: five uses in thirty minutes (docs.slack.dev, Handling user interaction).
type replyURL struct {
	user, channel string
	message, eph  string // ts of what the interaction came from
	until         time.Time
	uses          int
}

func (w *Workspace) newReply(r replyURL) string {
	id := w.id("R")
	r.until = time.Now().Add(w.opt.ReplyLife)
	w.reply[id] = &r
	return "http://" + w.addr + "/respond/" + w.opt.Team + "/" + id + "/" + hash(w.key+id)
}

func (w *Workspace) serveRespond(rw http.ResponseWriter, r *http.Request) {
	parts := strings.Split(strings.TrimPrefix(r.URL.Path, "/respond/"), "/")
	raw, err := io.ReadAll(io.LimitReader(r.Body, 1<<20))
	w.mu.Lock()
	f := w.takeFault("response_url", url.Values{"body": {string(raw)}})
	w.mu.Unlock()
	c := &call{method: "response_url", args: url.Values{}}
	entry := Call{Method: c.method, At: time.Now(), Args: url.Values{"body": {string(raw)}}}
	defer func() {
		w.mu.Lock()
		w.calls = append(w.calls, entry)
		w.mu.Unlock()
	}()
	if f != nil && f.Delay > 0 && !w.sleep(f.Delay) {
		return
	}
	if f != nil && !f.After && w.disturbed(rw, c, f, &entry) {
		return
	}
	status, words := w.answerRespond(parts, raw, err)
	if status != http.StatusOK {
		entry.Error = words
	}
	if f != nil && f.After && w.disturbed(rw, c, f, &entry) {
		return
	}
	rw.WriteHeader(status)
	io.WriteString(rw, words)
}

func (w *Workspace) answerRespond(parts []string, raw []byte, err error) (int, string) {
	w.mu.Lock()
	defer w.mu.Unlock()
	status, words := http.StatusNotFound, "no_such_url"
	if len(parts) == 3 && parts[2] == hash(w.key+parts[1]) && err == nil {
		status, words = w.respond(w.reply[parts[1]], raw)
	}
	return status, words
}

func (w *Workspace) respond(u *replyURL, raw []byte) (int, string) {
	switch {
	case u == nil:
		return http.StatusNotFound, "no_such_url"
	case time.Now().After(u.until):
		w.broke("response_url used after its %v", w.opt.ReplyLife)
		return http.StatusNotFound, "expired_url"
	case u.uses >= 5:
		w.broke("response_url used more than five times")
		return http.StatusNotFound, "used_url"
	}
	v, err := parse(raw)
	o, ok := v.(obj)
	if err != nil || !ok {
		w.broke("response_url: no JSON object")
		return http.StatusBadRequest, "invalid_payload"
	}
	u.uses++
	ch := w.channels[u.channel]
	if o["delete_original"] == true {
		w.replaceOriginal(u, ch, nil)
		return http.StatusOK, "ok"
	}
	m := bodyOf(o)
	c := newChecker("message")
	c.message(m)
	for _, f := range c.faults {
		w.broke("response_url: %s", f)
	}
	w.judge("response_url", m)
	if bad := code(c.faults); bad != "" && bad != "no_text" {
		return http.StatusBadRequest, bad
	}
	switch {
	case o["replace_original"] == true:
		w.replaceOriginal(u, ch, &m)
	case o["response_type"] == "in_channel":
		thread, _ := o["thread_ts"].(string)
		w.fresh(ch, w.say(ch, thread, m))
	default:
		thread, _ := o["thread_ts"].(string)
		w.ephem[u.user] = append(w.ephem[u.user], &eph{ts: w.ts(), channel: u.channel, thread: thread, text: m.text, blocks: m.blocks})
	}
	return http.StatusOK, "ok"
}

// replaceOriginal changes or deletes the message an interaction came from. nil deletes.
func (w *Workspace) replaceOriginal(u *replyURL, ch *channel, m *body) {
	for i, e := range w.ephem[u.user] {
		if e.ts != u.eph || u.eph == "" {
			continue
		}
		if m == nil {
			w.ephem[u.user] = append(w.ephem[u.user][:i:i], w.ephem[u.user][i+1:]...)
		} else {
			e.text, e.blocks = m.text, m.blocks
		}
		return
	}
	old := ch.find(u.message)
	switch {
	case old == nil || !old.bot:
	case m == nil:
		w.erase(ch, old)
	default:
		previous := w.render(ch, old, false)
		old.past = append([]json.RawMessage{old.blocks}, old.past...)
		old.text, old.blocks, old.editedTS = m.text, w.withIDs(m.blocks), w.ts()
		w.changed(ch, old, previous)
	}
}

// commandReply takes the body of a slash command's acknowledgement as the message it is.
func (w *Workspace) commandReply(user string, ch *channel, raw json.RawMessage) {
	if len(strings.TrimSpace(string(raw))) == 0 || string(raw) == "null" || string(raw) == "{}" {
		return
	}
	v, err := parse(raw)
	o, ok := v.(obj)
	if err != nil || !ok { // over HTTP plain words are a message too
		o = obj{"text": string(raw)}
	}
	b, _ := json.Marshal(o)
	w.respond(&replyURL{user: user, channel: ch.id, until: time.Now().Add(time.Hour)}, b)
}
