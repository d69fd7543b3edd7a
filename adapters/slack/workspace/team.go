package workspace

import (
	"encoding/json"
	"slices"
	"sort"
	"strings"
)

type person struct {
	Person
	id string
}

type channel struct {
	id, name string
	kind     Kind
	archived bool
	shared   bool
	threads  bool     // the app may write in threads only
	members  []string // user ids, in the order they came
	with     string   // the person of a direct channel
	msgs     []*message
	pins     []string
	seen     map[string]bool // home or messages tab opened
}

type message struct {
	ts, thread  string // thread: the root's ts, "" for a message outside a thread
	user        string
	bot         bool // posted by the app
	subtype     string
	text        string // escaped and marked up, as the API gives it
	typed       string // what the person typed
	blocks      json.RawMessage
	past        []json.RawMessage // earlier blocks, the newest first
	attachments json.RawMessage
	metadata    json.RawMessage
	files       []string
	editedTS    string
	clientID    string
	broadcast   bool
	reactions   []reaction
}

type reaction struct {
	name  string
	users []string
}

// eph is a message only one person sees, until a reload.
type eph struct {
	ts, channel, thread, text string
	blocks                    json.RawMessage
}

func (c *channel) has(user string) bool { return slices.Contains(c.members, user) }

func (c *channel) find(ts string) *message {
	i := sort.Search(len(c.msgs), func(i int) bool { return c.msgs[i].ts >= ts })
	if i < len(c.msgs) && c.msgs[i].ts == ts {
		return c.msgs[i]
	}
	return nil
}

func (c *channel) remove(m *message) {
	c.msgs = slices.DeleteFunc(c.msgs, func(x *message) bool { return x == m })
}

func (c *channel) replies(root string) (list []*message) {
	for _, m := range c.msgs {
		if m.thread == root {
			list = append(list, m)
		}
	}
	return list
}

// letter is the kind as the one letter events use.
func (c *channel) letter() string {
	if c.kind == Private || c.kind == Group {
		return "G"
	}
	return c.id[:1]
}

// eventType is the kind as message events name it.
func (c *channel) eventType() string {
	return map[Kind]string{Public: "channel", Private: "group", Direct: "im", Group: "mpim"}[c.kind]
}

// family is the kind as scopes name it.
func (c *channel) family() string {
	return map[Kind]string{Public: "channels", Private: "groups", Direct: "im", Group: "mpim"}[c.kind]
}

// settle makes the channels and people of the options.
func (w *Workspace) settle() {
	w.people[w.botUser] = &person{Person: Person{Name: w.opt.AppName, Real: w.opt.AppName, Bot: true}, id: w.botUser}
	for _, p := range w.opt.People {
		w.addPerson(p)
	}
	for _, c := range w.opt.Channels {
		w.addChannel(c)
	}
}

func (w *Workspace) addPerson(p Person) *person {
	if p.ID == "" {
		p.ID = "U0" + strings.ToUpper(p.Name)
	}
	if p.Real == "" {
		p.Real = p.Name
	}
	w.people[p.ID] = &person{Person: p, id: p.ID}
	return w.people[p.ID]
}

func (w *Workspace) addChannel(c Channel) *channel {
	if c.Kind == "" {
		c.Kind = Public
	}
	if c.ID == "" {
		c.ID = map[Kind]string{Public: "C0", Private: "C0", Group: "C0", Direct: "D0"}[c.Kind] + strings.ToUpper(c.Name)
	}
	n := &channel{id: c.ID, name: c.Name, kind: c.Kind, archived: c.Archived, shared: c.Shared, threads: c.Threads, seen: map[string]bool{}}
	if c.App || c.Kind == Direct {
		n.members = append(n.members, w.botUser)
	}
	for _, name := range c.Members {
		p := w.named(name)
		if p == nil {
			w.t.Fatalf("workspace: channel %s: no person %q", c.Name, name)
		}
		n.members = append(n.members, p.id)
		n.with = p.id
	}
	w.channels[n.id] = n
	return n
}

// AddChannel makes a further channel and gives its id. No event tells of it.
func (w *Workspace) AddChannel(c Channel) string {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.addChannel(c).id
}

// AddPerson adds a person and gives the user id. No event tells of it.
func (w *Workspace) AddPerson(p Person) string {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.addPerson(p).id
}

// named finds a person by handle or id.
func (w *Workspace) named(name string) *person {
	if p := w.people[name]; p != nil {
		return p
	}
	for _, p := range w.people {
		if p.Name == name {
			return p
		}
	}
	return nil
}

// channelOf finds a channel for the test's side: by name, by id, or "@kim" for the app's direct channel with a person.
func (w *Workspace) channelOf(name string) *channel {
	w.t.Helper()
	if c := w.channels[name]; c != nil {
		return c
	}
	if user, ok := strings.CutPrefix(name, "@"); ok {
		return w.direct(w.mustPerson(user).id)
	}
	for _, c := range w.channels {
		if c.name == name && c.name != "" {
			return c
		}
	}
	w.t.Fatalf("workspace: no channel %q", name)
	return nil
}

// Channel gives the id of the channel with that name.
func (w *Workspace) Channel(name string) string {
	w.t.Helper()
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.channelOf(name).id
}

// direct is the app's channel with a person, made when first asked for.
func (w *Workspace) direct(user string) *channel {
	for _, c := range w.channels {
		if c.kind == Direct && c.with == user {
			return c
		}
	}
	return w.addChannel(Channel{ID: "D0" + strings.TrimPrefix(user, "U0"), Kind: Direct, Members: []string{user}})
}

// Direct gives the id of the app's direct channel with a person.
func (w *Workspace) Direct(user string) string {
	w.t.Helper()
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.direct(w.mustPerson(user).id).id
}

func (w *Workspace) mustPerson(name string) *person {
	w.t.Helper()
	p := w.named(name)
	if p == nil {
		w.t.Fatalf("workspace: no person %q", name)
	}
	return p
}

// visible says whether the app may know that the channel exists.
func (w *Workspace) visible(c *channel) bool { return c.kind == Public || c.has(w.botUser) }
