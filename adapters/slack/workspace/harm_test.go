package workspace_test

import (
	"testing"
	"time"

	"milepost/adapters/slack/workspace"
)

func TestEscaping(t *testing.T) {
	for _, c := range []struct{ words, blocks, typed, rule string }{
		{"60 < 65", "", "", "not escaped"},
		{"tyre & wheel", "", "", "not escaped"},
		{"x", `[{"type":"section","text":{"type":"mrkdwn","text":"a <b> c"}}]`, "", "not escaped"},
		{"60 &amp;lt; 65", "", "", "escaped twice"},
		{"60 &amp;lt; 65", "", "typed &lt; on purpose", ""},
		{"x", `[{"type":"header","text":{"type":"plain_text","text":"tyre &amp; wheel"}}]`, "", "people will see"},
		{"x", `[{"type":"rich_text","elements":[{"type":"rich_text_section","elements":[{"type":"text","text":"60 &lt; 65"}]}]}]`, "", "people will see"},
		{"x", `[{"type":"header","text":{"type":"plain_text","text":"tyre & wheel <1>"}}]`, "", ""},
		{"60 &lt; 65 &amp; <https://a.example/?a=1&b=2|more>", "", "", ""},
		{"> quoted", "", "", ""},
	} {
		a := newApp(t, workspace.Options{})
		if c.typed != "" {
			a.w.User("kim").Say("shop", c.typed)
		}
		more := map[string]string{}
		if c.blocks != "" {
			more["blocks"] = c.blocks
		}
		a.post("shop", "", c.words, more)
		if c.rule != "" {
			a.forgive(c.rule, 1)
		}
	}
}

func TestSecretsInMessages(t *testing.T) {
	a := newApp(t, workspace.Options{})
	for _, s := range []string{a.w.BotToken(), a.w.AppToken(), a.w.SigningSecret()} {
		a.post("shop", "", "here: "+s, nil)
		a.forgive("a secret in text", 1)
	}
}

func TestOddEvents(t *testing.T) {
	a := newApp(t, workspace.Options{NoPreviews: true})
	a.open()
	a.w.Emit(map[string]any{"type": "unheard_of", "blocks": []any{map[string]any{"type": "not_known"}}})
	a.await("unheard_of", 1)
	a.w.AppRateLimited()
	if f := a.await("app_rate_limited", 1)[0]; f.Type != "events_api" || f.event() != nil {
		t.Errorf("%+v", f)
	}
	kim := a.w.User("kim")
	root := kim.Say("@kim", "job")
	ts := kim.SayInBoth("@kim", root, "to all")
	e := a.await("message/thread_broadcast", 1)[0].event()
	if e["ts"] != ts || e["thread_ts"] != root || e["channel_type"] != "im" || len(a.w.Messages("@kim", "")) != 2 {
		t.Errorf("%v", e)
	}
	a.post("@kim", root, "found words", nil)
	if m, ok := a.w.AwaitShown(workspace.Patience, "@kim", root, "found"); !ok || m.Thread != root {
		t.Errorf("%+v", m)
	}
	if _, ok := a.w.AwaitShown(10*time.Millisecond, "@kim", root, "job"); ok {
		t.Error("found a person's words as the app's")
	}
	a.w.Settle(workspace.Patience)
	if d := a.w.SlowestAck(); d <= 0 || d > time.Second {
		t.Errorf("slowest %v", d)
	}
}
