package slack

import (
	"encoding/json"
	"errors"
	"fmt"
	"net/url"
	"strings"
	"unicode/utf8"
)

// What Slack sends, read tolerantly: of each payload only what is used here, so
// that a block of a new sort makes no message unreadable. The library's own
// reader gives up a whole event for it.

// ident is an identifier, which some events give as an object with an id.
type ident string

// UnmarshalJSON takes a string, an object with an id, or null.
func (i *ident) UnmarshalJSON(b []byte) error {
	var s string
	if err := json.Unmarshal(b, &s); err == nil {
		*i = ident(s)
		return nil
	}
	var o struct {
		ID string `json:"id"`
	}
	if err := json.Unmarshal(b, &o); err != nil {
		return errors.New("neither an identifier nor an object with one")
	}
	*i = ident(o.ID)
	return nil
}

// inOuter is the outer part of an event.
type inOuter struct {
	Type      string          `json:"type"`
	Team      string          `json:"team_id"`
	EventID   string          `json:"event_id"`
	Challenge string          `json:"challenge"`
	Event     json.RawMessage `json:"event"`

	Shared            bool      `json:"is_ext_shared_channel,omitempty"`
	Enterprise        string    `json:"enterprise_id,omitempty"`
	ContextEnterprise string    `json:"context_enterprise_id,omitempty"`
	For               []install `json:"authorizations,omitempty"`

	Caught bool `json:"caught_up,omitempty"` // ours: read back from the channel, not delivered
}

// inMessage is a message as events and the history show it.
type inMessage struct {
	Subtype    string   `json:"subtype,omitempty"`
	User       ident    `json:"user,omitempty"`
	Text       string   `json:"text"`
	TS         string   `json:"ts"`
	Thread     string   `json:"thread_ts,omitempty"`
	Parent     string   `json:"parent_user_id,omitempty"`
	BotID      string   `json:"bot_id,omitempty"`
	Team       string   `json:"team,omitempty"`
	UserTeam   string   `json:"user_team,omitempty"`
	SourceTeam string   `json:"source_team,omitempty"`
	Files      []inFile `json:"files,omitempty"`
	Edited     *struct {
		User ident  `json:"user"`
		TS   string `json:"ts"`
	} `json:"edited,omitempty"`
	Replies int    `json:"reply_count,omitempty"`
	Latest  string `json:"latest_reply,omitempty"`

	Signs []struct {
		Name  string  `json:"name"`
		Users []ident `json:"users"`
	} `json:"reactions,omitempty"`
}

// inEvent is an inner event, of whatever type.
type inEvent struct {
	inMessage
	Type     string     `json:"type"`
	Channel  ident      `json:"channel,omitempty"`
	Kind     string     `json:"channel_type,omitempty"`
	EventTS  string     `json:"event_ts,omitempty"`
	Message  *inMessage `json:"message,omitempty"`
	Previous *inMessage `json:"previous_message,omitempty"`
	Deleted  string     `json:"deleted_ts,omitempty"`
	Reaction string     `json:"reaction,omitempty"`
	Item     *inItem    `json:"item,omitempty"`
	Tab      string     `json:"tab,omitempty"`
	FileID   string     `json:"file_id,omitempty"`
}

type inItem struct {
	Type    string `json:"type"`
	Channel ident  `json:"channel"`
	TS      string `json:"ts"`
}

// inFile is a file as messages show it.
type inFile struct {
	ID       string `json:"id"`
	Name     string `json:"name,omitempty"`
	Title    string `json:"title,omitempty"`
	Kind     string `json:"mimetype,omitempty"`
	Size     int64  `json:"size,omitempty"`
	Mode     string `json:"mode,omitempty"`
	External bool   `json:"is_external,omitempty"`
	Access   string `json:"file_access,omitempty"`
	Private  string `json:"url_private,omitempty"`
	Download string `json:"url_private_download,omitempty"`
}

// inAction is what was pressed. Value is what somebody's client says that it
// sends: nothing is decided by it.
type inAction struct {
	ID    string `json:"action_id"`
	Block string `json:"block_id"`
	Value string `json:"value"`
	TS    string `json:"action_ts"`
}

// inInteraction is a press of a button, a form, or a shortcut.
type inInteraction struct {
	Type     string `json:"type"`
	Trigger  string `json:"trigger_id"`
	Answer   string `json:"response_url"`
	Callback string `json:"callback_id"`
	ActionTS string `json:"action_ts"`
	Team     struct {
		ID string `json:"id"`
	} `json:"team"`
	User struct {
		ID   string `json:"id"`
		Team string `json:"team_id"`
	} `json:"user"`
	Channel   ident `json:"channel"`
	Container struct {
		Type    string `json:"type"`
		Channel string `json:"channel_id"`
		Message string `json:"message_ts"`
		Thread  string `json:"thread_ts"`
	} `json:"container"`
	Message *inMessage `json:"message"`
	Actions []inAction `json:"actions"`
	View    *struct {
		ID string `json:"id"`
	} `json:"view"`
}

// inCommand is a slash command.
type inCommand struct {
	Command string `json:"command"`
	Text    string `json:"text"`
	Team    string `json:"team_id"`
	Channel string `json:"channel_id"`
	User    string `json:"user_id"`
	Trigger string `json:"trigger_id"`
	Answer  string `json:"response_url,omitempty"`
}

// readOuter reads the outer part of an event.
func readOuter(raw []byte) (inOuter, error) {
	var o inOuter
	if err := strictly(raw, &o); err != nil {
		return o, fmt.Errorf("read event: %w", err)
	}
	if o.Type == "" {
		return o, errors.New("read event: it has no type")
	}
	return o, nil
}

// readEvent reads the inner part. What must be there for its type is there. Of a type
// that was not asked for, which may be of any form, only the type and the time are.
func (o inOuter) readEvent() (inEvent, error) {
	var e inEvent
	var is struct {
		Type string          `json:"type"`
		At   json.RawMessage `json:"event_ts"`
	}
	if err := strictly(o.Event, &is); err == nil && is.Type != "" && !askedFor(is.Type) {
		e.Type = is.Type
		_ = json.Unmarshal(is.At, &e.EventTS)
		return e, nil
	}
	if err := strictly(o.Event, &e); err != nil {
		return e, fmt.Errorf("read event: %w", err)
	}
	return e, e.sound()
}

// sound checks that an event has what makes it one.
func (e *inEvent) sound() error {
	lacks := func(what string) error { return fmt.Errorf("read event of type %.40q: it has no %s", e.Type, what) }
	switch e.Type {
	case "":
		return lacks("type")
	case typeMessage, typeMention:
		switch {
		case e.Channel == "":
			return lacks("channel")
		case e.Subtype == subChanged && (e.Message == nil || !isTS(e.Message.TS)):
			return lacks("message")
		case e.Subtype == subDeleted && !isTS(e.Deleted):
			return lacks("deleted_ts")
		case !isTS(e.TS):
			return lacks("ts")
		case e.Thread != "" && !isTS(e.Thread):
			return lacks("thread_ts that is one")
		}
	case typeFileGone:
		if e.FileID == "" || strings.Contains(e.FileID, ":") {
			return lacks("file")
		}
	case typeReacted, typeUnreacted:
		switch {
		case e.Item == nil:
			return lacks("item")
		case e.Item.Type == "message" && (e.Item.Channel == "" || !isTS(e.Item.TS)):
			return lacks("message")
		case e.User == "":
			return lacks("user")
		case !isTS(e.EventTS):
			return lacks("event_ts")
		}
	}
	return nil
}

// Types and subtypes that are acted on.
const (
	typeMessage   = "message"
	typeMention   = "app_mention"
	typeReacted   = "reaction_added"
	typeUnreacted = "reaction_removed"
	typeFileGone  = "file_deleted"

	subChanged   = "message_changed"
	subDeleted   = "message_deleted"
	subTombstone = "tombstone"
)

// speech are the subtypes of messages that people write.
var speech = []string{"", "file_share", "thread_broadcast", "me_message"}

func readInteraction(raw []byte) (inInteraction, error) {
	var i inInteraction
	if err := strictly(raw, &i); err != nil {
		return i, fmt.Errorf("read interaction: %w", err)
	}
	switch {
	case i.Type == "":
		return i, errors.New("read interaction: it has no type")
	case i.User.ID == "":
		return i, fmt.Errorf("read interaction of type %.40q: it has no user", i.Type)
	}
	return i, nil
}

func readCommand(raw []byte) (inCommand, error) {
	var c inCommand
	if err := strictly(raw, &c); err != nil {
		return c, fmt.Errorf("read command: %w", err)
	}
	if c.Command == "" || c.User == "" || c.Channel == "" || c.Trigger == "" {
		return c, errors.New("read command: it lacks its command, user, channel or trigger")
	}
	return c, nil
}

// commandForm makes of a command's form what Socket Mode would have brought.
func commandForm(f url.Values) ([]byte, error) {
	return json.Marshal(inCommand{Command: f.Get("command"), Text: f.Get("text"), Team: f.Get("team_id"), Channel: f.Get("channel_id"),
		User: f.Get("user_id"), Trigger: f.Get("trigger_id"), Answer: f.Get("response_url")})
}

// strictly reads JSON that is an object, and says what is wrong without quoting
// any of it.
func strictly(raw []byte, v any) error {
	if !utf8.Valid(raw) {
		return errors.New("no UTF-8")
	}
	err := json.Unmarshal(raw, v)
	var syntax *json.SyntaxError
	var kind *json.UnmarshalTypeError
	switch {
	case err == nil && !strings.HasPrefix(strings.TrimLeft(string(raw), " \t\r\n"), "{"):
		return errors.New("no JSON object")
	case err == nil:
		return nil
	case errors.As(err, &kind):
		return fmt.Errorf("field %.60q is of another kind", kind.Field)
	case errors.As(err, &syntax):
		return fmt.Errorf("no JSON from byte %d on", syntax.Offset)
	}
	return errors.New("no JSON of this form")
}
