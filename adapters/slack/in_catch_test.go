package slack

import (
	"strings"
	"testing"
	"time"

	"milepost/adapters/slack/workspace"
)

// Slack holds events back: said, and what was missed is read back.
func TestRateLimitedEvents(t *testing.T) {
	r := listen(t, true, workspace.Options{})
	r.await("read back at the start", func() bool { return strings.Count(r.log.String(), "read back what may") == 1 })
	r.w.DropEvents(2)
	r.w.User("kim").Say("shop", "@milepost held back")
	status, body, err := r.w.Forge(workspace.Forgery{URL: "http://" + r.addr() + PathEvents,
		Body: []byte(`{"type":"app_rate_limited","team_id":"T0SHOP","minute_rate_limited":1518467820,"api_app_id":"A0MILE"}`)})
	if status != 200 || body != "" || err != nil {
		t.Fatalf("%d %q %v", status, body, err)
	}
	if in := r.hears(1)[0]; in.Text != "held back" || !in.Called {
		t.Errorf("heard %+v", in)
	}
	if !strings.Contains(r.log.String(), "holds events back") {
		t.Error("it was not said")
	}
}

// Reading back waits as long as Slack asks, and outlasts failures.
func TestCatchUpSlowly(t *testing.T) {
	r := listen(t, false, workspace.Options{})
	r.await("read back at the start", func() bool { return strings.Count(r.log.String(), "read back what may") == 1 })
	r.end()
	r.w.User("kim").Say("shop", "missed")
	r.w.Fault(workspace.Fault{Method: "conversations.history", RetryAfter: time.Second})
	r.w.Fault(workspace.Fault{Method: "users.conversations", Times: 2, Status: 500})
	before := len(r.w.Calls("conversations.history"))
	r.start()
	r.hears(1)
	r.await("read back", func() bool { return strings.Count(r.log.String(), "read back what may") == 2 })
	calls := r.w.Calls("conversations.history")[before:]
	if len(calls) < 2 || calls[1].At.Sub(calls[0].At) < time.Second {
		t.Errorf("it was asked again too soon: %d calls", len(calls))
	}
}

// Where the app may not read, it is said, and the rest is read back.
func TestCatchUpRefused(t *testing.T) {
	r := listen(t, false, workspace.Options{Retries: []time.Duration{0, 10 * time.Millisecond}})
	r.end()
	r.w.User("kim").Say("bay", "unread")
	r.w.User("kim").Say("shop", "missed")
	time.Sleep(100 * time.Millisecond) // given up by Slack
	r.w.DropScope("groups:history")
	r.start()
	if in := r.hears(1)[0]; in.Text != "missed" {
		t.Errorf("heard %+v", in)
	}
	if !strings.Contains(r.log.String(), "missing_scope") {
		t.Error("it was not said")
	}
}
