package homeserver

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
)

// failing is a test that notes how it ended instead of ending.
type failing struct {
	testing.TB
	said    string
	skipped bool
}

func (f *failing) Helper() {}

func (f *failing) Fatalf(format string, args ...any) {
	f.said = fmt.Sprintf(format, args...)
	runtime.Goexit()
}

func (f *failing) Skipf(format string, args ...any) {
	f.skipped = true
	f.Fatalf(format, args...)
}

func TestMissing(t *testing.T) {
	for require, skipped := range map[string]bool{"": true, "foreign": true, "homeserver": false, "foreign,homeserver": false, "homeserver foreign": false} {
		t.Setenv(requireEnv, require)
		f := &failing{TB: t}
		done := make(chan struct{})
		go func() { defer close(done); Missing(f, "homeserver", errors.New("why not")) }()
		<-done
		if f.skipped != skipped || !strings.Contains(f.said, "why not") {
			t.Errorf("%s=%q: skipped %v, %q", requireEnv, require, f.skipped, f.said)
		}
	}
}

// TestBuildFails: what can't be built says why.
func TestBuildFails(t *testing.T) {
	module, path := t.TempDir(), filepath.Join(t.TempDir(), "homeserver")
	if err := os.WriteFile(filepath.Join(module, "go.mod"), []byte("module none\n\ngo 1.26\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := buildAs(module, path); err == nil || !strings.Contains(err.Error(), command) {
		t.Errorf("%v", err)
	}
}

// TestCached: filled once, and again after it failed; another key is another
// folder.
func TestCached(t *testing.T) {
	t.Setenv("XDG_CACHE_HOME", t.TempDir()) // on Linux; elsewhere the test would leave folders behind
	if runtime.GOOS != "linux" {
		t.Skip("the cache is not ours to fill")
	}
	filled := 0
	fill := func(dir string) error {
		filled++
		if filled == 1 {
			return errors.New("cut short")
		}
		return os.WriteFile(filepath.Join(dir, "content"), nil, 0o600)
	}
	if _, err := Cached("test", []byte("a"), fill); err == nil {
		t.Error("no error")
	}
	for range 2 {
		dir, err := Cached("test", []byte("a"), fill)
		if _, missing := os.Stat(filepath.Join(dir, "content")); err != nil || missing != nil || filled != 2 {
			t.Errorf("filled %d times, want 2; %v, %v", filled, err, missing)
		}
	}
	if _, err := Cached("test", []byte("b"), fill); err != nil || filled != 3 {
		t.Errorf("filled %d times, want 3; %v", filled, err)
	}
}
