package matrix

import (
	"fmt"
	"net/http"
	"strings"
	"testing"
	"time"

	"milepost/adapters/matrix/homeserver"
	"milepost/adapters/matrix/person"
	"milepost/flow"
)

// bucket lets through as many events at once as burst, and perSecond in the long
// run, all of an account together, as Synapse does by default with 10 and 0.2
// (element-hq/synapse, synapse/config/ratelimiting.py, rc_message).
func bucket(burst, perSecond float64) homeserver.Rule {
	left, last := burst, time.Now()
	return func(r homeserver.Request) homeserver.Fault {
		if r.Method != http.MethodPut || !strings.Contains(r.Path, sendPath) {
			return homeserver.Fault{}
		}
		left = min(burst, left+time.Since(last).Seconds()*perSecond)
		last = time.Now()
		if left < 1 {
			return homeserver.Fault{Status: http.StatusTooManyRequests, RetryAfter: time.Duration((1 - left) / perSecond * float64(time.Second))}
		}
		left--
		return homeserver.Fault{}
	}
}

// A reaction that the server does not take, for whatever reason that passes, is
// left out with those behind it: the message is out, and is not tried again.
func TestTapRefused(t *testing.T) {
	s := homeserver.Start(t, homeserver.Options{})
	proxy := homeserver.NewProxy(t, s)
	j := newJob(t, s, proxy.URL(), "milepost", false)
	j.send(j.out(1, flow.Card, "unit 14"))
	for i, c := range []struct {
		name  string
		fault homeserver.Fault
	}{
		{"502", homeserver.Fault{Status: 502}},
		{"cut", homeserver.Fault{Cut: true}},
		{"429", homeserver.Fault{Status: 429, RetryAfter: 5 * time.Second}},
	} {
		before := proxy.Count(http.MethodPut, "m.reaction")
		proxy.Fail(1, http.MethodPut, "m.reaction", c.fault)
		j.send(j.out(2*i+2, flow.Prompt, c.name, "a", "b", "c"))
		if n := proxy.Count(http.MethodPut, "m.reaction") - before; n != 1 {
			t.Errorf("%s: %d reactions tried, want 1", c.name, n)
		}
		j.send(j.out(2*i+3, flow.Notice, "behind "+c.name))
		j.only(c.name + "\n1. a\n2. b\n3. c")
		j.only("behind " + c.name)
	}
	// Once the server has asked to wait, words have what it takes to themselves.
	before := proxy.Count(http.MethodPut, "m.reaction")
	j.send(j.out(10, flow.Prompt, "later", "a", "b"))
	if n := proxy.Count(http.MethodPut, "m.reaction") - before; n != 0 {
		t.Errorf("%d reactions while the homeserver asks to wait", n)
	}
}

// A job's messages under a limit as servers have it by default, five times as
// fast: all come, once and in order, and each by itself in the time that the
// limit gives it.
func TestLimited(t *testing.T) {
	if testing.Short() {
		t.Skip("waits for real")
	}
	s := homeserver.Start(t, homeserver.Options{})
	proxy := homeserver.NewProxy(t, s)
	j := newJob(t, s, proxy.URL(), "milepost", false)
	proxy.Rule(bucket(10, 1))
	const questions = 12
	j.send(j.out(1, flow.Card, "unit 14"))
	start, refused := time.Now(), 0
	for i := range questions {
		for k, out := range []struct {
			kind    flow.ReplyKind
			text    string
			choices []string
		}{
			{flow.Result, fmt.Sprintf("result %d", i), nil},
			{flow.Prompt, fmt.Sprintf("question %d", i), []string{"a", "b"}},
		} {
			// As the outbox does: again after the time it is told.
			for try := 0; ; try++ {
				err := j.try(j.out(2+2*i+k, out.kind, out.text, out.choices...))
				if err == nil {
					break
				}
				refused++
				if try > 20 {
					t.Fatalf("%s: not taken: %v", out.text, err)
				}
				time.Sleep(retryAfter(err))
			}
		}
	}
	took := time.Since(start)
	proxy.Clear()
	var texts []string
	for _, e := range j.seen()[1:] {
		texts = append(texts, strings.Fields(e.Body)[0]+" "+strings.Fields(e.Body)[1])
	}
	for i := range questions {
		if 2*i+1 >= len(texts) || texts[2*i] != fmt.Sprintf("result %d", i) || texts[2*i+1] != fmt.Sprintf("question %d", i) {
			t.Fatalf("not once and in order:\n%s", person.Dump(j.seen()))
		}
	}
	sent, taps := proxy.Count(http.MethodPut, sendPath), proxy.Count(http.MethodPut, "m.reaction")
	t.Logf("%d messages in %v; %d requests, %d of them reactions", 2*questions, took.Round(time.Second), sent, taps)
	if refused > 0 && taps >= 2*questions { // a slow machine may never meet the limit
		t.Errorf("%d reactions tried: none was left out", taps)
	}
}
