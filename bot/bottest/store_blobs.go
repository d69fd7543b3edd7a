package bottest

import (
	"bytes"
	"context"
	"errors"
	"io"
	"strings"
	"testing"

	"milepost/bot"
)

// TestBlobs is the suite that every bot.Blobs runs. Open gives an empty one.
func TestBlobs(t *testing.T, open func(t *testing.T) bot.Blobs) {
	for _, c := range []struct {
		name string
		run  func(*testing.T, bot.Blobs)
	}{{"put and open", blobsPut}, {"limit", blobsLimit}, {"broken off", blobsBroken}, {"delete", blobsDelete}, {"at once", blobsBusy}} {
		t.Run(c.name, func(t *testing.T) { c.run(t, open(t)) })
	}
}

func readBlob(b bot.Blobs, sha string) (string, error) {
	r, err := b.Open(context.Background(), sha)
	if err != nil {
		return "", err
	}
	defer r.Close()
	got, err := io.ReadAll(r)
	return string(got), err
}

func blobsPut(t *testing.T, s bot.Blobs) {
	ctx := context.Background()
	for _, content := range []string{"", "short", strings.Repeat("x", 512), strings.Repeat("0123456789", 30_000), "\x00\xff"} {
		for range 2 { // the second time it is there already
			b := get(s.Put(ctx, strings.NewReader(content), 1<<20))(t)
			if b.SHA256 != sum(content) || b.Bytes != int64(len(content)) || string(b.Head) != content[:min(512, len(content))] {
				t.Errorf("put %d bytes: %s, %d bytes, head of %d", len(content), b.SHA256, b.Bytes, len(b.Head))
			}
		}
		if got, err := readBlob(s, sum(content)); got != content || err != nil {
			t.Errorf("open: %d bytes, %v; want %d", len(got), err, len(content))
		}
	}
	for _, wrong := range []string{sum("never put"), "", "..", "../../etc/passwd", strings.ToUpper(sum("short")), sum("short") + "/x"} {
		if _, err := readBlob(s, wrong); err == nil {
			t.Errorf("%q was opened", wrong)
		}
	}
}

func blobsLimit(t *testing.T, s bot.Blobs) {
	ctx := context.Background()
	if _, err := s.Put(ctx, strings.NewReader("12345"), 5); err != nil {
		t.Errorf("5 bytes of 5: %v", err)
	}
	if _, err := s.Put(ctx, strings.NewReader("123456"), 5); !errors.Is(err, bot.ErrTooLarge) {
		t.Errorf("6 bytes of 5: %v, want ErrTooLarge", err)
	}
	if _, err := readBlob(s, sum("123456")); err == nil {
		t.Error("what was too large is there")
	}
}

// blobsBroken: what comes from elsewhere may end in an error, and then nothing is
// kept.
func blobsBroken(t *testing.T, s bot.Blobs) {
	broken := errors.New("line broken")
	_, err := s.Put(context.Background(), io.MultiReader(strings.NewReader("half"), errReader{broken}), 100)
	if !errors.Is(err, broken) {
		t.Errorf("put: %v, want the reader's error", err)
	}
	if _, err := readBlob(s, sum("half")); err == nil {
		t.Error("half a file is there")
	}
}

type errReader struct{ err error }

func (e errReader) Read([]byte) (int, error) { return 0, e.err }

func blobsDelete(t *testing.T, s bot.Blobs) {
	ctx := context.Background()
	b := get(s.Put(ctx, strings.NewReader("gone soon"), 100))(t)
	for range 2 { // what is not there is no error
		must(t, s.Delete(ctx, b.SHA256))
		if _, err := readBlob(s, b.SHA256); err == nil {
			t.Error("deleted, and there")
		}
	}
	get(s.Put(ctx, strings.NewReader("gone soon"), 100))(t)
	if got, err := readBlob(s, b.SHA256); got != "gone soon" || err != nil {
		t.Errorf("put again: %q %v", got, err)
	}
}

func blobsBusy(t *testing.T, s bot.Blobs) {
	content := bytes.Repeat([]byte("same"), 5000)
	together(8, func(int) {
		b, err := s.Put(context.Background(), bytes.NewReader(content), 1<<20)
		if err != nil || b.SHA256 != sum(string(content)) {
			t.Errorf("put: %v %v", b.SHA256, err)
		}
		if got, err := readBlob(s, sum(string(content))); got != string(content) || err != nil {
			t.Errorf("open: %d bytes, %v", len(got), err)
		}
	})
}
