package workspace_test

import (
	"slices"
	"strings"
	"testing"

	"milepost/adapters/slack/workspace"
)

func TestPostUpdateDelete(t *testing.T) {
	a := newApp(t, workspace.Options{})
	a.open()
	ts := a.post("shop", "", "Ready?", map[string]string{"blocks": button, "metadata": `{"event_type":"line","event_payload":{"row":"r1"}}`})
	m, _ := a.w.Message("shop", ts)
	if !m.App || m.Text != "Ready?" || m.Edited || !slices.Equal(m.Buttons(), []string{"Go on"}) || !strings.Contains(string(m.Metadata), "r1") {
		t.Errorf("posted %+v", m)
	}
	own := a.await("message", 1)[0].event()
	if own["bot_id"] != "B0MILE" || own["app_id"] != "A0MILE" || own["metadata"] != nil || own["client_msg_id"] != nil {
		t.Errorf("own post as event: %v", own)
	}

	shop := a.w.Channel("shop")
	a.fine(a.call("chat.update", map[string]string{"channel": shop, "ts": ts, "text": "Done"}))
	m, _ = a.w.Message("shop", ts)
	if m.Text != "Done" || !m.Edited || m.Blocks != nil {
		t.Errorf("text without blocks: %+v", m)
	}
	changed := a.await("message/message_changed", 1)[0].event()
	if changed["message"].(map[string]any)["text"] != "Done" || changed["previous_message"].(map[string]any)["text"] != "Ready?" {
		t.Errorf("message_changed %v", changed)
	}
	a.fine(a.call("chat.update", map[string]string{"channel": shop, "ts": ts, "blocks": button}))
	a.forgive("no_text", 1)
	a.refused(a.call("chat.update", map[string]string{"channel": shop, "ts": ts}), "no_text")
	a.forgive("no_text", 2)
	a.refused(a.call("chat.update", map[string]string{"channel": shop, "ts": ts, "text": strings.Repeat("x", 4001)}), "msg_too_long")
	a.forgive("msg_too_long", 2)

	theirs := a.w.User("kim").Say("shop", "hello")
	a.refused(a.call("chat.update", map[string]string{"channel": shop, "ts": theirs, "text": "x"}), "cant_update_message")
	a.refused(a.call("chat.delete", map[string]string{"channel": shop, "ts": theirs}), "cant_delete_message")
	a.refused(a.call("chat.update", map[string]string{"channel": shop, "ts": "1.000001", "text": "x"}), "message_not_found")
	r := a.fine(a.call("chat.getPermalink", map[string]string{"channel": shop, "message_ts": ts}))
	if !strings.HasSuffix(r["permalink"].(string), "/archives/C0SHOP/p"+strings.Replace(ts, ".", "", 1)) {
		t.Errorf("permalink %v", r["permalink"])
	}
	a.fine(a.call("chat.delete", map[string]string{"channel": shop, "ts": ts}))
	if d := a.await("message/message_deleted", 1)[0].event(); d["deleted_ts"] != ts {
		t.Errorf("message_deleted %v", d)
	}
	a.refused(a.call("chat.delete", map[string]string{"channel": shop, "ts": ts}), "message_not_found")
}

func TestWhereTheAppMayWrite(t *testing.T) {
	a := newApp(t, workspace.Options{Channels: []workspace.Channel{{Name: "shop", App: true, Members: []string{"kim"}}, {Name: "yard"},
		{Name: "office", Kind: workspace.Private}, {Name: "old", App: true, Archived: true}, {Name: "crowd", Kind: workspace.Group, App: true, Members: []string{"kim", "sam"}}}})
	for channel, want := range map[string]string{"yard": "not_in_channel", "office": "channel_not_found", "old": "is_archived"} {
		a.refused(a.call("chat.postMessage", a.message(channel, "", "hello", nil)), want)
	}
	for _, id := range []string{"#shop", "shop", a.w.User("kim").ID(), "C0NONE"} {
		a.refused(a.call("chat.postMessage", map[string]string{"channel": id, "text": "hello"}), "channel_not_found")
	}
	a.post("crowd", "", "group direct messages are not served", nil)
	a.refused(a.call("conversations.history", map[string]string{"channel": a.w.Channel("crowd")}), "missing_scope")
	a.w.User("kim").RemoveApp("shop")
	a.refused(a.call("chat.postMessage", a.message("shop", "", "hello", nil)), "not_in_channel")
	a.refused(a.call("chat.postMessage", nil), "invalid_arguments")
	a.forgive("invalid_arguments", 1)
}

func TestThreadRoots(t *testing.T) {
	a := newApp(t, workspace.Options{NoRateLimit: true})
	a.open()
	kim := a.w.User("kim")
	root := kim.Say("shop", "job")
	reply := a.post("shop", root, "reply", nil)
	a.refused(a.call("chat.postMessage", a.message("shop", reply, "x", nil)), "cannot_reply_to_message")
	a.forgive("that of a reply", 1)
	a.refused(a.call("chat.postMessage", a.message("shop", "1.000001", "x", nil)), "thread_not_found")

	kim.Delete("shop", root)
	m, there := a.w.Message("shop", root)
	if !there || m.Subtype != "tombstone" || m.User != "USLACKBOT" {
		t.Errorf("root with replies: %+v", m)
	}
	e := a.await("message/message_changed", 1)[0].event()
	if e["message"].(map[string]any)["subtype"] != "tombstone" || e["previous_message"].(map[string]any)["text"] != "job" {
		t.Errorf("tombstone event %v", e)
	}
	a.post("shop", root, "below a tombstone", nil)
	a.w.User("alex").DeleteAny("shop", reply)
	a.await("message/message_deleted", 1)
	a.await("message/message_changed", 2) // the root's count of replies

	alone := kim.Say("shop", "no replies")
	kim.Delete("shop", alone)
	if _, there := a.w.Message("shop", alone); there {
		t.Error("a message without replies leaves nothing")
	}
	a.refused(a.call("chat.postMessage", a.message("shop", alone, "x", nil)), "thread_not_found")
}

func TestStrictTombstones(t *testing.T) {
	a := newApp(t, workspace.Options{StrictTombstones: true})
	root := a.w.User("kim").Say("shop", "job")
	a.post("shop", root, "reply", nil)
	a.w.User("kim").Delete("shop", root)
	a.refused(a.call("chat.postMessage", a.message("shop", root, "x", nil)), "cannot_reply_to_message")
}

func TestWordsThatDoHarm(t *testing.T) {
	a := newApp(t, workspace.Options{NoRateLimit: true})
	kim := a.w.User("kim")
	kim.Say("shop", "see https://bad.example/x @channel, typed <@U0SAM> <https://y.example|z> &lt;!here&gt;")
	post := func(words string, more map[string]string) { a.post("shop", "", words, more) }
	rich := func(inline string) map[string]string {
		return map[string]string{"blocks": `[{"type":"rich_text","elements":[{"type":"rich_text_section","elements":[` + inline + `]}]}]`}
	}
	for _, c := range []struct {
		words string
		more  map[string]string
		rule  string
	}{
		{"<!channel> hello", nil, "broadcast"},
		{"<!here|here>", nil, "broadcast"},
		{"<!subteam^S1>", nil, "broadcast"},
		{"x", map[string]string{"blocks": `[{"type":"context","elements":[{"type":"mrkdwn","text":"<!everyone>"}]}]`}, "broadcast"},
		{"x", map[string]string{"attachments": `[{"fallback":"f","text":"<!channel>"}]`}, "broadcast"},
		{"x", rich(`{"type":"broadcast","range":"channel"}`), "broadcast"},
		{"x", rich(`{"type":"usergroup","usergroup_id":"S1"}`), "broadcast"},
		{"<https://bad.example/x>", nil, "came from a person"},
		{"<@U0SAM> said", nil, "came from a person"},
		{"<https://y.example|z>", nil, "came from a person"},
		{"x", rich(`{"type":"link","url":"https://bad.example/x"}`), "came from a person"},
		{"x", map[string]string{"link_names": "true"}, "parse or link_names"},
		{"x", map[string]string{"unfurl_media": "true"}, "unfurl_media"},
		{"", map[string]string{"blocks": button}, "no_text"},
		{strings.Repeat("x", 4001), nil, "msg_too_long"},
	} {
		post(c.words, c.more)
		if n := a.w.Forgive(c.rule); n == 0 {
			t.Errorf("%.60q %v: rule %q not recorded", c.words, c.more, c.rule)
		}
		if left := a.w.Broken(); len(left) > 0 {
			t.Errorf("%.60q: recorded too: %q", c.words, left)
			a.w.Forgive("")
		}
	}
	for _, fine := range []struct {
		words string
		more  map[string]string
	}{
		{"&lt;!channel&gt; &lt;@U0SAM&gt; 60 &lt; 65", nil},
		{"<@U0KIM> your turn, see <https://docs.example/help|help>", nil},
		{"<!date^1392734382^{date}|a day>", nil},
		{"x", map[string]string{"blocks": `[{"type":"section","text":{"type":"plain_text","text":"<!channel> <@U0SAM>"}}]`}},
		{"x", rich(`{"type":"text","text":"<!channel> <https://bad.example/x>"}`)},
	} {
		post(fine.words, fine.more)
		if left := a.w.Broken(); len(left) > 0 {
			t.Errorf("%q: %q", fine.words, left)
			a.w.Forgive("")
		}
	}
	if got := a.w.Alerted("sam"); len(got) != 1 {
		t.Errorf("sam alerted by %v", got)
	}
	if got := a.w.Alerted("kim"); len(got) != 1 {
		t.Errorf("kim alerted by %v", got)
	}
}

func TestRefusedContent(t *testing.T) {
	a := newApp(t, workspace.Options{NoRateLimit: true})
	for _, c := range []struct {
		words string
		more  map[string]string
		want  string
	}{
		{"", nil, "no_text"},
		{strings.Repeat("x", 40001), nil, "msg_too_long"},
		{"x", map[string]string{"blocks": `[{"type":"header","text":{"type":"mrkdwn","text":"x"}}]`}, "invalid_blocks"},
		{"x", map[string]string{"blocks": `[{"type":`}, "invalid_blocks_format"},
		{"x", map[string]string{"metadata": `{"event_type":"a b","event_payload":{}}`}, "invalid_metadata_format"},
		{"x", map[string]string{"metadata": `{"event_type":"a"}`}, "invalid_metadata_format"},
		{"x", map[string]string{"metadata": `{"event_type":"a","event_payload":{"x":"` + strings.Repeat("y", 17000) + `"}}`}, "metadata_too_large"},
		{"x", map[string]string{"attachments": `{}`}, "invalid_attachments"},
	} {
		r := a.call("chat.postMessage", a.message("shop", "", c.words, c.more))
		a.refused(r, c.want)
		if c.want == "invalid_blocks" && r["response_metadata"] == nil {
			t.Error("invalid_blocks without response_metadata.messages")
		}
		if a.w.Forgive("") == 0 {
			t.Errorf("%s: no broken rule", c.want)
		}
	}
	if n := len(a.w.Posts("")); n != 0 {
		t.Errorf("%d posts", n)
	}
}

func TestEphemeral(t *testing.T) {
	a := newApp(t, workspace.Options{})
	args := a.message("shop", "", "only you", map[string]string{"user": a.w.User("kim").ID(), "blocks": button})
	ts := a.fine(a.call("chat.postEphemeral", args))["message_ts"].(string)
	if e := a.w.Ephemerals("kim"); len(e) != 1 || e[0].TS != ts || len(a.w.Messages("shop", "")) != 0 || len(a.w.Ephemerals("sam")) != 0 {
		t.Errorf("ephemerals %+v", e)
	}
	a.refused(a.call("chat.update", map[string]string{"channel": a.w.Channel("shop"), "ts": ts, "text": "x"}), "message_not_found")
	args["user"] = a.w.User("strand").ID()
	a.refused(a.call("chat.postEphemeral", args), "user_not_in_channel")
	a.w.User("kim").Reload()
	if len(a.w.Ephemerals("kim")) != 0 {
		t.Error("ephemeral message outlived a reload")
	}
}

func TestDuplicates(t *testing.T) {
	a := newApp(t, workspace.Options{})
	meta := map[string]string{"metadata": `{"event_type":"line","event_payload":{"row":"r7"}}`}
	a.post("shop", "", "x", meta)
	if d := a.w.Duplicates("row"); len(d) != 0 {
		t.Errorf("one is no duplicate: %v", d)
	}
	ts := a.post("shop", "", "x", meta)
	if d := a.w.Duplicates("row"); d["r7"] != 2 {
		t.Errorf("duplicates %v", d)
	}
	a.fine(a.call("chat.delete", map[string]string{"channel": a.w.Channel("shop"), "ts": ts}))
	if d := a.w.Duplicates("row"); len(d) != 0 {
		t.Errorf("people see one: %v", d)
	}
}
