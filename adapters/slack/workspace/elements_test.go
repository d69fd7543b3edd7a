package workspace_test

import (
	"encoding/json"
	"strings"
	"testing"

	"milepost/adapters/slack/workspace"
)

func TestInputElements(t *testing.T) {
	const options = `"options":[{"text":{"type":"plain_text","text":"One"},"value":"1"},{"text":{"type":"plain_text","text":"Two"},"value":"2"}]`
	for _, c := range []struct{ element, want string }{
		{`"type":"plain_text_input","multiline":true,"min_length":1,"max_length":3000,"initial_value":"x","placeholder":{"type":"plain_text","text":"x"}`, ""},
		{`"type":"plain_text_input","max_length":3001`, "whole number"},
		{`"type":"plain_text_input","multiline":"yes"`, "boolean"},
		{`"type":"plain_text_input","placeholder":{"type":"plain_text","text":"` + n("x", 151) + `"}`, "less than 151"},
		{`"type":"plain_text_input","dispatch_action_config":{"trigger_actions_on":["on_enter_pressed"]}`, ""},
		{`"type":"plain_text_input","dispatch_action_config":{"trigger_actions_on":["on_leave"]}`, "must be one of"},
		{`"type":"number_input","is_decimal_allowed":true,"min_value":"0.5"`, ""},
		{`"type":"number_input","is_decimal_allowed":true,"min_value":0.5`, "number in a string"},
		{`"type":"number_input"`, "missing required field: is_decimal_allowed"},
		{`"type":"url_text_input"`, ""},
		{`"type":"datepicker","initial_date":"2026-02-28"`, ""},
		{`"type":"datepicker","initial_date":"28.02.2026"`, "must look like"},
		{`"type":"timepicker","initial_time":"24:30"`, "must look like"},
		{`"type":"datetimepicker","initial_date_time":1700000000`, ""},
		{`"type":"users_select","initial_user":"U0KIM"`, ""},
		{`"type":"channels_select","initial_channel":"C1","response_url_enabled":true`, ""},
		{`"type":"conversations_select","filter":{"include":["im","shop"]}`, "must be one of im"},
		{`"type":"multi_users_select","max_selected_items":0`, "whole number"},
		{`"type":"multi_conversations_select"`, ""},
		{`"type":"static_select","option_groups":[{"label":{"type":"plain_text","text":"g"},` + options + `}]`, ""},
		{`"type":"static_select","option_groups":[{` + options + `}]`, "missing required field: label"},
		{`"type":"multi_static_select",` + options + `,"initial_options":[{"text":{"type":"plain_text","text":"Two"},"value":"2"}]`, ""},
		{`"type":"multi_static_select",` + options + `,"initial_options":[{"text":{"type":"plain_text","text":"Six"},"value":"6"}]`, "among the options"},
		{`"type":"checkboxes","options":[{"text":{"type":"mrkdwn","text":"*One*"},"value":"1"}]`, ""},
		{`"type":"static_select","options":[{"text":{"type":"mrkdwn","text":"*One*"},"value":"1"}]`, "plain_text"},
		{`"type":"file_input","max_files":11`, "whole number"},
		{`"type":"rich_text_input"`, ""},
		{`"type":"button","text":{"type":"plain_text","text":"x"}`, "unsupported type: button in input"},
		{`"type":"sound_input"`, "unsupported type"},
	} {
		view := `{"type":"modal","title":{"type":"plain_text","text":"T"},"submit":{"type":"plain_text","text":"S"},"blocks":[{"type":"input",` +
			`"label":{"type":"plain_text","text":"L"},"element":{"action_id":"a",` + c.element + `}}]}`
		got := workspace.ValidateView(json.RawMessage(view))
		if c.want == "" && len(got) > 0 || c.want != "" && !strings.Contains(strings.Join(got, "\n"), c.want) {
			t.Errorf("%s: %q, want %q", c.element, got, c.want)
		}
	}
	file := `[{"type":"input","label":{"type":"plain_text","text":"L"},"element":{"type":"file_input","action_id":"a"}}]`
	if got := workspace.ValidateBlocks(json.RawMessage(file)); len(got) == 0 {
		t.Error("file_input in a message")
	}
}

func TestFillIn(t *testing.T) {
	const view = `{"type":"modal","title":{"type":"plain_text","text":"T"},"submit":{"type":"plain_text","text":"S"},"blocks":[` +
		`{"type":"input","block_id":"n","label":{"type":"plain_text","text":"L"},"element":{"type":"number_input","action_id":"num","is_decimal_allowed":false,"min_value":"1","max_value":"9"}},` +
		`{"type":"input","block_id":"c","label":{"type":"plain_text","text":"L"},"element":{"type":"checkboxes","action_id":"box","options":[` +
		`{"text":{"type":"plain_text","text":"One"},"value":"1"},{"text":{"type":"plain_text","text":"Two"},"value":"2"}]}},` +
		`{"type":"input","block_id":"d","label":{"type":"plain_text","text":"L"},"element":{"type":"datepicker","action_id":"day","initial_date":"2026-01-02"}},` +
		`{"type":"input","block_id":"u","optional":true,"label":{"type":"plain_text","text":"L"},"element":{"type":"users_select","action_id":"who"}}]}`
	a := newApp(t, workspace.Options{})
	a.open()
	v := a.fine(a.call("views.open", map[string]string{"trigger_id": a.trigger(), "view": view}))["view"].(map[string]any)
	id := v["id"].(string)
	for num, want := range map[string]string{"0": "out of range", "10": "out of range", "1.5": "no such number", "x": "no such number"} {
		if ans := a.w.User("kim").Submit(id, map[string]string{"num": num, "box": "One"}); !strings.Contains(ans.Err, want) {
			t.Errorf("%s: %+v", num, ans)
		}
	}
	if ans := a.w.User("kim").Submit(id, map[string]string{"num": "5"}); !strings.Contains(ans.Err, "required: box") {
		t.Errorf("%+v", ans)
	}
	r := a.fine(a.call("views.push", map[string]string{"trigger_id": a.trigger(), "view": strings.Replace(modal, "Size", "On top", 1)}))
	a.fine(r)
	a.fine(a.call("views.push", map[string]string{"trigger_id": a.trigger(), "view": modal}))
	a.refused(a.call("views.push", map[string]string{"trigger_id": a.trigger(), "view": modal}), "push_limit_reached")
	a.forgive("push_limit_reached", 1)
	if ans := a.w.User("kim").Submit(id, map[string]string{"num": "5", "box": "One, 2", "who": "U0SAM"}); ans.Err != "" {
		t.Errorf("%+v", ans)
	}
	state := a.await("view_submission", 1)[0].Payload["view"].(map[string]any)["state"].(map[string]any)["values"].(map[string]any)
	at := func(block, action string) map[string]any {
		return state[block].(map[string]any)[action].(map[string]any)
	}
	if at("n", "num")["value"] != "5" || len(at("c", "box")["selected_options"].([]any)) != 2 || at("d", "day")["selected_date"] != "2026-01-02" || at("u", "who")["selected_user"] != "U0SAM" {
		t.Errorf("state %v", state)
	}
}
