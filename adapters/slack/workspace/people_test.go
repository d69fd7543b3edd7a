package workspace_test

import (
	"strings"
	"testing"

	"pgregory.net/rapid"

	"milepost/adapters/slack/workspace"
)

func TestMarkup(t *testing.T) {
	a := newApp(t, workspace.Options{NoRateLimit: true, NoPreviews: true})
	for typed, want := range map[string]string{
		"60 < 65 & 70 > 3":           "60 &lt; 65 &amp; 70 &gt; 3",
		"@milepost start":            "<@U0MILE> start",
		"@nobody start":              "@nobody start",
		"@channel, look":             "<!channel>, look",
		"in #shop":                   "in <#C0SHOP|shop>",
		"in #office":                 "in #office",
		"see https://a.example/x?y.": "see <https://a.example/x?y>.",
		"write a@b.example":          "write <mailto:a@b.example|a@b.example>",
		"on tyres.example":           "on <http://tyres.example|tyres.example>",
		"205/55 R16 91V":             "205/55 R16 91V",
		"1.5.2":                      "1.5.2",
		"<!channel> <@U0KIM>":        "&lt;!channel&gt; &lt;@U0KIM&gt;",
		"&lt;":                       "&amp;lt;",
		"3*4*5 _x_":                  "3*4*5 _x_",
	} {
		m, _ := a.w.Message("shop", a.w.User("kim").Say("shop", typed))
		if m.Text != want {
			t.Errorf("%q arrives as %q, want %q", typed, m.Text, want)
		}
	}
	m, _ := a.w.Message("shop", a.w.User("kim").Say("shop", "@sam see #shop and a@b.example"))
	if m.Shown != "@sam see #shop and a@b.example" {
		t.Errorf("shown %q", m.Shown)
	}
}

func TestShownIsWhatWasTyped(t *testing.T) {
	a := newApp(t, workspace.Options{NoRateLimit: true, NoPreviews: true})
	rapid.Check(t, func(r *rapid.T) {
		typed := rapid.StringMatching(`[a-z0-9 &<>;!|*_~@#/.-]{1,60}`).Draw(r, "typed")
		m, _ := a.w.Message("shop", a.w.User("kim").Say("shop", typed))
		if m.Shown != typed {
			r.Fatalf("typed %q, text %q, shown %q", typed, m.Text, m.Shown)
		}
	})
}

func TestPeopleWrite(t *testing.T) {
	a := newApp(t, workspace.Options{})
	a.open()
	kim := a.w.User("kim")
	ts := kim.Say("shop", "first https://a.example/x")
	e := a.await("message", 1)[0].event()
	if e["user"] != kim.ID() || e["client_msg_id"] == nil || e["channel_type"] != "channel" || e["team"] != a.w.Team() || e["thread_ts"] != nil {
		t.Errorf("event %v", e)
	}
	preview := a.await("message/message_changed", 1)[0].event()
	if m := preview["message"].(map[string]any); m["edited"] != nil || m["attachments"] == nil || m["text"] != e["text"] {
		t.Errorf("preview %v", m)
	}
	kim.Edit("shop", ts, "second")
	edit := a.await("message/message_changed", 2)[1].event()
	if m := edit["message"].(map[string]any); m["edited"] == nil || m["text"] != "second" || m["ts"] != ts || edit["ts"] == ts || edit["hidden"] != true {
		t.Errorf("edit %v", edit)
	}
	reply := kim.SayInThread("shop", ts, "reply")
	r := a.await("message", 2)[1].event()
	if r["thread_ts"] != ts || r["parent_user_id"] != kim.ID() || r["ts"] != reply {
		t.Errorf("reply %v", r)
	}
	kim.React("shop", ts, "eyes")
	kim.Unreact("shop", ts, "eyes")
	added := a.await("reaction_added", 1)[0].event()
	if item := added["item"].(map[string]any); added["reaction"] != "eyes" || item["ts"] != ts || item["thread_ts"] != nil || added["item_user"] != kim.ID() {
		t.Errorf("reaction %v", added)
	}
	a.await("reaction_removed", 1)
	kim.Say(a.w.Direct("kim"), "@milepost by direct message")
	if d := a.await("message", 3)[2].event(); d["channel_type"] != "im" {
		t.Errorf("direct %v", d)
	}
	if len(a.got("app_mention")) != 0 {
		t.Error("a direct message gives no app_mention")
	}
	kim.Say("office", "@milepost where the app is not")
	kim.Say("yard", "@milepost nor here")
	a.w.Settle(workspace.Patience)
	if len(a.got("message")) != 3 || len(a.got("app_mention")) != 0 {
		t.Error("heard from where it is not a member")
	}
	m, _ := a.w.Message("shop", ts)
	if m.Text != "second" || !m.Edited || len(m.Reactions) != 0 || len(a.w.Messages("shop", ts)) != 2 || len(a.w.Messages("shop", "")) != 1 {
		t.Errorf("as seen: %+v", m)
	}
}

func TestEventsNeedScopeAndSubscription(t *testing.T) {
	a := newApp(t, workspace.Options{Events: []string{"message.channels", "app_mention", "reaction_added"}})
	a.open()
	a.w.DropScope("reactions:read")
	ts := a.w.User("kim").Say("bay", "private, not subscribed")
	a.w.User("kim").React("bay", ts, "eyes")
	a.w.User("kim").Say("shop", "public")
	a.w.Settle(workspace.Patience)
	if all := a.got(""); len(all) != 1 || all[0].event()["text"] != "public" {
		t.Errorf("%d events", len(all))
	}
}

func TestGroupMessagesAreOnlyMentions(t *testing.T) {
	a := newApp(t, workspace.Options{Channels: []workspace.Channel{{Name: "crowd", Kind: workspace.Group, App: true, Members: []string{"kim", "sam"}}}})
	a.open()
	a.w.User("kim").Say("crowd", "@milepost hello")
	a.w.Settle(workspace.Patience)
	if all := a.got(""); len(all) != 1 || all[0].name() != "app_mention" {
		t.Errorf("%d events", len(all))
	}
}

func TestMembership(t *testing.T) {
	a := newApp(t, workspace.Options{})
	a.open()
	kim, sam := a.w.User("kim"), a.w.User("sam")
	kim.AddApp("yard")
	e := a.await("member_joined_channel", 1)[0].event()
	if e["user"] != a.w.App() || e["inviter"] != kim.ID() || e["channel"] != a.w.Channel("yard") || e["channel_type"] != "C" {
		t.Errorf("joined %v", e)
	}
	a.await("message/channel_join", 1)
	a.post("yard", "", "here now", nil)
	sam.Leave("yard")
	a.await("member_left_channel", 1)
	kim.RemoveApp("yard")
	a.await("channel_left", 1)
	kim.RemoveApp("bay")
	a.await("group_left", 1)
	kim.Archive("shop")
	a.await("channel_archive", 1)
	a.refused(a.call("chat.postMessage", a.message("shop", "", "x", nil)), "is_archived")
	kim.Unarchive("shop")
	a.await("channel_unarchive", 1)
	a.post("shop", "", "again", nil)
	kim.Rename("Kim Other")
	a.await("user_change", 1)
	a.w.User("alex").Join("bay")
	a.w.Settle(workspace.Patience)
	if len(a.got("member_joined_channel")) != 1 {
		t.Error("heard of a channel it was removed from")
	}
}

func TestStrangersAndGuests(t *testing.T) {
	a := newApp(t, workspace.Options{})
	a.open()
	a.w.User("strand").Say("joint", "from elsewhere")
	f := a.await("message", 1)[0]
	if e := f.event(); e["user_team"] != "T0FAR" || f.Payload["is_ext_shared_channel"] != true {
		t.Errorf("stranger's event %v", e)
	}
	user := func(name string) map[string]any {
		u, _ := a.fine(a.call("users.info", map[string]string{"user": a.w.User(name).ID()}))["user"].(map[string]any)
		return u
	}
	if u := user("strand"); u["team_id"] != "T0FAR" || u["is_stranger"] != true {
		t.Errorf("stranger %v", u)
	}
	if u := user("gail"); u["is_restricted"] != true || u["real_name"] != "Gail Guest" {
		t.Errorf("guest %v", u)
	}
	a.w.AddPerson(workspace.Person{Name: "hidden", Team: "T0FAR"})
	a.refused(a.call("users.info", map[string]string{"user": "U0HIDDEN"}), "user_not_visible")
	a.refused(a.call("users.info", map[string]string{"user": "U0NONE"}), "user_not_found")
	a.w.AddPerson(workspace.Person{Name: "robot", Bot: true})
	id := a.w.AddChannel(workspace.Channel{Name: "robots", App: true, Members: []string{"robot"}})
	a.w.User("robot").Say(id, "beep")
	if e := a.await("message", 2)[1].event(); e["bot_id"] != "B0ROBOT" || e["client_msg_id"] != nil {
		t.Errorf("another app's message %v", e)
	}
}

func TestPress(t *testing.T) {
	a := newApp(t, workspace.Options{})
	a.open()
	kim := a.w.User("kim")
	root := kim.Say("shop", "job")
	ts := a.post("shop", root, "Ready?", map[string]string{"blocks": button})
	for _, choice := range []string{"Go on", "yes-1", "go"} {
		if ans := kim.Press("shop", ts, choice); ans.Err != "" {
			t.Errorf("%s: %+v", choice, ans)
		}
	}
	p := a.got("block_actions")[0].Payload
	act := p["actions"].([]any)[0].(map[string]any)
	box := p["container"].(map[string]any)
	if act["value"] != "yes-1" || act["block_id"] != "a" || box["thread_ts"] != root || box["message_ts"] != ts || p["user"].(map[string]any)["id"] != kim.ID() {
		t.Errorf("payload %v", p)
	}
	onRoot := a.post("shop", "", "Ready?", map[string]string{"blocks": button})
	kim.Press("shop", onRoot, "Go on")
	p = a.got("block_actions")[3].Payload
	if _, there := p["container"].(map[string]any)["thread_ts"]; there || p["message"].(map[string]any)["thread_ts"] != nil {
		t.Error("thread_ts on a root")
	}
	a.fine(a.call("chat.update", map[string]string{"channel": a.w.Channel("shop"), "ts": ts, "text": "Done"}))
	if ans := kim.PressWith(workspace.Press{Channel: "shop", TS: ts, Choice: "Go on", Stale: true, Value: "altered"}); ans.Err != "" {
		t.Errorf("outdated card: %+v", ans)
	}
	p = a.got("block_actions")[4].Payload
	if p["actions"].([]any)[0].(map[string]any)["value"] != "altered" {
		t.Error("value not altered")
	}
	e := a.fine(a.call("chat.postEphemeral", a.message("shop", "", "x", map[string]string{"user": kim.ID(), "blocks": button})))["message_ts"].(string)
	kim.Press("shop", e, "Go on")
	p = a.got("block_actions")[5].Payload
	if p["container"].(map[string]any)["is_ephemeral"] != true || p["message"] != nil {
		t.Errorf("ephemeral %v", p)
	}
}

func TestImpossibleDeedsFailTheTest(t *testing.T) {
	s := &spoof{TB: t}
	w := workspace.New(s, workspace.Options{})
	defer func() {
		for _, f := range s.clean {
			f()
		}
	}()
	ts := w.User("kim").Say("shop", "hello")
	w.User("strand").Say("shop", "not a member")
	w.User("sam").Edit("shop", ts, "not mine")
	w.User("kim").Press("shop", ts, "no button")
	w.User("kim").SayInThread("shop", "1.000001", "no thread")
	w.User("kim").Submit("V1", nil)
	w.User("kim").Command("shop", "/other", "")
	if len(s.errors) != 6 {
		t.Errorf("%d errors: %s", len(s.errors), strings.Join(s.errors, "\n"))
	}
}
