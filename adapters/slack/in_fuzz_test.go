package slack

import (
	"strings"
	"testing"
	"unicode/utf8"
)

// Whatever is delivered is stored, dropped or refused, and what is stored can be
// read again.
func FuzzDelivery(f *testing.F) {
	for _, s := range []string{
		`{"type":"event_callback","team_id":"T1","event_id":"Ev1","event":{"type":"message","channel":"C1","channel_type":"channel","user":"U1","text":"<@U2> 60 &lt; 65","ts":"1700000000.000001","thread_ts":"1700000000.000000","files":[{"id":"F1","name":"a","size":3,"mode":"hosted"}]}}`,
		`{"type":"event_callback","event":{"type":"message","subtype":"message_changed","channel":"C1","ts":"1700000009.000001","message":{"user":"U1","text":"b","ts":"1700000000.000001","edited":{"user":"U1","ts":"1700000008.000000"}},"previous_message":{"user":"U1","text":"a","ts":"1700000000.000001"}}}`,
		`{"type":"event_callback","event":{"type":"message","subtype":"message_deleted","channel":"C1","ts":"1700000009.000001","deleted_ts":"1700000000.000001","previous_message":{"user":"U1","text":"a"}}}`,
		`{"type":"event_callback","event":{"type":"message","subtype":"message_changed","channel":"C1","ts":"1700000009.000001","message":{"subtype":"tombstone","ts":"1700000000.000001"},"previous_message":{"user":"U1"}}}`,
		`{"type":"event_callback","event":{"type":"reaction_added","user":"U1","reaction":"one","item":{"type":"message","channel":"C1","ts":"1700000000.000001"},"event_ts":"1700000001.000000"}}`,
		`{"type":"event_callback","event":{"type":"user_change","user":{"id":"U1"}}}`,
		`{"type":"url_verification","challenge":"x"}`,
		`{"type":"block_actions","trigger_id":"1.2.3","team":{"id":"T1"},"user":{"id":"U1","team_id":"T1"},"channel":{"id":"C1"},"container":{"channel_id":"C1","message_ts":"1700000000.000001","thread_ts":"1700000000.000000"},"actions":[{"action_id":"choose:1","block_id":"choices","value":"k.1.yes","action_ts":"1700000001.000000"}]}`,
		`{"type":"view_submission","trigger_id":"1.2.3","user":{"id":"U1"},"view":{"id":"V1","hash":"h","callback_id":"milepost_form","private_metadata":"{}"}}`,
		`{"type":"message_action","trigger_id":"1.2.3","user":{"id":"U1"},"channel":{"id":"C1"},"action_ts":"1700000001.000000"}`,
		`{"command":"/milepost","text":"<@U1|kim> x","team_id":"T1","channel_id":"C1","user_id":"U1","trigger_id":"1.2.3"}`,
		`null`, `{"type":"event_callback","event":null}`, "\xff", `{"type":"event_callback","event":{"type":"message","channel":{"id":7}}}`,
	} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, raw []byte) {
		if o, err := readOuter(raw); err == nil {
			list, err := eventArrivals(o, raw)
			quoted(t, raw, err)
			for _, a := range list {
				if a.key == "" || a.kind != kindEvent || a.lane == "" && !strings.HasPrefix(a.key, keyReact) && !strings.HasPrefix(a.key, keyUnreact) {
					t.Fatalf("stored without a key or lane: %+v", a)
				}
				again, err := readOuter(a.raw)
				if err != nil {
					t.Fatalf("what was stored can't be read: %v", err)
				}
				e, err := again.readEvent()
				if err != nil {
					t.Fatalf("what was stored can't be read: %v", err)
				}
				text, _ := readable(e.Text, "U2", func(user, label string) string { return or(label, user) })
				if !utf8.ValidString(text) {
					t.Fatalf("no UTF-8: %q", text)
				}
			}
		}
		if i, err := readInteraction(raw); err == nil {
			if a, ok := pressArrival(i, raw); ok && (a.key == "" || a.lane == "") {
				t.Fatalf("stored without a key or lane: %+v", a)
			}
			_, _, err := readForm(raw)
			quoted(t, raw, err)
		}
		if c, err := readCommand(raw); err == nil && commandArrival(c, raw).key == keyCommand {
			t.Fatal("stored without a key")
		}
	})
}

// quoted fails if an error holds words of a message.
func quoted(t *testing.T, raw []byte, err error) {
	if err != nil && strings.Contains(string(raw), "Harrow") && strings.Contains(err.Error(), "Harrow") {
		t.Fatalf("the error quotes: %v", err)
	}
}
