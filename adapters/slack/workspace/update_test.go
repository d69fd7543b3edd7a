package workspace_test

import (
	"strings"
	"testing"

	"milepost/adapters/slack/workspace"
)

// chat.update: metadata stays where none is given and goes with an empty object;
// what is no argument of it, and links made of words, are broken rules.
func TestUpdate(t *testing.T) {
	a := newApp(t, workspace.Options{})
	shop := a.w.Channel("shop")
	ts := a.post("shop", "", "Ready?", map[string]string{"metadata": `{"event_type":"line","event_payload":{"row":"r1"}}`})
	holds := func(words string) {
		t.Helper()
		if m, _ := a.w.Message("shop", ts); (words == "") != (m.Metadata == nil) || !strings.Contains(string(m.Metadata), words) {
			t.Errorf("metadata %s, want %q", m.Metadata, words)
		}
	}
	update := func(more map[string]string) {
		t.Helper()
		args := map[string]string{"channel": shop, "ts": ts, "text": "Done"}
		for k, v := range more {
			args[k] = v
		}
		a.fine(a.call("chat.update", args))
	}
	update(nil)
	holds("r1")
	update(map[string]string{"metadata": `{"event_type":"line","event_payload":{"row":"r2"}}`})
	holds("r2")
	update(map[string]string{"metadata": "{}"})
	holds("")
	update(map[string]string{"mrkdwn": "false"})
	a.forgive("mrkdwn is no argument", 1)
	update(map[string]string{"text": "see https://example.org/x"})
	a.forgive("a link is made of words", 1)
	update(map[string]string{"text": "see https://example.org/x", "parse": "none"})
	update(map[string]string{"text": "see <https://example.org/x|x>"})
}
