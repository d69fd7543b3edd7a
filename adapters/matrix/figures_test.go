package matrix

import (
	"errors"
	"testing"
	"time"

	"milepost/adapters/matrix/person"
	"milepost/bot"
)

// inbox waits until what is not dealt with is as it should be.
func (r *rig) inbox(what string, is func(bot.Inbox) bool) {
	r.t.Helper()
	for end := time.Now().Add(person.Patience); ; time.Sleep(10 * time.Millisecond) {
		in, err := r.m.Inbox(r.t.Context())
		if err == nil && is(in) {
			return
		}
		if time.Now().After(end) {
			r.t.Fatalf("%s: %+v, %v", what, in, err)
		}
	}
}

// What waits, what is put aside and when the homeserver was last heard can be
// seen from outside. (What waits for its key: TestKeysVeryLate.)
func TestInboxFigures(t *testing.T) {
	r := newRig(t)
	begin := time.Now()
	r.ear.refuse = func(in bot.Inbound) error {
		switch in.Text {
		case "not now":
			return &bot.Error{Kind: bot.Unavailable, Err: errors.New("the disk is full")}
		case "never":
			return &bot.Error{Kind: bot.Internal, Err: errors.New("broken")}
		}
		return nil
	}
	r.start().ready()
	ann := person.Join(t, r.server, "ann")
	one, two := r.room(ann, false), r.room(ann, false)
	r.inbox("nothing yet", func(in bot.Inbox) bool {
		return in == bot.Inbox{Contact: in.Contact} && in.Contact.After(begin) && !in.Contact.After(time.Now())
	})
	heard, err := r.m.Inbox(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	ann.Mention(one, "not now", r.user())
	ann.Mention(one, "behind it", r.user())
	ann.Mention(two, "never", r.user())
	ann.Mention(two, "never", r.user())
	r.inbox("four that wait", func(in bot.Inbox) bool { return in.Waiting == 4 && in.Contact.After(heard.Contact) })
	// Nearly all tries are over: a test need not wait for them.
	if _, err := r.m.now().state.db.Exec("UPDATE inbox SET tries = ? WHERE room = ?", poisonAfter-1, two); err != nil {
		t.Fatal(err)
	}
	r.inbox("two that are put aside", func(in bot.Inbox) bool { return in.Waiting == 2 && in.Aside == 2 && in.Unread == 0 })
	r.stop()
	in, err := r.m.Inbox(t.Context())
	var e *bot.Error
	if !errors.As(err, &e) || e.Kind != bot.Unavailable || in.Contact.IsZero() {
		t.Errorf("when it has ended: %+v, %v", in, err)
	}
}
