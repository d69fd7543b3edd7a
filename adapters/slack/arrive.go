package slack

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"slices"
	"strings"
	"time"
)

// arrival is what came, as it is stored: the key makes two deliveries the same
// thing, the lane is what it must keep its order in.
type arrival struct {
	key    string
	also   string // a second key: the event's own id
	lane   string
	at     string // Slack's time, for the order within the lane
	user   string
	kind   string // which reader reads it: events_api, interactive, slash_commands
	raw    []byte
	bad    bool   // it could not be read
	soon   bool   // it waits for no older one
	unsure bool   // an older one may well be on its way
	within string // key of a message that says it too, if that is new
	said   bool   // that is so: it is only marked as seen
	rest   bool   // it is known but for some files, and is only these
	sign   string // of a reaction that was put on a post: what its key begins with
	caught bool   // that was read back, as it stands there

	// For what is a message, kept when it has been handled:
	channel string
	root    string // of the thread it was written in, "" for none
	parts   string // what it consists of, see parts
}

// Kinds of deliveries, as Socket Mode names them.
const (
	kindEvent   = "events_api"
	kindPressed = "interactive"
	kindCommand = "slash_commands"
)

// First letters of keys.
const (
	keyMessage = "m:"
	keyEdit    = "e:"
	keyDelete  = "d:"
	keyReact   = "r:"
	keyUnreact = "u:"
	keyGone    = "g:" // a file: its id, and the message where that is known
	keyPress   = "i:"
	keyForm    = "v:"
	keyCommand = "s:"
	keyBad     = "b:"
	keyUnread  = "q:" // a post on which signs are not read back any more
	keyRest    = "+"  // within a key in the inbox: of a message only the files named behind it
	keyEvent   = "x:" // an event's id: nothing is in the inbox under it
)

// badArrival keeps what could not be read: for the operator, not for the flow.
func badArrival(kind string, raw []byte) arrival {
	sum := sha256.Sum256(raw)
	return arrival{key: keyBad + hex.EncodeToString(sum[:16]), kind: kind, raw: raw, bad: true}
}

// eventArrivals are what of an event is stored: nothing for what is not acted on.
func eventArrivals(o inOuter, raw []byte) ([]arrival, error) {
	e, err := o.readEvent()
	if err != nil {
		return nil, err
	}
	a := arrival{kind: kindEvent, raw: raw, user: string(e.User), channel: string(e.Channel), soon: o.Caught}
	if o.EventID != "" {
		a.also = keyEvent + o.EventID
	}
	switch e.Type {
	case typeMessage, typeMention:
		return messageArrivals(a, &e, o)
	case typeReacted, typeUnreacted:
		if _, ok := reactions[e.Reaction]; !ok || e.Item.Type != "message" {
			return nil, nil
		}
		a.channel, a.at = string(e.Item.Channel), e.EventTS
		a.sign = reactionKey(keyReact, &e)
		a.key = a.sign + e.EventTS
		if e.Type == typeUnreacted {
			a.key, a.sign = reactionKey(keyUnreact, &e)+e.EventTS, ""
		}
		a.root, a.lane = e.Item.TS, "" // the lane is that of the post's thread: known to the store
		return []arrival{a}, nil
	case typeFileGone:
		a.key, a.lane = keyGone+e.FileID, "" // it is known to the store where it was sent
		if isTS(e.EventTS) {
			a.at = e.EventTS
		}
		return []arrival{a}, nil
	}
	return nil, nil
}

// reactionKey is the same for all of a person's reactions with one sign to one post.
func reactionKey(prefix string, e *inEvent) string {
	return prefix + string(e.Item.Channel) + ":" + e.Item.TS + ":" + string(e.User) + ":" + e.Reaction + ":"
}

func messageArrivals(a arrival, e *inEvent, o inOuter) ([]arrival, error) {
	switch {
	case e.Type == typeMessage && e.Subtype == subChanged:
		return editArrivals(a, e, o)
	case e.Type == typeMessage && e.Subtype == subDeleted:
		if e.Previous != nil && !byPerson(e.Previous) {
			return nil, nil
		}
		return []arrival{deletion(a, e.Deleted, e.TS, e.Previous)}, nil
	case !slices.Contains(speech, e.Subtype) || !byPerson(&e.inMessage):
		return nil, nil
	}
	return []arrival{spoken(a, &e.inMessage)}, nil
}

// spoken is a message's arrival.
func spoken(a arrival, m *inMessage) arrival {
	a.key, a.at, a.user = keyMessage+a.channel+":"+m.TS, m.TS, string(m.User)
	a.lane, a.root, a.parts = laneOf(a.channel, m.Thread, m.TS, string(m.User)), threadRoot(m), parts(m)
	return a
}

// threadRoot is the root of the thread a message is a reply in, "" for none: the
// root itself has its own ts as thread_ts once somebody has answered.
func threadRoot(m *inMessage) string {
	if m.Thread == m.TS {
		return ""
	}
	return m.Thread
}

// laneOf names what a message must keep its order in: its thread, or what the
// same person writes in the channel beside all threads.
func laneOf(channel, thread, ts, user string) string {
	if thread != "" && thread != ts {
		return channel + "/" + thread
	}
	return channel + "/" + user
}

func deletion(a arrival, ts, at string, was *inMessage) arrival {
	a.key, a.at, a.user = keyDelete+a.channel+":"+ts, at, ""
	a.lane = a.channel + "/"
	if was != nil {
		a.user = string(was.User)
		a.lane = laneOf(a.channel, was.Thread, ts, a.user)
	}
	return a
}

// editArrivals tells edits by a person from the other changes: a preview that was
// added, replies counted, and what became of a deleted root with replies.
func editArrivals(a arrival, e *inEvent, o inOuter) ([]arrival, error) {
	m, was := e.Message, e.Previous
	if m.Subtype == subTombstone {
		if was != nil && !byPerson(was) {
			return nil, nil
		}
		return []arrival{deletion(a, m.TS, e.TS, was)}, nil
	}
	if !byPerson(m) {
		return nil, nil
	}
	list := filesGone(a, m, lostFiles(m, was), e.TS)
	if m.Edited == nil || !isTS(m.Edited.TS) || m.Edited.User != "" && m.Edited.User != m.User {
		return list, nil
	}
	if was != nil && was.Text == m.Text {
		return list, nil
	}
	edit := a
	edit.key, edit.at, edit.user = keyEdit+a.channel+":"+m.TS+":"+m.Edited.TS, m.Edited.TS, string(m.User)
	edit.lane = laneOf(a.channel, m.Thread, m.TS, edit.user)
	if was == nil || !recent(m.TS, m.Edited.TS) || !byPerson(was) {
		return append(list, edit), nil
	}
	// The message itself may be still on its way: then it is taken from here.
	if was.TS == "" {
		was.TS = m.TS
	}
	raw, err := o.rewrap(&inEvent{inMessage: *was, Type: typeMessage, Channel: ident(a.channel), Kind: e.Kind})
	if err != nil {
		return nil, err
	}
	a.raw, a.also, a.soon = raw, "", false
	return append([]arrival{spoken(a, was), edit}, list...), nil
}

// recent says whether a message was not yet an hour old at a time.
func recent(ts, at string) bool {
	t, ok1 := timeOf(ts)
	u, ok2 := timeOf(at)
	return ok1 && ok2 && u.Sub(t) < time.Hour
}

// wrap makes of a message what an event would have brought.
func wrap(team, channel, kind string, m *inMessage) ([]byte, error) {
	return wrapEvent(team, &inEvent{inMessage: *m, Type: typeMessage, Channel: ident(channel), Kind: kind})
}

func wrapEvent(team string, e *inEvent) ([]byte, error) {
	return inOuter{Type: "event_callback", Team: team}.rewrap(e)
}

// rewrap puts an event in the place of another.
func (o inOuter) rewrap(e *inEvent) (raw []byte, err error) {
	o.EventID, o.Challenge, o.Caught = "", "", true
	if o.Event, err = json.Marshal(e); err != nil {
		return nil, err
	}
	return json.Marshal(o)
}

// byPerson says whether a person wrote a message: bots' are dropped, ours among
// them.
func byPerson(m *inMessage) bool {
	return m.User != "" && m.User != "USLACKBOT" && m.BotID == ""
}

// parts lists what a message consists of, each of which is delivered for itself:
// its text, if it has any, and its files.
func parts(m *inMessage) string {
	var list []string
	if m.Text != "" {
		list = append(list, partText)
	}
	for _, f := range m.Files {
		list = append(list, f.ID)
	}
	return strings.Join(list, " ")
}

const partText = "text"

// partDelivery is what a message's part is delivered as; base is the message's.
func partDelivery(base, part string) string {
	switch {
	case part == partText:
		return base
	case !isFile(part):
		return base + "/" + part
	}
	return base + "/f/" + part
}

// pressArrival is what of an interaction is stored; ok is false for what is not
// acted on.
func pressArrival(i inInteraction, raw []byte) (arrival, bool) {
	a := arrival{kind: kindPressed, raw: raw, user: i.User.ID, channel: string(i.Channel), soon: true}
	switch i.Type {
	case "block_actions":
		if len(i.Actions) == 0 || i.channel() == "" {
			return a, false
		}
		act := i.Actions[0]
		if !strings.HasPrefix(act.ID, actionChoose) && act.ID != actionForm {
			return a, false
		}
		a.channel = i.channel()
		a.key = keyPress + a.channel + ":" + i.Container.Message + ":" + a.user + ":" + act.ID + ":" + act.TS + ":" + i.Trigger
		a.lane = a.channel + "/" + i.root()
		a.at = act.TS
	case "view_submission":
		// Whoever sees an error sends the form again, with another trigger: it is the
		// opened view that counts once.
		if i.View == nil || i.View.ID == "" {
			return a, false
		}
		a.key, a.lane, a.at = keyForm+i.View.ID, "form/"+a.user, ""
	case "message_action", "shortcut":
		a.key, a.lane, a.at = keyCommand+i.Trigger, a.channel+"/"+a.user, i.ActionTS
	default:
		return a, false
	}
	return a, true
}

// channel is where something was pressed, "" outside any.
func (i *inInteraction) channel() string {
	if i.Container.Channel != "" {
		return i.Container.Channel
	}
	return string(i.Channel)
}

// root is the thread's root of what was pressed: the post itself, where it is one.
func (i *inInteraction) root() string {
	switch {
	case i.Container.Thread != "":
		return i.Container.Thread
	case i.Message != nil && i.Message.Thread != "":
		return i.Message.Thread
	}
	return i.Container.Message
}

func commandArrival(c inCommand, raw []byte) arrival {
	return arrival{key: keyCommand + c.Trigger, kind: kindCommand, raw: raw, lane: c.Channel + "/" + c.User, user: c.User, channel: c.Channel, soon: true}
}
