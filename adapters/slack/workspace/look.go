package workspace

import (
	"encoding/json"
	"slices"
	"strings"
	"time"
)

// Message is a message as people see it now.
type Message struct {
	TS, Thread string // Thread is the root's ts; "" outside threads and for a root
	User       string // user id
	App        bool   // posted by the app
	Subtype    string // file_share, tombstone, channel_join, thread_broadcast
	Text       string // as sent: escaped and marked up
	Shown      string // as read: mentions by name, links by label, entities undone
	Blocks     json.RawMessage
	Metadata   json.RawMessage
	Edited     bool
	Files      []string // file ids
	Reactions  map[string][]string
}

// Messages lists a channel's messages outside threads, or with the ts of a root that message and its replies, oldest first.
func (w *Workspace) Messages(channel, thread string) (list []Message) {
	w.t.Helper()
	w.mu.Lock()
	defer w.mu.Unlock()
	c := w.channelOf(channel)
	for _, m := range c.msgs {
		if thread == "" && (m.thread == "" || m.broadcast) || thread != "" && (m.ts == thread || m.thread == thread) {
			list = append(list, w.seen(m))
		}
	}
	return list
}

// Message gives one message, and whether it is still there.
func (w *Workspace) Message(channel, ts string) (Message, bool) {
	w.t.Helper()
	w.mu.Lock()
	defer w.mu.Unlock()
	m := w.channelOf(channel).find(ts)
	if m == nil {
		return Message{}, false
	}
	return w.seen(m), true
}

func (w *Workspace) seen(m *message) Message {
	out := Message{TS: m.ts, Thread: m.thread, User: m.user, App: m.bot, Subtype: m.subtype, Text: m.text, Shown: w.shown(m.text), Blocks: m.blocks,
		Metadata: m.metadata, Edited: m.editedTS != "", Files: slices.Clone(m.files), Reactions: map[string][]string{}}
	for _, r := range m.reactions {
		out.Reactions[r.name] = slices.Clone(r.users)
	}
	return out
}

// Buttons lists the labels of the buttons a message shows.
func (m Message) Buttons() (labels []string) {
	v, _ := parse(m.Blocks)
	l, _ := v.([]any)
	for _, b := range l {
		block, _ := b.(obj)
		for _, e := range elementsOf(block) {
			if label, ok := e["text"].(obj); ok && e["type"] == "button" {
				s, _ := label["text"].(string)
				labels = append(labels, s)
			}
		}
	}
	return labels
}

// View is a modal or a home tab as the person sees it.
type View struct {
	ID, Hash, Callback string
	Content            json.RawMessage
}

func lookAt(v *view) View {
	raw, _ := json.Marshal(v.content)
	callback, _ := v.content["callback_id"].(string)
	return View{ID: v.id, Hash: v.hash, Callback: callback, Content: raw}
}

// Home gives a person's home tab, and whether the app ever published one.
func (w *Workspace) Home(user string) (View, bool) {
	w.t.Helper()
	w.mu.Lock()
	defer w.mu.Unlock()
	v := w.homes[w.mustPerson(user).id]
	if v == nil {
		return View{}, false
	}
	return lookAt(v), true
}

// Views lists a person's open modals, the newest last.
func (w *Workspace) Views(user string) (list []View) {
	w.t.Helper()
	w.mu.Lock()
	defer w.mu.Unlock()
	for _, v := range w.stack(w.mustPerson(user).id) {
		list = append(list, lookAt(v))
	}
	return list
}

// Ephemerals lists what only this person sees.
func (w *Workspace) Ephemerals(user string) (list []Message) {
	w.t.Helper()
	w.mu.Lock()
	defer w.mu.Unlock()
	for _, e := range w.ephem[w.mustPerson(user).id] {
		list = append(list, Message{TS: e.ts, Thread: e.thread, User: w.botUser, App: true, Text: e.text, Shown: w.shown(e.text), Blocks: e.blocks})
	}
	return list
}

// Alerted lists the app's messages (channel/ts) that mention a person and so make a device ring.
func (w *Workspace) Alerted(user string) (list []string) {
	w.t.Helper()
	w.mu.Lock()
	defer w.mu.Unlock()
	id := w.mustPerson(user).id
	for _, c := range w.channels {
		for _, m := range c.msgs {
			marks := strings.Join(take(body{text: m.text, blocks: m.blocks, attachments: m.attachments}).marks, "")
			if m.bot && (strings.Contains(marks, "<@"+id+">") || strings.Contains(marks, "<@"+id+"|")) {
				list = append(list, c.id+"/"+m.ts)
			}
		}
	}
	slices.Sort(list)
	return list
}

// File gives a file's content, and whether it is there.
func (w *Workspace) File(id string) ([]byte, bool) {
	w.mu.Lock()
	defer w.mu.Unlock()
	f := w.files[id]
	if f == nil || f.gone {
		return nil, false
	}
	return slices.Clone(f.content), true
}

// FileName gives a file's name as announced.
func (w *Workspace) FileName(id string) string {
	w.mu.Lock()
	defer w.mu.Unlock()
	if f := w.files[id]; f != nil {
		return f.name
	}
	return ""
}

// Patience is how long is waited for what must come. It is no judgement of speed:
// a machine that tests keep busy can stand still for half a minute.
const Patience = 5 * time.Minute

// Await waits until what is true, and says whether it came to that in time.
func (w *Workspace) Await(within time.Duration, what func() bool) bool {
	for end := time.Now().Add(within); ; time.Sleep(2 * time.Millisecond) {
		if what() {
			return true
		}
		if time.Now().After(end) {
			return what()
		}
	}
}

// AwaitShown waits for a message whose words as read hold the given ones, and gives it. An empty thread means outside threads.
func (w *Workspace) AwaitShown(within time.Duration, channel, thread, words string) (found Message, ok bool) {
	w.t.Helper()
	ok = w.Await(within, func() bool {
		for _, m := range w.Messages(channel, thread) {
			if m.App && strings.Contains(m.Shown, words) {
				found = m
				return true
			}
		}
		return false
	})
	return found, ok
}
