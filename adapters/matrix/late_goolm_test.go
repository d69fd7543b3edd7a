//go:build goolm

package matrix

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"milepost/adapters/matrix/person"
	"milepost/bot"
)

func isFault(in bot.Inbound) bool { return in.Fault != "" }

// A key that is 10 s late holds up its lane, and nothing overtakes.
func TestKeysLate(t *testing.T) {
	r := newRig(t).start().ready()
	ann := person.JoinEncrypted(t, r.server, "ann")
	room := r.room(ann, true)
	r.proxy.HoldKeys(10 * time.Second)
	begin := time.Now()
	var want []string
	for i := range 5 {
		want = append(want, fmt.Sprintf("no. %d", i))
		ann.Mention(room, want[i], r.user())
	}
	r.ear.wait(t, 5, nil)
	if d := time.Since(begin); d < 9*time.Second {
		t.Errorf("heard after %v: the key was not held", d)
	}
	if got := texts(r.ear.all()); !slices.Equal(got, want) {
		t.Errorf("heard %q", got)
	}
}

// A key that comes later still: it is said, the lane goes on, and the message is
// handed over when it can be read. That also after a start.
func TestKeysVeryLate(t *testing.T) {
	r := newRig(t).start().ready()
	ann := person.JoinEncrypted(t, r.server, "ann")
	bob := person.JoinEncrypted(t, r.server, "bob")
	room := r.room(ann, true)
	ann.Invite(room, bob.ID)
	ann.WaitJoined(room, bob.ID)
	bob.WaitJoined(room, r.user())
	bob.KeepKey() // else what is behind may need a new one as well
	bob.Mention(room, "with a key", r.user())
	r.ear.text(t, "with a key")

	r.proxy.HoldKeys(25 * time.Second)
	begin := time.Now()
	first := ann.Mention(room, "without", r.user())
	second := ann.Mention(room, "without, too", r.user())
	bob.Mention(room, "behind it", r.user())
	faults := r.ear.wait(t, 2, isFault)
	t.Logf("said after %v", time.Since(begin).Round(time.Second))
	if f := faults[0]; f.Fault != "unread.message" || f.Delivery != string(first)+"/unread" || f.Thread != threadName(string(room), string(first)) || !f.Loose || f.Text != "" {
		t.Errorf("said %s", seen(faults))
	}
	if f := faults[1]; f.Delivery != string(second)+"/unread" {
		t.Errorf("said %s", seen(faults))
	}
	r.ear.text(t, "behind it")
	if got := texts(r.ear.all()); slices.ContainsFunc(got, func(s string) bool { return strings.HasPrefix(s, "without") }) {
		t.Errorf("what is behind has waited for the key: %q", got)
	}
	r.inbox("without their keys", func(in bot.Inbox) bool { return in.Unread == 2 && in.Waiting == 0 && in.Aside == 0 })
	r.again() // the key comes after a start
	r.ear.wait(t, 1, func(in bot.Inbound) bool { return in.Text == "without, too" })
	if got := texts(r.ear.wait(t, 1, func(in bot.Inbound) bool { return strings.HasPrefix(in.Text, "without") })); !slices.Equal(got, []string{"without", "without, too"}) {
		t.Errorf("late: %q", got)
	}
	r.inbox("all read", func(in bot.Inbox) bool { return in == bot.Inbox{Contact: in.Contact} })
}

// Redacted messages of an encrypted room are not complained about.
func TestRedactedEncrypted(t *testing.T) {
	r := newRig(t).start().ready()
	ann := person.JoinEncrypted(t, r.server, "ann")
	room := r.room(ann, true)
	ann.Mention(room, "one", r.user())
	r.ear.text(t, "one")
	r.stop()
	gone := ann.Mention(room, "taken back", r.user())
	ann.Redact(room, gone)
	ann.Mention(room, "two", r.user())
	r.start().ready()
	r.ear.text(t, "two")
	for _, in := range r.ear.all() {
		if in.Fault != "" || strings.Contains(in.Text, "taken") {
			t.Errorf("heard %s", seen([]bot.Inbound{in}))
		}
	}
}

// What was written in an encrypted room before we came is said once, or read
// where its sender gave us the key.
func TestBeforeWeCame(t *testing.T) {
	r := newRig(t).start().ready()
	r.stop()
	ann := person.JoinEncrypted(t, r.server, "ann")
	room := ann.CreateRoom("workshop", true)
	for i := range 3 {
		ann.Say(room, fmt.Sprintf("before the invitation %d", i))
	}
	ann.Invite(room, r.user())
	for i := range 3 {
		ann.Say(room, fmt.Sprintf("while invited %d", i))
	}
	r.start().ready()
	ann.WaitJoined(room, r.user())
	ann.Mention(room, "now", r.user())
	r.ear.text(t, "now")
	faults, read := 0, 0
	for _, in := range r.ear.all() {
		switch {
		case in.Fault != "":
			faults++
		case strings.HasPrefix(in.Text, "while invited"):
			read++
		case in.Text != "now":
			t.Errorf("heard %s", seen([]bot.Inbound{in}))
		}
	}
	t.Logf("%d said to be unreadable, %d read", faults, read)
	if faults > 1 || faults == 0 && read == 0 {
		t.Errorf("%d complaints, %d read: %s", faults, read, seen(r.ear.all()))
	}
}

func TestTurnedEncrypted(t *testing.T) {
	r := newRig(t).start().ready()
	ann := person.JoinEncrypted(t, r.server, "ann")
	room := r.room(ann, false)
	ann.Mention(room, "in clear", r.user())
	if in := r.ear.text(t, "in clear"); in.Trust != "" {
		t.Errorf("trust %q in a plain room", in.Trust)
	}
	ann.TurnEncrypted(room)
	said := ann.Mention(room, "in secret", r.user())
	if in := r.ear.text(t, "in secret"); in.Trust != "unverified" || in.Delivery != string(said) {
		t.Errorf("heard %s, trust %q", seen([]bot.Inbound{in}), in.Trust)
	}
	if secret, err := r.m.now().state.isEncrypted(t.Context(), string(room)); err != nil || !secret {
		t.Errorf("the room is not known to be encrypted: %v", err)
	}
	ann.Edit(room, said, "in secret, edited")
	if in := r.ear.text(t, "in secret, edited"); in.Edit != string(said) {
		t.Errorf("edit %s", seen([]bot.Inbound{in}))
	}
	// A plain thread in an encrypted room goes by relations in clear.
	card := r.card(room, said, "[]")
	ann.SayInThread(room, card, "in the thread")
	if in := r.ear.text(t, "in the thread"); in.Loose || in.Thread != threadName(string(room), string(said)) {
		t.Errorf("heard %s", seen([]bot.Inbound{in}))
	}
	members, err := r.m.now().store.GetRoomJoinedOrInvitedMembers(t.Context(), room)
	if err != nil || len(members) != 2 {
		t.Errorf("members %v, %v", members, err)
	}
}
