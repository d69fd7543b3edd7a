package workspace

import (
	"encoding/json"
	"mime"
	"path"
	"regexp"
	"slices"
	"sort"
	"strings"
	"time"
)

// User is a person at work in the workspace: what they do here, the app hears of.
type User struct {
	w  *Workspace
	id string
}

// User gives the person with that handle or id.
func (w *Workspace) User(name string) *User {
	w.t.Helper()
	w.mu.Lock()
	defer w.mu.Unlock()
	return &User{w, w.mustPerson(name).id}
}

// ID is the user id.
func (u *User) ID() string { return u.id }

// Say writes a message in a channel (name, id or "@kim" for the direct channel with kim) and gives its ts. Typed @name, #channel, @channel, addresses and mail addresses become
// what Slack's client makes of them; all other text arrives escaped.
func (u *User) Say(channel, typed string) string { return u.SayInThread(channel, "", typed) }

// SayInThread writes below the message thread.
func (u *User) SayInThread(channel, thread, typed string) string {
	u.w.t.Helper()
	u.w.mu.Lock()
	defer u.w.mu.Unlock()
	c, m := u.write(channel, thread, typed)
	if m != nil {
		u.w.fresh(c, m)
		u.w.preview(c, m)
	}
	return tsOf(m)
}

// SayLate writes below the message thread what the app hears of so long after it was written: its ts is of then.
func (u *User) SayLate(channel, thread, typed string, ago time.Duration) string {
	u.w.t.Helper()
	u.w.mu.Lock()
	defer u.w.mu.Unlock()
	c, m := u.write(channel, thread, typed)
	if m == nil {
		return ""
	}
	c.remove(m)
	us := time.Now().Add(-ago).UnixMicro()
	for m.ts = stamp(us); c.find(m.ts) != nil; m.ts = stamp(us) {
		us++
	}
	i := sort.Search(len(c.msgs), func(i int) bool { return c.msgs[i].ts >= m.ts })
	c.msgs = slices.Insert(c.msgs, i, m)
	u.w.fresh(c, m)
	return m.ts
}

// SayInBoth writes below the message thread and has it shown in the channel too.
func (u *User) SayInBoth(channel, thread, typed string) string {
	u.w.t.Helper()
	u.w.mu.Lock()
	defer u.w.mu.Unlock()
	c, m := u.write(channel, thread, typed)
	if m != nil {
		m.broadcast, m.subtype = true, "thread_broadcast"
		u.w.fresh(c, m)
	}
	return tsOf(m)
}

func tsOf(m *message) string {
	if m == nil {
		return ""
	}
	return m.ts
}

// write adds a message of the person; nil if they may not write there.
func (u *User) write(channel, thread, typed string) (*channel, *message) {
	w := u.w
	w.t.Helper()
	c := w.channelOf(channel)
	if !c.has(u.id) || c.archived {
		w.t.Errorf("workspace: %s can't write in %s", u.id, channel)
		return c, nil
	}
	if thread != "" {
		if root := c.find(thread); root == nil || root.thread != "" {
			w.t.Errorf("workspace: no thread %s in %s", thread, channel)
			return c, nil
		}
	}
	text, blocks := w.markup(typed)
	w.bring(typed, text)
	m := &message{ts: w.ts(), thread: thread, user: u.id, typed: typed, text: text, blocks: blocks, clientID: w.id("m")}
	c.msgs = append(c.msgs, m)
	return c, m
}

var webLink = regexp.MustCompile(`<(https?://[^|>]+)`)

// preview adds Slack's preview of a link a moment later: message_changed that nobody wrote.
func (w *Workspace) preview(c *channel, m *message) {
	link := webLink.FindStringSubmatch(m.text)
	if link == nil || w.opt.NoPreviews {
		return
	}
	w.after(30*time.Millisecond, func() {
		if c.find(m.ts) != m || m.subtype == "tombstone" || !strings.Contains(m.text, link[0]) {
			return
		}
		previous := w.render(c, m, false)
		m.attachments, _ = json.Marshal([]obj{{"from_url": link[1], "original_url": link[1], "title": "A page", "fallback": "A page", "id": 1}})
		w.changed(c, m, previous)
	})
}

// theirs finds a message of the person's own.
func (u *User) theirs(channel, ts string) (*channel, *message) {
	u.w.t.Helper()
	c := u.w.channelOf(channel)
	m := c.find(ts)
	if m == nil || m.user != u.id || m.subtype == "tombstone" {
		u.w.t.Errorf("workspace: %s has no message %s in %s", u.id, ts, channel)
		return c, nil
	}
	return c, m
}

// Edit changes a message of their own.
func (u *User) Edit(channel, ts, typed string) {
	u.w.t.Helper()
	u.w.mu.Lock()
	defer u.w.mu.Unlock()
	c, m := u.theirs(channel, ts)
	if m == nil {
		return
	}
	previous := u.w.render(c, m, false)
	m.typed = typed
	m.text, m.blocks = u.w.markup(typed)
	u.w.bring(typed, m.text)
	m.attachments, m.editedTS = nil, u.w.ts()
	u.w.changed(c, m, previous)
}

// Delete takes a message of their own away.
func (u *User) Delete(channel, ts string) {
	u.w.t.Helper()
	u.w.mu.Lock()
	defer u.w.mu.Unlock()
	if c, m := u.theirs(channel, ts); m != nil {
		u.w.erase(c, m)
	}
}

// DeleteAny takes any message away, as an administrator may, the app's too.
func (u *User) DeleteAny(channel, ts string) {
	u.w.t.Helper()
	u.w.mu.Lock()
	defer u.w.mu.Unlock()
	c := u.w.channelOf(channel)
	if m := c.find(ts); m != nil {
		u.w.erase(c, m)
	}
}

// React puts a reaction (an emoji's name) on a message.
func (u *User) React(channel, ts, name string) { u.reaction(channel, ts, name, u.w.react) }

// Unreact takes a reaction back.
func (u *User) Unreact(channel, ts, name string) { u.reaction(channel, ts, name, u.w.unreact) }

func (u *User) reaction(channel, ts, name string, do func(*channel, *message, string, string) bool) {
	u.w.t.Helper()
	u.w.mu.Lock()
	defer u.w.mu.Unlock()
	c := u.w.channelOf(channel)
	if m := c.find(ts); m == nil || !c.has(u.id) || !do(c, m, u.id, name) {
		u.w.t.Errorf("workspace: %s can't change reaction %s on %s", u.id, name, ts)
	}
}

// Upload is a file a person sends.
type Upload struct {
	Name      string
	Title     string // Name if empty
	Type      string // from the name if empty
	Content   []byte
	Size      int64 // announced; the true length if 0
	CheckInfo bool  // the event leaves the details out: file_access check_file_info
	External  bool  // kept elsewhere: mode external, no download
}

// Upload sends files with words (may be empty) and gives the message's ts and the file ids.
func (u *User) Upload(channel, thread, typed string, files ...Upload) (string, []string) {
	u.w.t.Helper()
	u.w.mu.Lock()
	defer u.w.mu.Unlock()
	w := u.w
	c, m := u.write(channel, thread, typed)
	if m == nil {
		return "", nil
	}
	var ids []string
	for _, x := range files {
		f := &file{id: w.id("F"), name: x.Name, title: x.Title, kind: x.Type, user: u.id, content: x.Content, size: x.Size, created: time.Now(),
			uploaded: true, completed: true, checkInfo: x.CheckInfo, external: x.External}
		if f.title == "" {
			f.title = f.name
		}
		if f.size == 0 {
			f.size = int64(len(x.Content))
		}
		if f.kind == "" {
			if f.kind = mime.TypeByExtension(path.Ext(x.Name)); f.kind == "" {
				f.kind = "application/octet-stream"
			}
		}
		w.files[f.id] = f
		ids = append(ids, f.id)
	}
	for _, x := range files {
		w.bring(x.Name+"\n"+x.Title, "")
	}
	w.share(c, m, ids)
	return m.ts, ids
}

// DeleteFile takes a file away: what is left of it has mode tombstone.
func (u *User) DeleteFile(id string) {
	u.w.mu.Lock()
	defer u.w.mu.Unlock()
	f := u.w.files[id]
	if f == nil {
		u.w.t.Errorf("workspace: no file %s", id)
		return
	}
	var changed []func()
	for _, s := range f.shares {
		c := u.w.channels[s.channel]
		if m := c.find(s.ts); m != nil {
			previous := u.w.render(c, m, false)
			changed = append(changed, func() { u.w.changed(c, m, previous) })
		}
	}
	seen := u.w.mayRead(f)
	f.gone, f.content = true, nil
	if seen {
		u.w.emit("file_deleted", "files:read", obj{"type": "file_deleted", "file_id": id, "event_ts": u.w.ts()})
	}
	for _, tell := range changed {
		tell()
	}
}
