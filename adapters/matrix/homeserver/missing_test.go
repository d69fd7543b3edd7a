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

// TestBuildFails: what can't be built says why, and leaves no binary behind.
func TestBuildFails(t *testing.T) {
	module, dir := t.TempDir(), t.TempDir()
	if err := os.WriteFile(filepath.Join(module, "go.mod"), []byte("module none\n\ngo 1.26\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	if path, err := buildInto(module, dir); err == nil || !strings.Contains(err.Error(), command) {
		t.Errorf("%q, %v", path, err)
	}
	if found, _ := filepath.Glob(filepath.Join(dir, "homeserver*")); len(found) > 0 {
		t.Errorf("left behind: %q", found)
	}
}
