package slack

import (
	"bytes"
	"context"
	"fmt"
	"math/rand/v2"
	"net/url"
	"os"
	"slices"
	"testing"
	"time"

	"milepost/adapters/slack/workspace"
	"milepost/bot"
	"milepost/flow"
)

// killed sends as far as a call, and gives the state as it is while that call is under
// way: what is written after it is lost, as if the program were killed there. done
// says whether the call still comes about. It is "" if the call is never made.
func killed(t *testing.T, w *workspace.Workspace, cfg Config, out bot.Outbound, method string, skip int, done bool) (dir string) {
	t.Helper()
	s := speakWith(t, w, cfg)
	ctx, stop := context.WithCancel(t.Context())
	defer stop()
	w.Fault(workspace.Fault{Method: method, Skip: skip, Cut: true, After: done, Only: func(url.Values) bool {
		if skip--; skip < 0 {
			dir = t.TempDir()
			if err := os.CopyFS(dir, os.DirFS(cfg.Dir)); err != nil {
				t.Error(err)
			}
			stop()
		}
		return true
	}})
	for ctx.Err() == nil {
		if err := s.Send(ctx, out); err == nil {
			break
		}
	}
	w.Heal()
	return dir
}

// uploading is a workspace with a job, and a message with a file on its way.
func uploading(t *testing.T, o workspace.Options) (w *workspace.Workspace, cfg Config, root string, out bot.Outbound, content []byte) {
	t.Helper()
	o.NoRateLimit = true
	w = workspace.New(t, o)
	store := shelf{}
	cfg = speakConfig(t, w)
	cfg.Every, cfg.Blobs = -1, store
	s := speakWith(t, w, cfg)
	th, card := s.opened(t)
	content = bytes.Repeat([]byte("Harrow log\n"), 1000)
	out = s.out("k7mw2pd/2", th, flow.Result, "The sheet.")
	out.Reply.Files = []flow.FileRef{store.add("sheet.pdf", "application/pdf", content)}
	return w, cfg, card.TS, out, content
}

// oneFile checks that the file is seen once, whole, below its message, and that what
// is said next stands below it, unless shares show so late.
func oneFile(t *testing.T, w *workspace.Workspace, cfg Config, root string, out bot.Outbound, content []byte, late time.Duration) {
	t.Helper()
	s := speakWith(t, w, cfg)
	s.says(t, out)
	s.says(t, out)
	s.says(t, s.out("k7mw2pd/3", out.Thread, flow.Notice, "after it"))
	look := func() (seen []string) {
		for _, m := range w.Messages("shop", root) {
			one := m.Shown
			for _, id := range m.Files {
				got, _ := w.File(id)
				one += fmt.Sprintf("file of %d bytes, whole %v", len(got), bytes.Equal(got, content))
			}
			seen = append(seen, one)
		}
		return seen
	}
	w.Await(workspace.Patience, func() bool { return len(look()) >= 4 })
	time.Sleep(late + 250*time.Millisecond) // a second share would show by now
	seen, want := look(), []string{"Unit 14", "The sheet.", fmt.Sprintf("file of %d bytes, whole true", len(content)), "after it"}
	if late > 0 { // it may show below what was said meanwhile
		slices.Sort(seen)
		slices.Sort(want)
	}
	if !slices.Equal(seen, want) {
		t.Errorf("seen %q, want %q", seen, want)
	}
}

// Killed between any two of an upload's calls, or during one, the program shows the
// file once when it is back.
func TestFileKilled(t *testing.T) {
	for _, x := range []struct {
		method string
		skip   int
	}{{"chat.postMessage", 0}, {"files.getUploadURLExternal", 0}, {"upload", 0}, {"files.completeUploadExternal", 0}, {"files.info", 0}} {
		for _, done := range []bool{false, true} {
			t.Run(fmt.Sprintf("%s done %v", x.method, done), func(t *testing.T) {
				t.Parallel()
				w, cfg, root, out, content := uploading(t, workspace.Options{})
				if cfg.Dir = killed(t, w, cfg, out, x.method, x.skip, done); cfg.Dir == "" {
					t.Fatal("the call was not made")
				}
				oneFile(t, w, cfg, root, out, content, 0)
			})
		}
	}
}

// Killed again and again, at calls of all sorts, with shares that show late.
func TestFileKilledOften(t *testing.T) {
	seed := uint64(time.Now().UnixNano())
	t.Logf("seed %d", seed)
	chance := rand.New(rand.NewPCG(seed, 7))
	methods := []string{"chat.postMessage", "conversations.replies", "files.getUploadURLExternal", "upload", "files.completeUploadExternal", "files.info"}
	rounds := 10
	if testing.Short() {
		rounds = 2
	}
	for range rounds {
		late := time.Duration(chance.IntN(1500)) * time.Millisecond
		w, cfg, root, out, content := uploading(t, workspace.Options{ShareDelay: late})
		kills := 0
		for range 8 {
			m, done := methods[chance.IntN(len(methods))], chance.IntN(2) == 0
			if dir := killed(t, w, cfg, out, m, 0, done); dir != "" {
				cfg.Dir = dir
				kills++
			}
		}
		if kills == 0 {
			continue // it was out at once
		}
		oneFile(t, w, cfg, root, out, content, late)
	}
}

// A share that shows long after the program was back is no reason for another.
func TestFileShownLate(t *testing.T) {
	w, cfg, root, out, content := uploading(t, workspace.Options{ShareDelay: 6 * time.Second})
	cfg.Dir = killed(t, w, cfg, out, "files.completeUploadExternal", 0, true)
	oneFile(t, w, cfg, root, out, content, 0)
}
