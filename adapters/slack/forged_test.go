package slack

import (
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"milepost/adapters/slack/workspace"
)

// The log is not a stranger's to fill.
func TestForgedFillNoLog(t *testing.T) {
	r := listen(t, true, workspace.Options{})
	for range 50 {
		if status, _, err := r.w.Forge(workspace.Forgery{URL: "http://" + r.addr() + PathEvents, Secret: "0123456789abcdef"}); status != 401 || err != nil {
			t.Fatalf("%d %v", status, err)
		}
	}
	if n := strings.Count(r.log.String(), "not signed"); n < 1 || n > 2 { // two where it took a minute
		t.Errorf("said %d times", n)
	}
	// Those that were counted since are said later, whether or not there are more.
	r.Slack.mu.Lock()
	f := &r.ears.forged
	r.Slack.mu.Unlock()
	f.mu.Lock()
	f.said = f.said.Add(-forgedEvery)
	f.mu.Unlock()
	r.await("all of them said", func() bool {
		sum := 0
		for _, m := range regexp.MustCompile(`not signed.* requests=(\d+)`).FindAllStringSubmatch(r.log.String(), -1) {
			n, _ := strconv.Atoi(m[1])
			sum += n
		}
		return sum == 50
	})
}

// The first is said at once, the others together once a minute, however they come,
// and none is forgotten.
func TestForgedCounted(t *testing.T) {
	var f forged
	at := time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)
	for i, step := range []struct {
		after time.Duration
		come  bool
		want  int64
	}{{0, false, 0}, {0, true, 1}, {0, true, 0}, {30 * time.Second, true, 0}, {59 * time.Second, false, 0}, {time.Minute, false, 2}, {90 * time.Second, true, 0},
		{3 * time.Minute, true, 2}, {5 * time.Minute, false, 0}} {
		got := int64(0)
		if step.come {
			got = f.more(at.Add(step.after))
		} else {
			got = f.rest(at.Add(step.after))
		}
		if got != step.want {
			t.Errorf("step %d: %d said, want %d", i, got, step.want)
		}
	}
}
