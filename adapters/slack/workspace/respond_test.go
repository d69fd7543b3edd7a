package workspace_test

import (
	"net/http"
	"strings"
	"testing"
	"time"

	"milepost/adapters/slack/workspace"
)

func (a *app) respond(to, body string) int {
	a.t.Helper()
	res, err := http.Post(to, "application/json", strings.NewReader(body))
	if err != nil {
		a.t.Fatal(err)
	}
	res.Body.Close()
	return res.StatusCode
}

// pressed has kim press the button of a message and gives the response_url.
func (a *app) pressed(ts string) string {
	a.t.Helper()
	n := len(a.got("block_actions"))
	a.w.User("kim").Press("shop", ts, "Go on")
	return a.await("block_actions", n+1)[n].Payload["response_url"].(string)
}

func TestResponseURL(t *testing.T) {
	a := newApp(t, workspace.Options{ReplyLife: 800 * time.Millisecond, NoRateLimit: true})
	a.open()
	ts := a.post("shop", "", "Ready?", map[string]string{"blocks": button})
	to := a.pressed(ts)
	for i, body := range []string{`{"text":"only you"}`, `{"text":"all","response_type":"in_channel"}`, `{"text":"Changed","replace_original":true}`, `{"text":"again"}`} {
		if s := a.respond(to, body); s != 200 {
			t.Errorf("use %d: %d", i, s)
		}
	}
	m, _ := a.w.Message("shop", ts)
	if e := a.w.Ephemerals("kim"); len(e) != 2 || e[0].Text != "only you" || m.Text != "Changed" || m.Blocks != nil || len(a.w.Messages("shop", "")) != 2 {
		t.Errorf("after four uses: %+v %+v", e, m)
	}
	if s := a.respond(to, `{"delete_original":true}`); s != 200 {
		t.Errorf("fifth use: %d", s)
	}
	if _, there := a.w.Message("shop", ts); there {
		t.Error("original not deleted")
	}
	if s := a.respond(to, `{"text":"six"}`); s != 404 {
		t.Errorf("sixth use: %d", s)
	}
	a.forgive("more than five times", 1)
	ts = a.post("shop", "", "Ready?", map[string]string{"blocks": button})
	to = a.pressed(ts)
	if s := a.respond(to, `{"text":"<!channel>","blocks":[{"type":"nothing"}]}`); s != 400 {
		t.Errorf("bad blocks: %d", s)
	}
	a.forgive("broadcast", 1)
	a.forgive("unsupported type", 1)
	if s := a.respond(to, `words`); s != 400 {
		t.Errorf("no JSON: %d", s)
	}
	a.forgive("no JSON object", 1)
	if s := a.respond(to+"x", `{"text":"x"}`); s != 404 {
		t.Errorf("invented: %d", s)
	}
	time.Sleep(820 * time.Millisecond)
	if s := a.respond(to, `{"text":"x"}`); s != 404 {
		t.Errorf("late: %d", s)
	}
	a.forgive("after its", 1)
}

func TestReplaceEphemeral(t *testing.T) {
	a := newApp(t, workspace.Options{})
	a.open()
	args := a.message("shop", "", "Ready?", map[string]string{"user": a.w.User("kim").ID(), "blocks": button})
	ts := a.fine(a.call("chat.postEphemeral", args))["message_ts"].(string)
	to := a.pressed(ts)
	a.respond(to, `{"text":"Done","replace_original":true}`)
	if e := a.w.Ephemerals("kim"); len(e) != 1 || e[0].Text != "Done" {
		t.Errorf("%+v", e)
	}
	a.respond(to, `{"delete_original":true}`)
	if e := a.w.Ephemerals("kim"); len(e) != 0 {
		t.Errorf("%+v", e)
	}
}

func TestCommandReply(t *testing.T) {
	a := newApp(t, workspace.Options{})
	a.open()
	a.answer(func(f frame) (bool, any) {
		if f.Type == "slash_commands" {
			return true, map[string]any{"text": "three jobs", "response_type": "in_channel"}
		}
		return true, nil
	})
	if ans := a.w.User("kim").Command("yard", "/milepost", "status"); ans.Err != "" {
		t.Errorf("%+v", ans)
	}
	f := a.got("/milepost")[0]
	if f.Payload["thread_ts"] != nil || !f.Accepts || f.Payload["channel_id"] != a.w.Channel("yard") {
		t.Errorf("command %v", f.Payload)
	}
	if m := a.w.Messages("yard", ""); len(m) != 1 || m[0].Text != "three jobs" {
		t.Errorf("%+v", m)
	}
}
