package workspace_test

import (
	"fmt"
	"slices"
	"testing"

	"milepost/adapters/slack/workspace"
)

// pages follows the cursor and gives a field of every entry, page by page.
func (a *app) pages(method, list, field string, args map[string]string) (out [][]string) {
	a.t.Helper()
	for range 100 {
		r := a.fine(a.call(method, args))
		var page []string
		entries, _ := r[list].([]any)
		for _, x := range entries {
			if o, ok := x.(map[string]any); ok {
				page = append(page, fmt.Sprint(o[field]))
			} else {
				page = append(page, fmt.Sprint(x))
			}
		}
		out = append(out, page)
		meta, _ := r["response_metadata"].(map[string]any)
		next, _ := meta["next_cursor"].(string)
		if more, ok := r["has_more"].(bool); ok && more != (next != "") {
			a.t.Errorf("has_more %v, cursor %q", more, next)
		}
		if next == "" {
			return out
		}
		args["cursor"] = next
	}
	return out
}

func TestHistoryAndReplies(t *testing.T) {
	a := newApp(t, workspace.Options{NoRateLimit: true})
	kim := a.w.User("kim")
	shop := a.w.Channel("shop")
	var roots, replies []string
	for i := range 5 {
		roots = append(roots, kim.Say("shop", fmt.Sprint(i)))
	}
	for i := range 5 {
		replies = append(replies, kim.SayInThread("shop", roots[1], fmt.Sprint("r", i)))
	}
	want := slices.Clone(roots)
	slices.Reverse(want)
	got := a.pages("conversations.history", "messages", "ts", map[string]string{"channel": shop, "limit": "2"})
	if len(got) != 3 || !slices.Equal(slices.Concat(got...), want) {
		t.Errorf("history %v, want %v", got, want)
	}
	got = a.pages("conversations.history", "messages", "ts", map[string]string{"channel": shop, "oldest": roots[0], "limit": "2"})
	if len(got) != 2 || !slices.Equal(got[0], []string{roots[2], roots[1]}) || !slices.Equal(got[1], []string{roots[4], roots[3]}) {
		t.Errorf("history from %s on: %v", roots[0], got)
	}
	got = a.pages("conversations.replies", "messages", "ts", map[string]string{"channel": shop, "ts": roots[1], "limit": "2"})
	if len(got) != 3 || !slices.Equal(got[0], []string{roots[1], replies[0], replies[1]}) || !slices.Equal(got[2], []string{roots[1], replies[4]}) {
		t.Errorf("replies %v", got)
	}
	got = a.pages("conversations.replies", "messages", "ts", map[string]string{"channel": shop, "ts": roots[1], "oldest": replies[2]})
	if !slices.Equal(got[0], []string{roots[1], replies[3], replies[4]}) {
		t.Errorf("after %s: %v", replies[2], got)
	}
	got = a.pages("conversations.history", "messages", "ts", map[string]string{"channel": shop, "oldest": roots[1], "latest": roots[3], "inclusive": "true"})
	if !slices.Equal(got[0], []string{roots[3], roots[2], roots[1]}) {
		t.Errorf("span %v", got)
	}
	got = a.pages("conversations.replies", "messages", "ts", map[string]string{"channel": shop, "ts": replies[0]})
	if !slices.Equal(got[0], replies[:1]) {
		t.Errorf("of a reply %v", got)
	}
	ts := a.post("shop", roots[1], "x", map[string]string{"metadata": `{"event_type":"line","event_payload":{"row":"r1"}}`, "reply_broadcast": "true"})
	got = a.pages("conversations.history", "messages", "ts", map[string]string{"channel": shop, "limit": "1"})
	if got[0][0] != ts {
		t.Error("a broadcast reply is in the channel too")
	}
	with := func(flag string) any {
		r := a.fine(a.call("conversations.replies", map[string]string{"channel": shop, "ts": roots[1], "include_all_metadata": flag}))
		l := r["messages"].([]any)
		return l[len(l)-1].(map[string]any)["metadata"]
	}
	if with("true") == nil || with("false") != nil {
		t.Error("metadata only when asked for")
	}
	cursor := a.call("conversations.history", map[string]string{"channel": shop, "limit": "1"})["response_metadata"].(map[string]any)["next_cursor"].(string)
	a.fine(a.call("conversations.history", map[string]string{"channel": shop, "cursor": cursor}))
	a.refused(a.call("conversations.replies", map[string]string{"channel": shop, "ts": roots[1], "cursor": cursor}), "invalid_cursor")
	a.refused(a.call("conversations.history", map[string]string{"channel": a.w.Channel("bay"), "cursor": cursor}), "invalid_cursor")
	a.forgive("invalid_cursor", 2)
	a.refused(a.call("conversations.replies", map[string]string{"channel": shop, "ts": "1.000001"}), "thread_not_found")
	a.refused(a.call("conversations.history", map[string]string{"channel": a.w.Channel("yard")}), "not_in_channel")
	a.refused(a.call("conversations.history", map[string]string{"channel": a.w.Channel("office")}), "channel_not_found")
	for _, c := range []struct{ k, v, want string }{{"cursor", "xx", "invalid_cursor"}, {"limit", "1001", "invalid_limit"}, {"limit", "0", "invalid_limit"},
		{"oldest", "yesterday", "invalid_ts_oldest"}, {"latest", "x", "invalid_ts_latest"}} {
		a.refused(a.call("conversations.history", map[string]string{"channel": shop, c.k: c.v}), c.want)
		a.forgive(c.want, 1)
	}
}

func TestChannels(t *testing.T) {
	a := newApp(t, workspace.Options{NoRateLimit: true})
	ids := func(types string, limit string) [][]string {
		return a.pages("conversations.list", "channels", "id", map[string]string{"types": types, "limit": limit})
	}
	if got := ids("public_channel,private_channel", "2"); len(got) != 2 || !slices.Equal(slices.Concat(got...), []string{"C0BAY", "C0JOINT", "C0SHOP", "C0YARD"}) {
		t.Errorf("list %v", got)
	}
	a.w.User("kim").Archive("yard")
	if got := a.pages("conversations.list", "channels", "id", map[string]string{"exclude_archived": "true"}); !slices.Equal(got[0], []string{"C0JOINT", "C0SHOP"}) {
		t.Errorf("not archived %v", got)
	}
	if got := a.pages("users.conversations", "channels", "id", map[string]string{"types": "public_channel, private_channel"}); !slices.Equal(got[0], []string{"C0BAY", "C0JOINT", "C0SHOP"}) {
		t.Errorf("the app's own %v", got)
	}
	a.refused(a.call("conversations.list", map[string]string{"types": "secret"}), "invalid_types")
	a.forgive("invalid_types", 1)
	a.refused(a.call("conversations.list", map[string]string{"types": "mpim"}), "missing_scope")

	info := func(name string) map[string]any {
		c, _ := a.fine(a.call("conversations.info", map[string]string{"channel": a.w.Channel(name)}))["channel"].(map[string]any)
		return c
	}
	if c := info("yard"); c["is_member"] != false || c["is_archived"] != true {
		t.Errorf("yard %v", c)
	}
	if c := info("bay"); c["is_private"] != true || c["is_member"] != true {
		t.Errorf("bay %v", c)
	}
	a.refused(a.call("conversations.info", map[string]string{"channel": a.w.Channel("office")}), "channel_not_found")
	got := a.pages("conversations.members", "members", "", map[string]string{"channel": a.w.Channel("shop"), "limit": "3"})
	if len(got) != 2 || !slices.Equal(slices.Concat(got...), []string{"U0MILE", "U0KIM", "U0SAM", "U0ALEX", "U0GAIL"}) {
		t.Errorf("members %v", got)
	}

	open := func(users string) map[string]any {
		return a.call("conversations.open", map[string]string{"users": users})
	}
	c := a.fine(open("U0KIM"))["channel"].(map[string]any)
	if c["id"] != a.w.Direct("kim") {
		t.Errorf("direct %v", c)
	}
	a.fine(open("U0STRAND"))
	a.refused(open("U0NONE"), "user_not_found")
	a.refused(open("U0MILE"), "cannot_dm_bot")
	a.refused(open("U0KIM,U0SAM"), "missing_scope")
}

func TestReactionsAndPins(t *testing.T) {
	a := newApp(t, workspace.Options{Scopes: append(workspace.DefaultScopes(), "pins:write"), NoRateLimit: true})
	a.open()
	ts := a.w.User("kim").Say("shop", "hello")
	args := func(name string) map[string]string {
		return map[string]string{"channel": a.w.Channel("shop"), "timestamp": ts, "name": name}
	}
	a.fine(a.call("reactions.add", args("eyes")))
	a.refused(a.call("reactions.add", args("eyes")), "already_reacted")
	a.refused(a.call("reactions.add", args(":eyes:")), "invalid_name")
	a.forgive("invalid_name", 1)
	if e := a.await("reaction_added", 1)[0].event(); e["user"] != a.w.App() {
		t.Errorf("own reaction %v", e)
	}
	a.w.User("sam").React("shop", ts, "eyes")
	r := a.fine(a.call("reactions.get", map[string]string{"channel": a.w.Channel("shop"), "timestamp": ts}))
	l := r["message"].(map[string]any)["reactions"].([]any)
	if x := l[0].(map[string]any); len(l) != 1 || x["count"] != 2.0 {
		t.Errorf("reactions %v", l)
	}
	a.fine(a.call("reactions.remove", args("eyes")))
	a.refused(a.call("reactions.remove", args("eyes")), "no_reaction")
	a.forgive("no_reaction", 1)
	a.fine(a.call("pins.add", args("")))
	a.refused(a.call("pins.add", args("")), "already_pinned")
	a.fine(a.call("pins.remove", args("")))
	ts = "1.000001"
	a.refused(a.call("reactions.add", args("eyes")), "message_not_found")
}
