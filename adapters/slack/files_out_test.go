package slack

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"strings"
	"testing"
	"time"

	"milepost/adapters/slack/workspace"
	"milepost/bot"
	"milepost/flow"
)

// shelf is a store of files in memory.
type shelf map[string][]byte

func (s shelf) Put(context.Context, io.Reader, int64) (bot.Blob, error) {
	return bot.Blob{}, errors.New("not here")
}

func (s shelf) Open(_ context.Context, sum string) (io.ReadCloser, error) {
	b, ok := s[sum]
	if !ok {
		return nil, errors.New("no such file")
	}
	return io.NopCloser(bytes.NewReader(b)), nil
}

func (s shelf) Delete(context.Context, string) error { return nil }

func (s shelf) add(name, kind string, b []byte) flow.FileRef {
	sum := sha256.Sum256(b)
	f := flow.FileRef{Name: name, Type: kind, Bytes: int64(len(b)), SHA256: hex.EncodeToString(sum[:])}
	s[f.SHA256] = b
	return f
}

// A file goes out once, whatever is cut between its calls, in its place in the
// thread, with its name tamed and an alternative text.
func TestFileOut(t *testing.T) {
	steps := []string{"files.getUploadURLExternal", "upload", "files.completeUploadExternal", "files.info"}
	faults := []workspace.Fault{{}, {Cut: true}, {Cut: true, After: true}, {Status: 500}, {Status: 500, After: true}, {RetryAfter: time.Second}}
	for _, step := range steps {
		for _, f := range faults {
			if f.RetryAfter > 0 && step == "upload" {
				continue // an address, not a method
			}
			f.Method = step
			t.Run(fmt.Sprintf("%s %+v", step, f), func(t *testing.T) {
				t.Parallel()
				w, s, store := speakFiles(t, workspace.Options{})
				th, root := s.opened(t)
				if f.Cut || f.Status > 0 || f.RetryAfter > 0 {
					w.Fault(f)
				}
				content := bytes.Repeat([]byte("Harrow log\n"), 1000)
				o := s.out("k7mw2pd/2", th, flow.Result, "The sheet.")
				o.Reply.Files = []flow.FileRef{store.add("../../<!channel> sheet.pdf", "application/pdf", content)}
				s.says(t, o)
				s.says(t, o)
				s.says(t, s.out("k7mw2pd/3", th, flow.Notice, "after it"))
				var shares []workspace.Message
				w.Await(workspace.Patience, func() bool {
					shares = nil
					for _, m := range w.Messages("shop", root.TS) {
						if len(m.Files) > 0 {
							shares = append(shares, m)
						}
					}
					return len(shares) > 0
				})
				time.Sleep(150 * time.Millisecond) // a second share would show by now
				if all := w.Messages("shop", root.TS); len(all) != 4 || len(shares) != 1 {
					t.Fatalf("%d messages, %d with a file", len(all), len(shares))
				}
				got, ok := w.File(shares[0].Files[0])
				if !ok || !bytes.Equal(got, content) {
					t.Errorf("the file holds %d bytes, want %d", len(got), len(content))
				}
				if name := w.FileName(shares[0].Files[0]); name != "_!channel_ sheet.pdf" {
					t.Errorf("its name is %q", name)
				}
				for _, c := range w.Calls("files.getUploadURLExternal") {
					if c.Args.Get("alt_txt") != "_!channel_ sheet.pdf, application/pdf" {
						t.Errorf("alternative text %q", c.Args.Get("alt_txt"))
					}
				}
				if strings.Contains(s.log.String(), "/upload/") {
					t.Error("an upload's address stands in the log")
				}
			})
		}
	}
}
