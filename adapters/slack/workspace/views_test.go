package workspace_test

import (
	"strings"
	"testing"
	"time"

	"milepost/adapters/slack/workspace"
)

// trigger has kim use a shortcut and gives the trigger_id that comes with it.
func (a *app) trigger() string {
	a.t.Helper()
	n := len(a.got("shortcut"))
	if ans := a.w.User("kim").GlobalShortcut("size"); ans.Err != "" {
		a.t.Fatalf("shortcut: %+v", ans)
	}
	return a.await("shortcut", n+1)[n].Payload["trigger_id"].(string)
}

func (a *app) openView() map[string]any {
	a.t.Helper()
	v, _ := a.fine(a.call("views.open", map[string]string{"trigger_id": a.trigger(), "view": modal}))["view"].(map[string]any)
	return v
}

func TestTriggers(t *testing.T) {
	a := newApp(t, workspace.Options{TriggerLife: 300 * time.Millisecond})
	a.open()
	id := a.trigger()
	open := func(trigger, view string) map[string]any {
		return a.call("views.open", map[string]string{"trigger_id": trigger, "view": view})
	}
	a.refused(open(id, `{"type":"modal"}`), "invalid_arguments")
	a.forgive("invalid_arguments", 1)
	a.refused(open(id, `{"type":"home","blocks":[{"type":"divider"}]}`), "invalid_arguments")
	a.forgive("must be modal", 1)
	a.fine(open(id, modal)) // what is refused does not spend the trigger
	a.refused(open(id, modal), "exchanged_trigger_id")
	a.forgive("exchanged_trigger_id", 1)
	a.refused(open("nothing", modal), "invalid_trigger_id")
	a.forgive("invalid_trigger_id", 1)
	id = a.trigger()
	time.Sleep(320 * time.Millisecond)
	a.refused(open(id, modal), "expired_trigger_id")
	a.forgive("too late", 1)
	a.fine(a.json("views.open", map[string]any{"trigger_id": a.trigger(), "view": map[string]any{"type": "modal", "title": map[string]any{"type": "plain_text", "text": "T"},
		"blocks": []any{map[string]any{"type": "divider"}}}}))
}

func TestViewUpdate(t *testing.T) {
	a := newApp(t, workspace.Options{})
	a.open()
	v := a.openView()
	update := func(hash string) map[string]any {
		return a.call("views.update", map[string]string{"view_id": v["id"].(string), "hash": hash, "view": strings.Replace(modal, "Width", "Breadth", 1)})
	}
	old := v["hash"].(string)
	a.fine(update(old))
	a.refused(update(old), "hash_conflict")
	a.fine(update(""))
	if got := a.w.Views("kim"); len(got) != 1 || !strings.Contains(string(got[0].Content), "Breadth") || got[0].Callback != "size" {
		t.Errorf("views %+v", got)
	}
	a.refused(a.call("views.update", map[string]string{"view_id": "V1", "view": modal}), "not_found")
}

func TestHome(t *testing.T) {
	a := newApp(t, workspace.Options{})
	a.open()
	kim := a.w.User("kim")
	kim.OpenHome()
	if e := a.await("app_home_opened", 1)[0].event(); e["tab"] != "home" || e["view"] != nil || e["user"] != kim.ID() {
		t.Errorf("event %v", e)
	}
	const home = `{"type":"home","blocks":` + button + `}`
	publish := func(hash string) map[string]any {
		return a.call("views.publish", map[string]string{"user_id": kim.ID(), "hash": hash, "view": home})
	}
	v := a.fine(publish(""))["view"].(map[string]any)
	a.fine(publish(v["hash"].(string)))
	a.refused(publish(v["hash"].(string)), "hash_conflict")
	if got, ok := a.w.Home("kim"); !ok || !strings.Contains(string(got.Content), "Go on") {
		t.Errorf("home %+v", got)
	}
	kim.OpenHome()
	if e := a.await("app_home_opened", 2)[1].event(); e["view"] == nil {
		t.Error("no view in the second event")
	}
	if ans := kim.PressWith(workspace.Press{Choice: "Go on"}); ans.Err != "" {
		t.Errorf("press %+v", ans)
	}
	p := a.got("block_actions")[0].Payload
	if p["container"].(map[string]any)["type"] != "view" || p["response_url"] != nil || p["channel"] != nil {
		t.Errorf("payload %v", p)
	}
	kim.OpenMessages()
	a.await("app_home_opened", 3)
}

func TestSubmit(t *testing.T) {
	a := newApp(t, workspace.Options{NoRateLimit: true})
	a.open()
	kim := a.w.User("kim")
	answer := func(payload any) {
		a.answer(func(f frame) (bool, any) {
			if f.name() == "view_submission" {
				return true, payload
			}
			return true, nil
		})
	}
	id := a.openView()["id"].(string)
	for name, values := range map[string]map[string]string{"required": {}, "length not allowed": {"width": "12345678901"}, "no such choice": {"width": "205", "kind": "Autumn"}, "no such input": {"width": "205", "x": "y"}} {
		if ans := kim.Submit(id, values); !strings.Contains(ans.Err, name) {
			t.Errorf("%s: %+v", name, ans)
		}
	}
	if len(a.got("view_submission")) != 0 {
		t.Error("the client sent what it should have refused")
	}
	answer(map[string]any{"response_action": "errors", "errors": map[string]string{"w": "three digits"}})
	if ans := kim.Submit(id, map[string]string{"width": "20"}); ans.Errors["w"] != "three digits" || len(a.w.Views("kim")) != 1 {
		t.Errorf("errors %+v", ans)
	}
	answer(map[string]any{"response_action": "errors", "errors": map[string]string{"width": "wrong key"}})
	kim.Submit(id, map[string]string{"width": "20"})
	a.forgive("no input's block_id", 1)

	answer(nil)
	if ans := kim.Submit(id, map[string]string{"width": "205", "kind": "Winter"}); ans.Err != "" || len(a.w.Views("kim")) != 0 {
		t.Errorf("close %+v", ans)
	}
	all := a.got("view_submission")
	last := all[len(all)-1]
	values := last.Payload["view"].(map[string]any)["state"].(map[string]any)["values"].(map[string]any)
	width := values["w"].(map[string]any)["width"].(map[string]any)
	kind := values["k"].(map[string]any)["kind"].(map[string]any)["selected_option"].(map[string]any)
	if width["value"] != "205" || kind["value"] != "w" || !last.Accepts {
		t.Errorf("state %v", values)
	}

	view := map[string]any{"type": "modal", "title": map[string]any{"type": "plain_text", "text": "Next"}, "blocks": []any{map[string]any{"type": "divider"}}}
	id = a.openView()["id"].(string)
	answer(map[string]any{"response_action": "push", "view": view})
	kim.Submit(id, map[string]string{"width": "205"})
	if got := a.w.Views("kim"); len(got) != 2 || !strings.Contains(string(got[1].Content), "Next") {
		t.Errorf("push %+v", got)
	}
	answer(map[string]any{"response_action": "update", "view": view})
	kim.Submit(id, map[string]string{"width": "205"})
	if got := a.w.Views("kim"); !strings.Contains(string(got[0].Content), "Next") {
		t.Errorf("update %+v", got)
	}
	id = a.openView()["id"].(string)
	answer(map[string]any{"response_action": "clear"})
	kim.Submit(id, map[string]string{"width": "205"})
	if got := a.w.Views("kim"); len(got) != 0 {
		t.Errorf("clear %+v", got)
	}
	id = a.openView()["id"].(string)
	answer(map[string]any{"response_action": "update", "view": map[string]any{"type": "modal"}})
	kim.Submit(id, map[string]string{"width": "205"})
	a.forgive("bad view", 1)
	answer(map[string]any{"response_action": "dance"})
	kim.Submit(id, map[string]string{"width": "205"})
	a.forgive("unknown response_action", 1)
	if ans := kim.CloseView(id); ans.Err != "" || len(a.w.Views("kim")) != 0 || len(a.got("view_closed")) != 0 {
		t.Errorf("close %+v", ans)
	}
	notify := strings.Replace(modal, `"type":"modal"`, `"type":"modal","notify_on_close":true`, 1)
	v := a.fine(a.call("views.open", map[string]string{"trigger_id": a.trigger(), "view": notify}))["view"].(map[string]any)
	kim.CloseView(v["id"].(string))
	a.await("view_closed", 1)
}

func TestMessageShortcut(t *testing.T) {
	a := newApp(t, workspace.Options{})
	a.open()
	ts := a.w.User("sam").Say("shop", "205/55 R16")
	if ans := a.w.User("kim").Shortcut("shop", ts, "note"); ans.Err != "" {
		t.Errorf("%+v", ans)
	}
	p := a.got("message_action")[0].Payload
	if p["callback_id"] != "note" || p["message"].(map[string]any)["ts"] != ts || p["trigger_id"] == nil {
		t.Errorf("payload %v", p)
	}
}
