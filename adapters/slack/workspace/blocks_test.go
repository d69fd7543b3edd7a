package workspace_test

import (
	"encoding/json"
	"fmt"
	"strings"
	"testing"

	"milepost/adapters/slack/workspace"
)

func n(s string, times int) string { return strings.Repeat(s, times) }

// many joins times copies of a JSON value; %d in it becomes the number.
func many(s string, times int) string {
	var list []string
	for i := range times {
		list = append(list, strings.ReplaceAll(s, "%d", fmt.Sprint(i)))
	}
	return strings.Join(list, ",")
}

func plainText(s string) string { return `{"type":"plain_text","text":"` + s + `"}` }
func mrkdwn(s string) string    { return `{"type":"mrkdwn","text":"` + s + `"}` }

func TestValidateBlocks(t *testing.T) {
	section := func(rest string) string { return `[{"type":"section",` + rest + `}]` }
	actions := func(elements string) string { return `[{"type":"actions","elements":[` + elements + `]}]` }
	press := func(id, label, rest string) string {
		return `{"type":"button","action_id":"` + id + `","text":` + plainText(label) + rest + `}`
	}
	opt := func(label, value string) string { return `{"text":` + plainText(label) + `,"value":"` + value + `"}` }
	sel := func(options string) string {
		return actions(`{"type":"static_select","action_id":"s","options":[` + options + `]}`)
	}
	for _, c := range []struct{ name, blocks, want string }{ // want: part of the first fault, "" for none
		{"button", button, ""},
		{"empty array", `[]`, ""},
		{"no array", `{}`, "must be an array"},
		{"no JSON", `[`, "valid JSON"},
		{"two values", `[] []`, "valid JSON"},
		{"50 blocks", `[` + many(`{"type":"divider"}`, 50) + `]`, ""},
		{"51 blocks", `[` + many(`{"type":"divider"}`, 51) + `]`, "no more than 50"},
		{"unknown type", `[{"type":"carousel"}]`, "unsupported type"},
		{"no type", `[{}]`, "unsupported type"},
		{"unknown property", `[{"type":"divider","colour":"red"}]`, "unknown property"},
		{"emoji in mrkdwn", section(`"text":{"type":"mrkdwn","text":"x","emoji":true}`), "unknown property"},
		{"emoji in plain text", section(`"text":{"type":"plain_text","text":"x","emoji":true}`), ""},
		{"verbatim in plain text", section(`"text":{"type":"plain_text","text":"x","verbatim":true}`), "unknown property"},
		{"empty text", section(`"text":` + mrkdwn("")), "more than 0"},
		{"blank text", section(`"text":` + mrkdwn(" \\n")), "more than 0"},
		{"3000", section(`"text":` + mrkdwn(n("x", 3000))), ""},
		{"3001", section(`"text":` + mrkdwn(n("x", 3001))), "less than 3001"},
		{"surrogates count twice", section(`"text":` + mrkdwn(n("🔧", 1501))), "less than 3001"},
		{"neither text nor fields", section(`"expand":true`), "either `text` or `fields`"},
		{"10 fields", section(`"fields":[` + many(mrkdwn(n("x", 900)), 10) + `]`), ""},
		{"11 fields", section(`"fields":[` + many(mrkdwn("x"), 11) + `]`), "no more than 10"},
		{"no fields", section(`"fields":[]`), "no fewer than 1"},
		{"field 2001", section(`"fields":[` + mrkdwn(n("x", 2001)) + `]`), "less than 2001"},
		{"accessory", section(`"text":` + mrkdwn("x") + `,"accessory":` + press("a", "x", "")), ""},
		{"header 150", `[{"type":"header","text":` + plainText(n("x", 150)) + `}]`, ""},
		{"header 151", `[{"type":"header","text":` + plainText(n("x", 151)) + `}]`, "less than 151"},
		{"header mrkdwn", `[{"type":"header","text":` + mrkdwn("x") + `}]`, "must be one of plain_text"},
		{"context 10", `[{"type":"context","elements":[` + many(mrkdwn("x"), 10) + `]}]`, ""},
		{"context 11", `[{"type":"context","elements":[` + many(mrkdwn("x"), 11) + `]}]`, "no more than 10"},
		{"context empty", `[{"type":"context","elements":[]}]`, "no fewer than 1"},
		{"actions 25", actions(many(press("a%d", "x", ""), 25)), ""},
		{"actions 26", actions(many(press("a%d", "x", ""), 26)), "no more than 25"},
		{"actions none", actions(""), "no fewer than 1"},
		{"label 75", actions(press("a", n("x", 75), "")), ""},
		{"label 76", actions(press("a", n("x", 76), "")), "less than 76"},
		{"value 2000", actions(press("a", "x", `,"value":"`+n("x", 2000)+`"`)), ""},
		{"value 2001", actions(press("a", "x", `,"value":"`+n("x", 2001)+`"`)), "less than 2001"},
		{"value empty", actions(press("a", "x", `,"value":""`)), "more than 0"},
		{"style", actions(press("a", "x", `,"style":"default"`)), "primary, danger"},
		{"action_id 256", actions(press(n("x", 256), "x", "")), "less than 256"},
		{"action_id missing", actions(`{"type":"button","text":` + plainText("x") + `}`), "missing required field: action_id"},
		{"action_id twice", actions(press("a", "x", "") + "," + press("a", "y", "")), "used twice in its block"},
		{"action_id in two blocks", `[` + many(`{"type":"actions","elements":[`+press("a", "x", "")+`]}`, 2) + `]`, ""},
		{"block_id twice", `[` + many(`{"type":"divider","block_id":"b"}`, 2) + `]`, "used twice"},
		{"block_id 256", `[{"type":"divider","block_id":"` + n("b", 256) + `"}]`, "less than 256"},
		{"confirm", actions(press("a", "x", `,"confirm":{"title":`+plainText(n("x", 100))+`,"text":`+mrkdwn(n("x", 300))+`,"confirm":`+plainText("Yes")+`,"deny":`+plainText("No")+`}`)), ""},
		{"confirm title 101", actions(press("a", "x", `,"confirm":{"title":`+plainText(n("x", 101))+`,"text":`+mrkdwn("x")+`,"confirm":`+plainText("Yes")+`,"deny":`+plainText("No")+`}`)), "less than 101"},
		{"confirm without deny", actions(press("a", "x", `,"confirm":{"title":`+plainText("x")+`,"text":`+mrkdwn("x")+`,"confirm":`+plainText("Yes")+`}`)), "missing required field: deny"},
		{"100 options", sel(many(opt("o", "v%d"), 100)), ""},
		{"101 options", sel(many(opt("o", "v%d"), 101)), "no more than 100"},
		{"option text 76", sel(opt(n("x", 76), "v")), "less than 76"},
		{"option value 151", sel(opt("x", n("v", 151))), "less than 151"},
		{"no options", actions(`{"type":"static_select","action_id":"s"}`), "either `options` or `option_groups`"},
		{"initial option", actions(`{"type":"static_select","action_id":"s","options":[` + opt("x", "v") + `],"initial_option":` + opt("y", "v") + `}`), "one of the options"},
		{"overflow 5", actions(`{"type":"overflow","action_id":"s","options":[` + many(opt("o", "v%d"), 5) + `]}`), ""},
		{"overflow 6", actions(`{"type":"overflow","action_id":"s","options":[` + many(opt("o", "v%d"), 6) + `]}`), "no more than 5"},
		{"radio 11", actions(`{"type":"radio_buttons","action_id":"s","options":[` + many(opt("o", "v%d"), 11) + `]}`), "no more than 10"},
		{"checkboxes 11", actions(`{"type":"checkboxes","action_id":"s","options":[` + many(opt("o", "v%d"), 11) + `]}`), "no more than 10"},
		{"text input in actions", actions(`{"type":"plain_text_input","action_id":"s"}`), "unsupported type"},
		{"picture from outside", `[{"type":"image","image_url":"https://pictures.example/a.png","alt_text":"a"}]`, ""},
		{"picture from inside", `[{"type":"image","image_url":"http://127.0.0.1/a.png","alt_text":"a"}]`, "can't be reached"},
		{"picture on a bare host", `[{"type":"image","image_url":"http://shopserver/a.png","alt_text":"a"}]`, "can't be reached"},
		{"picture without alt", `[{"type":"image","slack_file":{"id":"F1"}}]`, "missing required field: alt_text"},
		{"alt 2001", `[{"type":"image","slack_file":{"id":"F1"},"alt_text":"` + n("x", 2001) + `"}]`, "less than 2001"},
		{"two sources", `[{"type":"image","slack_file":{"id":"F1"},"image_url":"https://a.example/a","alt_text":"a"}]`, "either `image_url` or `slack_file`"},
		{"markdown 12000", `[{"type":"markdown","text":"` + n("x", 12000) + `"}]`, ""},
		{"markdown 12001 in two", `[{"type":"markdown","text":"` + n("x", 6000) + `"},{"type":"markdown","text":"` + n("x", 6001) + `"}]`, "12001"},
		{"table", `[{"type":"table","rows":[[{"type":"raw_text","text":"a"},{"type":"raw_text","text":"b"}]]}]`, ""},
		{"table 101 rows", `[{"type":"table","rows":[` + many(`[{"type":"raw_text","text":"a"}]`, 101) + `]}]`, "no more than 100"},
		{"table 21 cells", `[{"type":"table","rows":[[` + many(`{"type":"raw_text","text":"a"}`, 21) + `]]}]`, "no more than 20"},
		{"table ragged", `[{"type":"table","rows":[[` + many(`{"type":"raw_text","text":"a"}`, 2) + `],[{"type":"raw_text","text":"a"}]]}]`, "same number"},
		{"two tables", `[` + many(`{"type":"table","rows":[[{"type":"raw_text","text":"a"}]]}`, 2) + `]`, "only one table"},
		{"rich text", `[{"type":"rich_text","elements":[{"type":"rich_text_section","elements":[{"type":"text","text":"3*4","style":{"bold":true}}]},{"type":"rich_text_list","style":"bullet","elements":[{"type":"rich_text_section","elements":[{"type":"link","url":"https://a.example"}]}]}]}]`, ""},
		{"rich text empty part", `[{"type":"rich_text","elements":[{"type":"rich_text_section","elements":[{"type":"text","text":""}]}]}]`, "more than 0"},
		{"rich text empty section", `[{"type":"rich_text","elements":[{"type":"rich_text_section","elements":[]}]}]`, "no fewer than 1"},
		{"rich text empty", `[{"type":"rich_text","elements":[]}]`, "no fewer than 1"},
		{"link without host", `[{"type":"rich_text","elements":[{"type":"rich_text_section","elements":[{"type":"link","url":"nowhere"}]}]}]`, "valid url"},
		{"whole too long", `[` + many(`{"type":"section","text":`+mrkdwn(n("x", 2900))+`}`, 5) + `]`, "msg_blocks_too_long"},
	} {
		got := workspace.ValidateBlocks(json.RawMessage(c.blocks))
		if c.want == "" && len(got) > 0 || c.want != "" && (len(got) == 0 || !strings.Contains(strings.Join(got, "\n"), c.want)) {
			t.Errorf("%s: %q, want %q", c.name, got, c.want)
		}
	}
}

func TestPointer(t *testing.T) {
	got := workspace.ValidateBlocks(json.RawMessage(`[{"type":"divider"},{"type":"section","text":{"type":"mrkdwn","text":""}}]`))
	want := "[ERROR] must be more than 0 characters [json-pointer:/blocks/1/text/text]"
	if len(got) != 1 || got[0] != want {
		t.Errorf("%q, want %q", got, want)
	}
}

func TestValidateView(t *testing.T) {
	view := func(change func(map[string]any)) string {
		var v map[string]any
		json.Unmarshal([]byte(modal), &v)
		change(v)
		b, _ := json.Marshal(v)
		return string(b)
	}
	label := func(s string) map[string]any { return map[string]any{"type": "plain_text", "text": s} }
	for _, c := range []struct{ name, view, want string }{
		{"modal", modal, ""},
		{"home", `{"type":"home","blocks":[{"type":"divider"}]}`, ""},
		{"home with title", `{"type":"home","title":` + plainText("x") + `,"blocks":[{"type":"divider"}]}`, "unknown property"},
		{"no title", view(func(v map[string]any) { delete(v, "title") }), "missing required field: title"},
		{"title 24", view(func(v map[string]any) { v["title"] = label(n("x", 24)) }), ""},
		{"title 25", view(func(v map[string]any) { v["title"] = label(n("x", 25)) }), "less than 25"},
		{"submit 25", view(func(v map[string]any) { v["submit"] = label(n("x", 25)) }), "less than 25"},
		{"close 25", view(func(v map[string]any) { v["close"] = label(n("x", 25)) }), "less than 25"},
		{"inputs without submit", view(func(v map[string]any) { delete(v, "submit") }), "`submit` is required"},
		{"private_metadata 3000", view(func(v map[string]any) { v["private_metadata"] = n("x", 3000) }), ""},
		{"private_metadata 3001", view(func(v map[string]any) { v["private_metadata"] = n("x", 3001) }), "less than 3001"},
		{"private_metadata empty", view(func(v map[string]any) { v["private_metadata"] = "" }), "more than 0"},
		{"callback_id 256", view(func(v map[string]any) { v["callback_id"] = n("x", 256) }), "less than 256"},
		{"no blocks", view(func(v map[string]any) { v["blocks"] = []any{} }), "no fewer than 1"},
		{"100 blocks", `{"type":"home","blocks":[` + many(`{"type":"divider"}`, 100) + `]}`, ""},
		{"101 blocks", `{"type":"home","blocks":[` + many(`{"type":"divider"}`, 101) + `]}`, "no more than 100"},
		{"markdown block", `{"type":"home","blocks":[{"type":"markdown","text":"x"}]}`, "messages only"},
		{"two with focus", view(func(v map[string]any) {
			for _, b := range v["blocks"].([]any) {
				b.(map[string]any)["element"].(map[string]any)["focus_on_load"] = true
			}
		}), "only one element"},
		{"other type", `{"type":"sheet","blocks":[{"type":"divider"}]}`, "must be one of modal, home"},
		{"no JSON", `{`, "valid JSON"},
		{"no object", `[]`, "must be an object"},
	} {
		got := workspace.ValidateView(json.RawMessage(c.view))
		if c.want == "" && len(got) > 0 || c.want != "" && (len(got) == 0 || !strings.Contains(strings.Join(got, "\n"), c.want)) {
			t.Errorf("%s: %q, want %q", c.name, got, c.want)
		}
	}
}

func TestValidateMessage(t *testing.T) {
	const off = `"unfurl_links":false,"unfurl_media":false`
	for _, c := range []struct{ name, message, want string }{
		{"words", `{"text":"hello",` + off + `}`, ""},
		{"with blocks", `{"text":"hello","blocks":` + button + `,` + off + `}`, ""},
		{"previews", `{"text":"hello"}`, "unfurl_links"},
		{"blocks only", `{"blocks":` + button + `,` + off + `}`, "no_text"},
		{"4001", `{"text":"` + n("x", 4001) + `",` + off + `}`, "4000 are advised"},
		{"broadcast", `{"text":"<!here>",` + off + `}`, "broadcast"},
		{"bad block", `{"text":"x","blocks":[{"type":"header"}],` + off + `}`, "missing required field: text"},
		{"bad metadata", `{"text":"x","metadata":{"event_type":""},` + off + `}`, "invalid_metadata_format"},
		{"101 attachments", `{"text":"x","attachments":[` + many(`{"text":"a"}`, 101) + `],` + off + `}`, "too_many_attachments"},
		{"no object", `7`, "must be a JSON object"},
	} {
		got := workspace.ValidateMessage(json.RawMessage(c.message))
		if c.want == "" && len(got) > 0 || c.want != "" && (len(got) == 0 || !strings.Contains(strings.Join(got, "\n"), c.want)) {
			t.Errorf("%s: %q, want %q", c.name, got, c.want)
		}
	}
}

// FuzzValidate looks for values the validators fall over; a value they take must still be taken once written out anew.
func FuzzValidate(f *testing.F) {
	for _, s := range []string{button, modal, `[]`, `{}`, `null`, `[null]`, `[{"type":"actions","elements":[null]}]`, `[{"type":"table","rows":[null]}]`,
		`{"type":"modal","blocks":null}`, `[{"type":"section","accessory":7}]`, `{"text":"x","attachments":[null],"metadata":7}`} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, raw []byte) {
		if len(workspace.ValidateBlocks(raw)) == 0 {
			var v any
			d := json.NewDecoder(strings.NewReader(string(raw)))
			d.UseNumber()
			if err := d.Decode(&v); err != nil {
				t.Fatalf("taken, but no JSON: %v", err)
			}
			again, _ := json.Marshal(v)
			if got := workspace.ValidateBlocks(again); len(got) > 0 {
				t.Fatalf("taken first, then %q", got)
			}
		}
		workspace.ValidateView(raw)
		workspace.ValidateMessage(raw)
	})
}
