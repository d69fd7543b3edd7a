package slack

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"milepost/adapters/slack/workspace"
	"milepost/bot"
	"milepost/flow"
)

// Failures of every kind on every method that speaking needs, at random moments,
// while four jobs speak in one channel: nothing is lost, nothing seen twice, each job's messages
// in their order, and no method is called before Slack said it may be.
func TestFaultsAtRandom(t *testing.T) {
	const jobs, each = 4, 30
	seed := uint64(time.Now().UnixNano())
	chance := rand.New(rand.NewPCG(seed, 1))
	t.Logf("seed %d", seed)
	w, s, store := speakFiles(t, workspace.Options{Underway: 500 * time.Millisecond}) // several jobs call at once
	file := store.add("sheet.pdf", "application/pdf", []byte(strings.Repeat("x", 5000)))

	methods := []string{"chat.postMessage", "chat.update", "conversations.replies", "conversations.history", "files.getUploadURLExternal",
		"upload", "files.completeUploadExternal", "files.info"}
	done := make(chan struct{})
	var wg sync.WaitGroup
	faults := 0
	wg.Go(func() {
		for faults < 120 { // each is used up by one call
			select {
			case <-done:
				return
			case <-time.After(8 * time.Millisecond):
			}
			f := workspace.Fault{Method: methods[chance.IntN(len(methods))], After: chance.IntN(2) == 0}
			switch chance.IntN(12) {
			case 0:
				f.RetryAfter, f.After = time.Second, false
				if f.Method == "upload" {
					continue
				}
			case 1, 2, 3, 4, 5:
				f.Cut = true
			default:
				f.Status = 500
			}
			w.Fault(f)
			faults++
		}
	})
	var all sync.WaitGroup
	for j := range jobs {
		job := fmt.Sprintf("job%04d", j)
		th := s.begins("kim", job)
		all.Go(func() {
			for i := range each {
				card := s.out(fmt.Sprintf("%s/%d/card", job, 2*i), th, flow.Card, fmt.Sprintf("%s card\nstate %d", job, i))
				card.Log = int64(2 * i)
				o := s.out(fmt.Sprintf("%s/%d", job, 2*i+1), th, flow.Notice, fmt.Sprintf("%s line %d", job, i))
				o.Log = int64(2*i + 1)
				if i%6 == 5 {
					o.Reply.Files = []flow.FileRef{file}
				}
				for _, out := range []bot.Outbound{card, o} {
					if err := s.until(t, out); err != nil {
						t.Errorf("%s: %v", out.Key, err)
					}
				}
			}
		})
	}
	all.Wait()
	close(done)
	wg.Wait()
	w.Heal()

	time.Sleep(200 * time.Millisecond)
	if d := w.Duplicates("row"); len(d) > 0 {
		t.Errorf("seen twice: %v", d)
	}
	var cards []workspace.Message
	for _, m := range w.Messages("shop", "") {
		if m.App {
			cards = append(cards, m)
		}
	}
	if len(cards) != jobs {
		t.Errorf("%d cards for %d jobs", len(cards), jobs)
	}
	lines, files := 0, 0
	for _, c := range cards {
		job, _, _ := strings.Cut(c.Shown, " ")
		var got, want []string
		for _, m := range w.Messages("shop", c.TS)[1:] {
			if len(m.Files) > 0 {
				files++
				continue
			}
			got = append(got, m.Shown)
		}
		for i := range each {
			want = append(want, fmt.Sprintf("%s line %d", job, i))
		}
		lines += len(got)
		if !slices.Equal(got, want) {
			t.Errorf("%s reads %q", job, got)
		}
		if !w.Await(workspace.Patience, func() bool {
			m, _ := w.Message("shop", c.TS)
			return strings.HasSuffix(m.Shown, fmt.Sprintf("state %d", each-1))
		}) {
			t.Errorf("%s: the card's last state is not seen", job)
		}
	}
	if files != jobs*each/6 {
		t.Errorf("%d files are seen, want %d", files, jobs*each/6)
	}
	failed := 0
	for _, c := range w.Calls("") {
		if c.Error != "" {
			failed++
		}
	}
	t.Logf("%d faults set, %d of %d calls failed; %d messages, %d cards, %d files: each once, in order", faults, failed, len(w.Calls("")), lines, len(cards), files)
}

// A message was on its way when the process died: the next one looks for it. A
// state that was lost finds a job's thread by its card.
func TestAfterDeath(t *testing.T) {
	w := workspace.New(t, workspace.Options{NoRateLimit: true})
	cfg := speakConfig(t, w)
	cfg.Every = -1
	s := speakWith(t, w, cfg)
	th, root := s.opened(t)
	o := s.out("k7mw2pd/2", th, flow.Notice, "one")
	s.says(t, o)
	// As if it had died between the post and its note.
	if _, err := s.state.db.Exec("UPDATE sent SET ts = '' WHERE key = ?", o.Key); err != nil {
		t.Fatal(err)
	}
	s.says(t, o)
	if n := len(w.Messages("shop", root.TS)); n != 2 {
		t.Errorf("%d messages in the thread, want 2", n)
	}

	cfg.Dir = t.TempDir()
	again := speakWith(t, w, cfg)
	again.says(t, again.out("k7mw2pd/3", th, flow.Notice, "two"))
	again.says(t, again.out("k7mw2pd/4/card", th, flow.Card, "Unit 14\nbackup"))
	if got := w.Messages("shop", root.TS); len(got) != 3 || !strings.Contains(got[0].Shown, "backup") || got[2].Shown != "two" {
		t.Errorf("with a new state: %+v", got)
	}
}
