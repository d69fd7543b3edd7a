package matrix

import (
	"context"
	"testing"

	"maunium.net/go/mautrix/event"

	"milepost/adapters/matrix/person"
	"milepost/bot"
)

// A field that is not of its kind spoils no message, in encrypted rooms neither.
func TestOddFieldEncrypted(t *testing.T) {
	if !hasEncryption {
		t.Skip("encrypted rooms need the build tag goolm")
	}
	r := newRig(t).start().ready()
	anna := person.New(t, person.Config{Server: r.server, Name: "anna", Encrypted: true})
	room := r.room(anna, true)
	odd := &event.Content{Raw: map[string]any{"msgtype": "m.text", "body": "225/45 R17", "info": map[string]any{"h": "tall"}, "m.mentions": 7}}
	if _, err := anna.Client.SendMessageEvent(context.Background(), room, event.EventMessage, odd); err != nil {
		t.Fatal(err)
	}
	got := r.ear.wait(t, 1, func(in bot.Inbound) bool { return in.Text != "" || in.Fault != "" })[0]
	if got.Text != "225/45 R17" || got.Trust == "" {
		t.Errorf("heard %+v", got)
	}
}
