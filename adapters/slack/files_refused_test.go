package slack

import (
	"strings"
	"testing"

	"milepost/adapters/slack/workspace"
	"milepost/flow"
)

// A file that a workspace does not take is said once to be none, and what comes after
// it is said.
func TestFileRefused(t *testing.T) {
	for _, step := range []string{"files.getUploadURLExternal", "files.completeUploadExternal"} {
		for _, code := range badFile {
			t.Run(step+" "+code, func(t *testing.T) {
				t.Parallel()
				w, s, store := speakFiles(t, workspace.Options{})
				th, root := s.opened(t)
				w.Fault(workspace.Fault{Method: step, Error: code, Times: -1})
				o := s.out("k7mw2pd/2", th, flow.Result, "The sheet.")
				o.Reply.Files = []flow.FileRef{store.add("<!channel> sheet.pdf", "application/pdf", []byte("abc")), store.add("note.txt", "text/plain", []byte("def"))}
				s.says(t, o)
				s.says(t, o)
				s.says(t, s.out("k7mw2pd/3", th, flow.Notice, "after it"))
				var shown []string
				for _, m := range w.Messages("shop", root.TS)[1:] {
					shown = append(shown, m.Shown)
				}
				got := strings.Join(shown, "|")
				for _, want := range []string{"The sheet.|", "I can't show the file _!channel_ sheet.pdf here", "I can't show the file note.txt here", "|after it"} {
					if strings.Count(got, want) != 1 {
						t.Errorf("%q is not shown once: %s", want, got)
					}
				}
				if len(shown) != 4 || !strings.HasPrefix(got, "The sheet.|") || !strings.HasSuffix(got, "|after it") {
					t.Errorf("shown: %s", got)
				}
				if strings.Contains(got, code) || !strings.Contains(s.log.String(), code) {
					t.Errorf("the code is for the log only: %s\nlog:\n%s", got, s.log)
				}
			})
		}
	}
}

// A file that Slack has forgotten before it was shown is put there again.
func TestFileForgotten(t *testing.T) {
	w, s, store := speakFiles(t, workspace.Options{})
	th, root := s.opened(t)
	w.Fault(workspace.Fault{Method: "files.completeUploadExternal", Error: "file_not_found"})
	o := s.out("k7mw2pd/2", th, flow.Result, "The sheet.")
	o.Reply.Files = []flow.FileRef{store.add("sheet.pdf", "application/pdf", []byte("abc"))}
	s.says(t, o)
	if n := len(w.Calls("files.getUploadURLExternal")); n != 2 {
		t.Errorf("asked %d times where it goes", n)
	}
	if !w.Await(workspace.Patience, func() bool {
		list := w.Messages("shop", root.TS)
		return len(list[len(list)-1].Files) == 1
	}) {
		t.Error("the file is not shown")
	}
}
