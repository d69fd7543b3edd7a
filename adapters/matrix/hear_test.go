package matrix

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"net/http"
	"reflect"
	"strings"
	"testing"

	"maunium.net/go/mautrix"
	"maunium.net/go/mautrix/event"
	"maunium.net/go/mautrix/id"

	"milepost/bot"
	"milepost/flow"
)

// quiet is an assistant without a server: its rooms are known, and what it does
// not know it can't ask for.
func quiet(t testing.TB) *stint {
	t.Helper()
	cfg, err := Config{Homeserver: "http://localhost:1", User: "@milepost:shop.example", AccessToken: "x", Dir: t.TempDir(), MaxFile: 1000,
		Patterns: []string{"!work:shop.example", "@*:partner.example"}, Log: slog.New(slog.DiscardHandler)}.sound()
	if err != nil {
		t.Fatal(err)
	}
	m, err := newStint(cfg, &health{}, nil)
	if err != nil {
		t.Fatal(err)
	}
	ctx := context.Background()
	if m.state, err = openState(ctx, m.cfg.Dir); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { m.state.close() })
	done := make(chan struct{})
	close(done)
	for _, room := range []string{"!work:shop.example", "!talk:shop.example"} {
		m.in.known[room] = &knowing{done: done}
		for user, name := range map[string]string{"@ann:shop.example": "Ann", "@bob:partner.example": "Bob", "@milepost:shop.example": "Workshop helper"} {
			if room == "!talk:shop.example" && user == "@bob:partner.example" {
				continue
			}
			m.store.SetMember(ctx, id.RoomID(room), id.UserID(user), &event.MemberEventContent{Membership: event.MembershipJoin, Displayname: name})
		}
	}
	m.in.fetch = func(_ context.Context, _ id.RoomID, evt id.EventID) (*event.Event, error) {
		switch evt {
		case "$oldcard":
			return parse(t, `{"event_id":"$oldcard","sender":"@milepost:shop.example","type":"m.room.message","content":{"msgtype":"m.notice","body":"card","m.relates_to":{"m.in_reply_to":{"event_id":"$oldstart"}}}}`), nil
		case "$away":
			return nil, errors.New("no line")
		case "$revoked":
			return nil, mautrix.HTTPError{Response: &http.Response{StatusCode: http.StatusUnauthorized}, RespError: &mautrix.MUnknownToken}
		}
		return nil, mautrix.HTTPError{Response: notFound, RespError: &mautrix.MNotFound}
	}
	for _, q := range []string{
		`INSERT INTO root VALUES ('!work:shop.example/$start', '$card', '!work:shop.example', 'j1')`,
		`INSERT INTO shown VALUES ('$card', '!work:shop.example/$start', 'j1', '[{"label":"Yes","send":"j1.3.yes"},{"label":"No","send":"j1.3.no"},{"label":"Not known","send":"j1.3.not_known"}]', 0)`,
		`INSERT INTO shown VALUES ('$size', '!work:shop.example/$start', 'j1', '[{"label":"225","send":"j1.4.other_size"},{"label":"as new","send":"j1.4.as_new"}]', 0)`,
		`INSERT INTO shown VALUES ('$alert', '!work:shop.example', '', '[]', 0)`,
		`INSERT INTO shown VALUES ('$hold', '!work:shop.example', 'j2', '[]', 0)`,
		`INSERT INTO shown VALUES ('$farhold', '!other:shop.example', 'j2', '[]', 0)`,
		`INSERT INTO seen (event, room, lane, sender) VALUES ('$start', '!work:shop.example', '!work:shop.example', '@ann:shop.example')`,
		`INSERT INTO seen (event, room, lane, sender) VALUES ('$mine', '!work:shop.example', '$card', '@ann:shop.example')`,
		`INSERT INTO seen (event, room, lane, sender) VALUES ('$his', '!work:shop.example', '$card', '@bob:partner.example')`,
		`INSERT INTO seen (event, room, lane, sender) VALUES ('$loose', '!work:shop.example', '!work:shop.example', '@ann:shop.example')`,
		`INSERT INTO seen (event, room, lane, sender) VALUES ('$elsewhere', '!other:shop.example', '!other:shop.example', '@ann:shop.example')`,
		`INSERT INTO seen (event, room, lane, sender) VALUES ('$foreign', '!work:shop.example', '!work:shop.example', '@bob:partner.example')`,
	} {
		if _, err := m.state.db.ExecContext(ctx, q); err != nil {
			t.Fatal(q, err)
		}
	}
	return m
}

// spoken adds words of ours that offer nothing, and a job begun in a thread of Ann's.
func spoken(t testing.TB, m *stint) {
	t.Helper()
	for _, q := range []string{
		`INSERT INTO seen (event, room, lane, sender) VALUES ('$hint', '!work:shop.example', '!work:shop.example', '@milepost:shop.example')`,
		`INSERT INTO seen (event, room, lane, sender) VALUES ('$farhint', '!other:shop.example', '!other:shop.example', '@milepost:shop.example')`,
		`INSERT INTO sent VALUES ('k1', 't1', '$fresh', '!work:shop.example', '', 0)`,
		`INSERT INTO seen (event, room, lane, sender) VALUES ('$began', '!work:shop.example', '$own', '@ann:shop.example')`,
		`INSERT INTO root VALUES ('!work:shop.example/$began', '$card3', '!work:shop.example', 'j3')`,
	} {
		if _, err := m.state.db.ExecContext(context.Background(), q); err != nil {
			t.Fatal(q, err)
		}
	}
}

func parse(t testing.TB, raw string) *event.Event {
	t.Helper()
	var e event.Event
	if err := json.Unmarshal([]byte(raw), &e); err != nil {
		t.Fatal(raw, err)
	}
	return &e
}

// message is a message of Ann in the workshop's room.
func message(content string) string {
	return `{"event_id":"$e","sender":"@ann:shop.example","type":"m.room.message","origin_server_ts":1700000000000,"content":` + content + `}`
}

func text(body, more string) string {
	b, _ := json.Marshal(body)
	return message(fmt.Sprintf(`{"msgtype":"m.text","body":%s%s}`, b, more))
}

const (
	inWork  = "!work:shop.example/$start"
	looseAt = "!work:shop.example/$e"
	threadR = `,"m.relates_to":{"rel_type":"m.thread","event_id":"$card","is_falling_back":true,"m.in_reply_to":{"event_id":"$card"}}`
)

func TestHear(t *testing.T) {
	m := quiet(t)
	spoken(t, m)
	type want struct {
		thread                                 string
		loose, called                          bool
		text, tap, edit, delete, delivery, job string
	}
	say := func(w want) []want { return []want{w} }
	for _, c := range []struct {
		name string
		raw  string
		want []want
	}{
		{"in our thread", text("225/45 R17", threadR), say(want{thread: inWork, text: "225/45 R17"})},
		{"plain reply to our card", text("yes", `,"m.relates_to":{"m.in_reply_to":{"event_id":"$card"}}`), say(want{thread: inWork, text: "yes"})},
		{"plain reply to somebody in our thread", text("no", `,"m.relates_to":{"m.in_reply_to":{"event_id":"$his"}}`), say(want{thread: inWork, text: "no"})},
		{"plain reply to what began the job", text("no", `,"m.relates_to":{"m.in_reply_to":{"event_id":"$start"}}`), say(want{thread: inWork, text: "no"})},
		{"thread on what began the job", text("no", `,"m.relates_to":{"rel_type":"m.thread","event_id":"$start"}`), say(want{thread: inWork, text: "no"})},
		{"thread whose card was forgotten", text("no", `,"m.relates_to":{"rel_type":"m.thread","event_id":"$oldcard"}`), say(want{thread: "!work:shop.example/$oldstart", text: "no"})},
		{"reply to an alert", text("what is that", `,"m.relates_to":{"m.in_reply_to":{"event_id":"$alert"}}`), say(want{thread: looseAt, loose: true, text: "what is that"})},
		{"reply to a job's alert", text("release", `,"m.relates_to":{"m.in_reply_to":{"event_id":"$hold"}}`), say(want{thread: "!work:shop.example/$hold", loose: true, job: "j2", text: "release"})},
		{"thread on a job's alert", text("release", `,"m.relates_to":{"rel_type":"m.thread","event_id":"$hold","is_falling_back":true,"m.in_reply_to":{"event_id":"$hold"}}`), say(want{thread: "!work:shop.example/$hold", loose: true, job: "j2", text: "release"})},
		{"reply to an alert elsewhere", text("release", `,"m.relates_to":{"m.in_reply_to":{"event_id":"$farhold"}}`), say(want{thread: looseAt, loose: true, text: "release"})},
		{"reply to our words", text("225/45 R17", `,"m.relates_to":{"m.in_reply_to":{"event_id":"$hint"}}`), say(want{thread: looseAt, loose: true, called: true, text: "225/45 R17"})},
		{"reply to our words just sent", text("225/45 R17", `,"m.relates_to":{"m.in_reply_to":{"event_id":"$fresh"}}`), say(want{thread: looseAt, loose: true, called: true, text: "225/45 R17"})},
		{"reply to our words that calls nobody", text("225/45 R17", `,"m.mentions":{},"m.relates_to":{"m.in_reply_to":{"event_id":"$hint"}}`), say(want{thread: looseAt, loose: true, text: "225/45 R17"})},
		{"reply to somebody's words", text("225/45 R17", `,"m.relates_to":{"m.in_reply_to":{"event_id":"$foreign"}}`), say(want{thread: looseAt, loose: true, text: "225/45 R17"})},
		{"reply to our words elsewhere", text("225/45 R17", `,"m.relates_to":{"m.in_reply_to":{"event_id":"$farhint"}}`), say(want{thread: looseAt, loose: true, text: "225/45 R17"})},
		{"reply with the old fallback", text("> <@bob:partner.example> which one?\n> of the two\n\nthe left one", `,"m.relates_to":{"m.in_reply_to":{"event_id":"$card"}}`), say(want{thread: inWork, text: "the left one"})},
		{"quotation that is no fallback", text("> so he said", ""), say(want{thread: looseAt, loose: true, text: "> so he said"})},
		{"foreign thread", text("lunch?", `,"m.relates_to":{"rel_type":"m.thread","event_id":"$foreign"}`), nil},
		{"foreign thread, called", text("Milepost: new tyres", `,"m.relates_to":{"rel_type":"m.thread","event_id":"$foreign"}`), say(want{thread: looseAt, loose: true, called: true, text: "new tyres"})},
		{"foreign thread, reply to our card", text("yes", `,"m.relates_to":{"rel_type":"m.thread","event_id":"$foreign","m.in_reply_to":{"event_id":"$card"}}`), say(want{thread: inWork, text: "yes"})},
		{"foreign thread, reply to a job's alert", text("release", `,"m.relates_to":{"rel_type":"m.thread","event_id":"$foreign","m.in_reply_to":{"event_id":"$hold"}}`), say(want{thread: "!work:shop.example/$hold", loose: true, job: "j2", text: "release"})},
		{"foreign thread, reply to our words", text("225/45 R17", `,"m.relates_to":{"rel_type":"m.thread","event_id":"$foreign","m.in_reply_to":{"event_id":"$hint"}}`), say(want{thread: looseAt, loose: true, called: true, text: "225/45 R17"})},
		{"foreign thread, as if in reply to our card", text("lunch?", `,"m.relates_to":{"rel_type":"m.thread","event_id":"$foreign","is_falling_back":true,"m.in_reply_to":{"event_id":"$card"}}`), nil},
		{"foreign thread, reply to somebody", text("lunch?", `,"m.relates_to":{"rel_type":"m.thread","event_id":"$foreign","m.in_reply_to":{"event_id":"$loose"}}`), nil},
		{"thread in which a job was begun", text("225/45 R17", `,"m.relates_to":{"rel_type":"m.thread","event_id":"$own","is_falling_back":true,"m.in_reply_to":{"event_id":"$began"}}`), say(want{thread: looseAt, loose: true, text: "225/45 R17"})},
		{"loose", text("good morning", ""), say(want{thread: looseAt, loose: true, text: "good morning"})},
		{"mention", text("@milepost:shop.example new tyres", `,"m.mentions":{"user_ids":["@milepost:shop.example"]}`), say(want{thread: looseAt, loose: true, called: true, text: "new tyres"})},
		{"mention in front by display name", text("Workshop helper: grey van", `,"m.mentions":{"user_ids":["@milepost:shop.example"]}`), say(want{thread: looseAt, loose: true, called: true, text: "grey van"})},
		{"mention of another", text("good morning", `,"m.mentions":{"user_ids":["@bob:partner.example"]}`), say(want{thread: looseAt, loose: true, text: "good morning"})},
		{"by name only", text("milepost grey van", ""), say(want{thread: looseAt, loose: true, called: true, text: "grey van"})},
		{"a name that goes on", text("milepostman came", ""), say(want{thread: looseAt, loose: true, text: "milepostman came"})},
		{"pill of older clients", text("Workshop helper grey van", `,"format":"org.matrix.custom.html","formatted_body":"<a href=\"https://matrix.to/#/@milepost:shop.example\">Workshop helper</a> grey van"`), say(want{thread: looseAt, loose: true, called: true, text: "grey van"})},
		{"words that open a job", text("new job grey van", ""), say(want{thread: looseAt, loose: true, text: "new job grey van"})},
		{"emote", message(`{"msgtype":"m.emote","body":"is ready","m.relates_to":{"rel_type":"m.thread","event_id":"$card"}}`), say(want{thread: inWork, text: "is ready"})},

		{"notice of another bot", message(`{"msgtype":"m.notice","body":"milepost: hello"}`), nil},
		{"our own", strings.Replace(text("hello", ""), "@ann:", "@milepost:", 1), nil},
		{"position on a map", message(`{"msgtype":"m.location","body":"here","geo_uri":"geo:1,2"}`), nil},
		{"verification", message(`{"msgtype":"m.key.verification.request","body":"verify"}`), nil},
		{"sticker", strings.Replace(text("hello", ""), "m.room.message", "m.sticker", 1), nil},

		{"edit", text("* 226", `,"m.new_content":{"msgtype":"m.text","body":"226"},"m.relates_to":{"rel_type":"m.replace","event_id":"$mine"}`), say(want{thread: inWork, text: "226", edit: "$mine"})},
		{"edit outside", text("* hello", `,"m.new_content":{"msgtype":"m.text","body":"hello"},"m.relates_to":{"rel_type":"m.replace","event_id":"$loose"}`), say(want{thread: "!work:shop.example/$loose", loose: true, text: "hello", edit: "$loose"})},
		{"edit of what began the job", text("* hello", `,"m.new_content":{"msgtype":"m.text","body":"blue van"},"m.relates_to":{"rel_type":"m.replace","event_id":"$start"}`), say(want{thread: inWork, text: "blue van", edit: "$start"})},
		{"edit of another's", text("* 226", `,"m.new_content":{"msgtype":"m.text","body":"226"},"m.relates_to":{"rel_type":"m.replace","event_id":"$his"}`), nil},
		{"edit of what nobody knows", text("* 226", `,"m.new_content":{"msgtype":"m.text","body":"226"},"m.relates_to":{"rel_type":"m.replace","event_id":"$nothing"}`), nil},
		{"edit across rooms", text("* 226", `,"m.new_content":{"msgtype":"m.text","body":"226"},"m.relates_to":{"rel_type":"m.replace","event_id":"$elsewhere"}`), nil},
		{"edit without content", text("* 226", `,"m.relates_to":{"rel_type":"m.replace","event_id":"$mine"}`), nil},
		{"edit that says its kind outside", text("* 226", `,"m.new_content":{"body":"226"},"m.relates_to":{"rel_type":"m.replace","event_id":"$mine"}`), say(want{thread: inWork, text: "226", edit: "$mine"})},
		{"edit of a notice that says its kind outside", message(`{"msgtype":"m.notice","body":"* 226","m.new_content":{"body":"226"},"m.relates_to":{"rel_type":"m.replace","event_id":"$mine"}}`), nil},
		{"edit of a caption", text("* x", `,"m.new_content":{"msgtype":"m.image","body":"the label","filename":"a.jpg"},"m.relates_to":{"rel_type":"m.replace","event_id":"$mine"}`), say(want{thread: inWork, text: "the label", edit: "$mine/caption"})},

		{"redaction", `{"event_id":"$e","sender":"@ann:shop.example","type":"m.room.redaction","redacts":"$mine","content":{}}`,
			[]want{{thread: inWork, delete: "$mine"}, {thread: inWork, delete: "$mine/caption", delivery: "$e/caption"}}},
		{"redaction of newer rooms", `{"event_id":"$e","sender":"@ann:shop.example","type":"m.room.redaction","content":{"redacts":"$loose","reason":"oops"}}`,
			[]want{{thread: "!work:shop.example/$loose", loose: true, delete: "$loose"}, {thread: "!work:shop.example/$loose", loose: true, delete: "$loose/caption", delivery: "$e/caption"}}},
		{"redaction of another's", `{"event_id":"$e","sender":"@ann:shop.example","type":"m.room.redaction","redacts":"$his","content":{}}`, nil},
		{"redaction of nothing", `{"event_id":"$e","sender":"@ann:shop.example","type":"m.room.redaction","content":{}}`, nil},

		{"tap by number", react("$card", "2️⃣"), say(want{thread: inWork, tap: "j1.3.no", job: "j1"})},
		{"without what draws it", react("$card", "3\u20e3"), say(want{thread: inWork, tap: "j1.3.not_known", job: "j1"})},
		{"by digit", react("$card", "1"), say(want{thread: inWork, tap: "j1.3.yes", job: "j1"})},
		{"thumb", react("$card", "👍🏽"), say(want{thread: inWork, tap: "j1.3.yes", job: "j1"})},
		{"tick", react("$card", "✅"), say(want{thread: inWork, tap: "j1.3.yes", job: "j1"})},
		{"cross", react("$card", "❌"), say(want{thread: inWork, tap: "j1.3.no", job: "j1"})},
		{"tick where nothing says yes", react("$size", "👍"), nil},
		{"cross where nothing says no", react("$size", "👎"), nil},
		{"number beyond", react("$card", "4️⃣"), nil},
		{"nought", react("$card", "0️⃣"), nil},
		{"mood", react("$card", "🎉"), nil},
		{"to somebody's message", react("$his", "1️⃣"), nil},
		{"to an alert", react("$alert", "1️⃣"), nil},

		{"bidi and null", text("\u202e54/522 \u0000 x", threadR), say(want{thread: inWork, text: "\u202e54/522 \u0000 x"})},
		{"HTML is not looked at", text("plain", `,"format":"org.matrix.custom.html","formatted_body":"<script>alert(1)</script>"`+threadR), say(want{thread: inWork, text: "plain"})},
		{"huge", text(strings.Repeat("é", 50_000), threadR), say(want{thread: inWork, text: strings.Repeat("é", 32<<10)})},
		{"no body", message(`{"msgtype":"m.text"` + threadR + `}`), say(want{thread: inWork})},
		{"body of another kind", message(`{"msgtype":"m.text","body":5}`), nil},
		{"no content", `{"event_id":"$e","sender":"@ann:shop.example","type":"m.room.message"}`, nil},
		{"empty content", message(`{}`), nil},
		{"no sender", `{"event_id":"$e","type":"m.room.message","content":{"msgtype":"m.text","body":"x"}}`, nil},
		{"sender that is none", `{"event_id":"$e","sender":"ann","type":"m.room.message","content":{"msgtype":"m.text","body":"x"}}`, nil},
		{"no identifier", `{"sender":"@ann:shop.example","type":"m.room.message","content":{"msgtype":"m.text","body":"x"}}`, nil},
		{"long identifier", strings.Replace(text("x", ""), "$e", "$"+strings.Repeat("e", 300), 1), nil},
		{"relation that is none", text("x", `,"m.relates_to":{"rel_type":"m.thread","event_id":5}`), say(want{thread: looseAt, loose: true, text: "x"})},
		{"relations that are none", text("x", `,"m.relates_to":[]`), say(want{thread: looseAt, loose: true, text: "x"})},
		{"relation, part of it", text("x", `,"m.relates_to":{"rel_type":"m.thread","event_id":"$card","is_falling_back":"yes","key":1,"m.in_reply_to":{"event_id":7}}`), say(want{thread: inWork, text: "x"})},
		{"reply that is none", text("x", `,"m.relates_to":{"m.in_reply_to":"$card"}`), say(want{thread: looseAt, loose: true, text: "x"})},
		{"mentions that are none", text("milepost grey van", `,"m.mentions":["@milepost:shop.example"]`), say(want{thread: looseAt, loose: true, called: true, text: "grey van"})},
		{"format that is none", text("x", `,"format":1,"formatted_body":{},"filename":7`+threadR), say(want{thread: inWork, text: "x"})},
		{"edit, part of it", text("* 226", `,"m.new_content":{"msgtype":"m.text","body":"226","m.mentions":7},"m.relates_to":{"rel_type":"m.replace","event_id":"$mine"}`), say(want{thread: inWork, text: "226", edit: "$mine"})},
		{"edit within an edit", text("* 226", `,"m.mentions":7,"m.new_content":{"msgtype":"m.text","body":"226","m.mentions":7,"m.new_content":{"body":"227"}},"m.relates_to":{"rel_type":"m.replace","event_id":"$mine"}`), say(want{thread: inWork, text: "226", edit: "$mine"})},
		{"edit into another kind", text("* 226", `,"m.new_content":{"msgtype":"m.text","body":226},"m.relates_to":{"rel_type":"m.replace","event_id":"$mine"}`), nil},
		{"thread on nothing", text("x", `,"m.relates_to":{"rel_type":"m.thread","event_id":""}`), say(want{thread: looseAt, loose: true, text: "x"})},
		{"reaction to nothing", react("", "1"), nil},
	} {
		evt := parse(t, c.raw)
		evt.RoomID = "!work:shop.example"
		ins, err := m.hear(context.Background(), evt, relation(evt))
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		var got []want
		for _, in := range ins {
			if in.Delivery == "$e" {
				in.Delivery = ""
			}
			got = append(got, want{string(in.Thread), in.Loose, in.Called, in.Text, in.Tap, in.Edit, in.Delete, in.Delivery, in.Job})
			if in.From != "matrix:@ann:shop.example" || in.Network != "matrix" || in.Name != "Ann" || in.Room != "!work:shop.example" {
				t.Errorf("%s: from %s %q in %q", c.name, in.From, in.Name, in.Room)
			}
		}
		if !reflect.DeepEqual(got, c.want) {
			t.Errorf("%s:\n got %+v\nwant %+v", c.name, got, c.want)
		}
	}
}

func react(to, key string) string {
	k, _ := json.Marshal(key)
	return fmt.Sprintf(`{"event_id":"$e","sender":"@ann:shop.example","type":"m.reaction","content":{"m.relates_to":{"rel_type":"m.annotation","event_id":"%s","key":%s}}}`, to, k)
}

// What can't be asked for now is no reason to let a message go.
func TestHearWithoutLine(t *testing.T) {
	m := quiet(t)
	for _, target := range []string{"$away", "$revoked"} {
		evt := parse(t, text("* 226", `,"m.new_content":{"msgtype":"m.text","body":"226"},"m.relates_to":{"rel_type":"m.replace","event_id":"`+target+`"}`))
		evt.RoomID = "!work:shop.example"
		if ins, err := m.hear(context.Background(), evt, relation(evt)); err == nil || final(err) {
			t.Errorf("%s: got %v, %v; want an error that passes", target, ins, err)
		}
	}
}

// What could not be read and is taken back will not be read later.
func TestUnreadTakenBack(t *testing.T) {
	m := quiet(t)
	m.cipher = &locked{}
	putRaw(t, m, secret("x", threadR))
	if err := m.state.putAside(context.Background(), 1, waitsSaid); err != nil {
		t.Fatal(err)
	}
	evt := parse(t, `{"event_id":"$r","sender":"@ann:shop.example","type":"m.room.redaction","redacts":"$e","content":{}}`)
	evt.RoomID = "!work:shop.example"
	if ins, err := m.hear(context.Background(), evt, relation(evt)); err != nil || len(ins) != 2 || ins[0].Delete != "$e" {
		t.Errorf("heard %v, %v", ins, err)
	}
	if left := m.rows(t); len(left) != 0 {
		t.Errorf("rows left: %v", left)
	}
}

func TestDirect(t *testing.T) {
	m := quiet(t)
	evt := parse(t, text("grey van", ""))
	evt.RoomID = "!talk:shop.example"
	ins, err := m.hear(context.Background(), evt, relation(evt))
	if err != nil || len(ins) != 1 || !ins[0].Called || !ins[0].Loose || ins[0].Room != "" {
		t.Errorf("in a room of two: %+v, %v", ins, err)
	}
}

func TestTrustOf(t *testing.T) {
	m := quiet(t)
	if err := m.state.setEncrypted(context.Background(), "!secret:shop.example"); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		name   string
		room   id.RoomID
		sealed bool
		state  id.TrustState
		want   flow.Trust
	}{
		{"plain room", "!work:shop.example", false, 0, ""},
		{"in clear in an encrypted room", "!secret:shop.example", false, id.TrustStateVerified, flow.Unverified},
		{"unsigned device", "!secret:shop.example", true, id.TrustStateUnset, flow.Unverified},
		{"key from somebody else", "!secret:shop.example", true, id.TrustStateForwarded, flow.Unverified},
		{"signed by another", "!secret:shop.example", true, id.TrustStateCrossSignedUntrusted, flow.Unverified},
		{"signed by its owner", "!secret:shop.example", true, id.TrustStateCrossSignedTOFU, flow.Verified},
	} {
		evt := &event.Event{RoomID: c.room}
		evt.Mautrix.WasEncrypted, evt.Mautrix.TrustState = c.sealed, c.state
		if got, err := m.trustOf(context.Background(), evt); err != nil || got != c.want {
			t.Errorf("%s: %q, %v", c.name, got, err)
		}
	}
}

func TestPatternOf(t *testing.T) {
	m := quiet(t)
	ctx := context.Background()
	m.store.SetMember(ctx, "!work:shop.example", "@eve:else.example", &event.MemberEventContent{Membership: event.MembershipJoin})
	m.store.SetMember(ctx, "!work:shop.example", "@inv:shop.example", &event.MemberEventContent{Membership: event.MembershipInvite})
	for _, c := range []struct {
		room id.RoomID
		user id.UserID
		want string
	}{
		{"!work:shop.example", "@ann:shop.example", "!work:shop.example"},
		{"!work:shop.example", "@bob:partner.example", "!work:shop.example"},
		{"!work:shop.example", "@eve:else.example", ""},
		{"!work:shop.example", "@inv:shop.example", ""},
		{"!work:shop.example", "@nobody:shop.example", ""},
		{"!talk:shop.example", "@ann:shop.example", ""},
		{"!unknown:shop.example", "@bob:partner.example", ""},
	} {
		if got, err := m.patternOf(ctx, c.room, c.user); err != nil || got != c.want {
			t.Errorf("%s in %s: %q, %v, want %q", c.user, c.room, got, err, c.want)
		}
	}
}

func TestHearFile(t *testing.T) {
	m := quiet(t)
	for _, c := range []struct {
		name, content      string
		file, fault, words string
	}{
		{"plain", `{"msgtype":"m.file","body":"backup.bin","url":"mxc://shop.example/abc","info":{"size":10}}`, "backup.bin", "", ""},
		{"caption", `{"msgtype":"m.image","body":"milepost: the label","filename":"a.jpg","url":"mxc://shop.example/abc"}`, "a.jpg", "", "the label"},
		{"path", `{"msgtype":"m.file","body":"../../etc/passwd","url":"mxc://shop.example/abc"}`, "passwd", "", ""},
		{"path of elsewhere", `{"msgtype":"m.file","body":"C:\\temp\\x.bin","url":"mxc://shop.example/abc"}`, "x.bin", "", ""},
		{"only dots", `{"msgtype":"m.file","body":"..","url":"mxc://shop.example/abc"}`, "", "", ""},
		{"long name", `{"msgtype":"m.file","body":"` + strings.Repeat("é", 300) + `","url":"mxc://shop.example/abc"}`, strings.Repeat("é", 127), "", ""},
		{"too large by its own word", `{"msgtype":"m.file","body":"a","url":"mxc://shop.example/abc","info":{"size":1001}}`, "a", "file.too_large", ""},
		{"no address", `{"msgtype":"m.file","body":"a"}`, "a", "file.gone", ""},
		{"address elsewhere", `{"msgtype":"m.file","body":"a","url":"http://shop.example/abc"}`, "a", "file.gone", ""},
		{"encrypted without encryption", `{"msgtype":"m.file","body":"a","file":{"url":"mxc://shop.example/abc","v":"v2"}}`, "a", "file.gone", ""},
		{"height in words", `{"msgtype":"m.image","body":"the label","filename":"a.jpg","url":"mxc://shop.example/abc","info":{"h":"tall","size":10}}`, "a.jpg", "", "the label"},
		{"loudness in parts", `{"msgtype":"m.audio","body":"voice.ogg","url":"mxc://shop.example/abc","org.matrix.msc1767.audio":{"duration":10,"waveform":[0.5,1]}}`, "voice.ogg", "", ""},
		{"name that is none", `{"msgtype":"m.file","body":"a.bin","filename":{},"url":"mxc://shop.example/abc"}`, "a.bin", "", ""},
		{"address that is none", `{"msgtype":"m.file","body":"a","url":5,"info":[]}`, "a", "file.gone", ""},
		{"file that is none", `{"msgtype":"m.file","body":"a","file":"mxc://shop.example/abc"}`, "a", "file.gone", ""},
		{"size that is none", `{"msgtype":"m.file","body":"a","url":"mxc://shop.example/abc","info":{"size":-5}}`, "a", "", ""},
	} {
		evt := parse(t, message(c.content))
		evt.RoomID = "!work:shop.example"
		ins, err := m.hear(context.Background(), evt, relation(evt))
		if err != nil || len(ins) == 0 || ins[len(ins)-1].File == nil {
			t.Errorf("%s: %+v, %v", c.name, ins, err)
			continue
		}
		in := &ins[len(ins)-1] // after the words that may begin the job it is for
		if f := in.File; f.Name != c.file || f.Fault != c.fault || (f.Fault == "") != (f.Open != nil) || in.Text != "" {
			t.Errorf("%s: %+v", c.name, f)
		}
		words := ""
		if len(ins) == 2 && ins[0].Delivery == "$e/caption" && ins[0].File == nil && ins[0].Thread == in.Thread {
			words = ins[0].Text
		}
		if words != c.words || len(ins) > 2 {
			t.Errorf("%s: words %q", c.name, words)
		}
	}
	// In a job's thread the words are heard after the file, which answers what was asked.
	evt := parse(t, message(`{"msgtype":"m.image","body":"the label","filename":"a.jpg","url":"mxc://shop.example/abc"`+threadR+`}`))
	evt.RoomID = "!work:shop.example"
	if ins, err := m.hear(context.Background(), evt, relation(evt)); err != nil || len(ins) != 2 || ins[0].File == nil || ins[1].Text != "the label" || ins[1].Loose {
		t.Errorf("in a thread: %+v, %v", ins, err)
	}
	// So they are where they hang on an alert: nothing begins there.
	evt = parse(t, message(`{"msgtype":"m.image","body":"release","filename":"a.jpg","url":"mxc://shop.example/abc","m.relates_to":{"m.in_reply_to":{"event_id":"$hold"}}}`))
	evt.RoomID = "!work:shop.example"
	if ins, err := m.hear(context.Background(), evt, relation(evt)); err != nil || len(ins) != 2 || ins[0].File == nil || ins[1].Text != "release" || ins[0].Job != "j2" || ins[1].Job != "j2" {
		t.Errorf("on an alert: %+v, %v", ins, err)
	}
}

func TestLanesOfEvents(t *testing.T) {
	m := quiet(t)
	for _, c := range []struct{ name, raw, want string }{
		{"thread", text("x", threadR), "$card"},
		{"encrypted in a thread", `{"event_id":"$e","sender":"@ann:shop.example","type":"m.room.encrypted","content":{"algorithm":"m.megolm.v1.aes-sha2","m.relates_to":{"rel_type":"m.thread","event_id":"$card"}}}`, "$card"},
		{"reply to the card", text("x", `,"m.relates_to":{"m.in_reply_to":{"event_id":"$card"}}`), "$card"},
		{"reply into the thread", text("x", `,"m.relates_to":{"m.in_reply_to":{"event_id":"$his"}}`), "$card"},
		{"edit", text("x", `,"m.relates_to":{"rel_type":"m.replace","event_id":"$mine"}`), "$card"},
		{"reaction", react("$card", "1"), "$card"},
		{"redaction", `{"event_id":"$e","sender":"@ann:shop.example","type":"m.room.redaction","redacts":"$mine","content":{}}`, "$card"},
		{"redaction across rooms", `{"event_id":"$e","sender":"@ann:shop.example","type":"m.room.redaction","redacts":"$elsewhere","content":{}}`, "!work:shop.example"},
		{"loose", text("x", ""), "!work:shop.example"},
		{"foreign thread", text("x", `,"m.relates_to":{"rel_type":"m.thread","event_id":"$foreign"}`), "$foreign"},
		{"nothing", `{"event_id":"$e","sender":"@ann:shop.example","type":"m.room.message"}`, "!work:shop.example"},
	} {
		evt := parse(t, c.raw)
		evt.RoomID = "!work:shop.example"
		tx, err := m.state.db.Begin()
		if err != nil {
			t.Fatal(err)
		}
		got, err := laneOf(context.Background(), tx, evt)
		tx.Rollback()
		if err != nil || got != c.want {
			t.Errorf("%s: %q, %v, want %q", c.name, got, err, c.want)
		}
	}
}

func TestCutName(t *testing.T) {
	for _, c := range []struct {
		text, name, rest string
		ok               bool
	}{
		{"Milepost: x", "milepost", "x", true},
		{"@milepost, x", "milepost", "x", true},
		{"milepost", "milepost", "", true},
		{"mileposts x", "milepost", "mileposts x", false},
		{"milepost's x", "milepost", "milepost's x", false},
		{"  milepost\nx", "milepost", "x", true},
		{"ab x", "ab", "ab x", false},
		{"K\u0130M x", "kim", "K\u0130M x", false},
		{"é", "éé", "é", false},
		{"x", "", "x", false},
	} {
		if rest, ok := cutName(c.text, c.name); rest != c.rest || ok != c.ok {
			t.Errorf("%q: %q, %t", c.text, rest, ok)
		}
	}
}

// FuzzHear: whatever an event is, nothing panics, and what is handed over has
// the form the bot wants.
func FuzzHear(f *testing.F) {
	for _, raw := range []string{text("x", threadR), text("* y", `,"m.new_content":{"msgtype":"m.text","body":"y"},"m.relates_to":{"rel_type":"m.replace","event_id":"$mine"}`),
		react("$card", "1️⃣"), message(`{"msgtype":"m.file","body":"a","url":"mxc://a/b","file":{"v":"v2","url":"mxc://a/b","key":{"k":""}}}`),
		`{"event_id":"$e","sender":"@ann:shop.example","type":"m.room.redaction","redacts":"$mine","content":{"redacts":{}}}`,
		`{"event_id":"$e","sender":"@ann:shop.example","type":"m.room.message","content":[]}`, text("\ufeff@milepost:shop.example\u202e", "")} {
		f.Add([]byte(raw))
	}
	m := quiet(f)
	f.Fuzz(func(t *testing.T, raw []byte) {
		var evt event.Event
		if json.Unmarshal(raw, &evt) != nil {
			return
		}
		evt.RoomID = "!work:shop.example"
		if _, err := pack(&evt); err != nil && heard(&evt) && len(evt.Content.VeryRaw) > 0 {
			t.Errorf("an event that can't be stored: %v", err)
		}
		ins, err := m.hear(context.Background(), &evt, relation(&evt))
		if err != nil && !transient(err) {
			t.Errorf("for good: %v", err)
		}
		for _, in := range ins {
			if !strings.HasPrefix(string(in.From), "matrix:@") || in.Thread == "" || in.Delivery == "" || len(in.Text) > longestText {
				t.Errorf("handed over %+v", in)
			}
			kinds := 0
			for _, is := range []bool{in.Tap != "", in.File != nil, in.Delete != ""} {
				if is {
					kinds++
				}
			}
			if kinds > 1 || in.File != nil && in.Text != "" || in.Tap != "" && flow.TapJob(in.Tap) == "" {
				t.Errorf("several at once: %+v", in)
			}
			_ = bot.Inbound(in)
		}
	})
}
