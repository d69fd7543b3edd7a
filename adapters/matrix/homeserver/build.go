package homeserver

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"sync"
	"testing"

	"github.com/gofrs/flock"
)

const (
	binaryEnv  = "MILEPOST_HOMESERVER"
	requireEnv = "MILEPOST_REQUIRE"
	command    = "github.com/matrix-org/dendrite/cmd/dendrite"
)

// Missing ends a test that needs what is not here: skipped, or failed if the
// list in MILEPOST_REQUIRE names it.
func Missing(t testing.TB, what string, err error) {
	t.Helper()
	list := strings.FieldsFunc(os.Getenv(requireEnv), func(r rune) bool { return r == ',' || r == ' ' })
	if slices.Contains(list, what) {
		t.Fatalf("%s is required and missing: %v", what, err)
	}
	t.Skipf("no %s: %v", what, err)
}

// Build gives the path of the server's binary, built if it is not in the cache
// yet: about a minute with cold caches. Several processes may call it at once.
func Build(t testing.TB) string {
	t.Helper()
	path, err := binary()
	if err != nil {
		Missing(t, "homeserver", err)
	}
	return path
}

var binary = sync.OnceValues(func() (string, error) {
	if path := os.Getenv(binaryEnv); path != "" {
		fi, err := os.Stat(path)
		if err == nil && !fi.Mode().IsRegular() {
			err = errors.New("not a file")
		}
		if err != nil {
			return "", fmt.Errorf("%s: %w", binaryEnv, err)
		}
		return filepath.Abs(path)
	}
	root, err := ModuleRoot()
	if err != nil {
		return "", err
	}
	module := filepath.Join(root, "testdata", "homeserver")
	sums, err := os.ReadFile(filepath.Join(module, "go.sum"))
	if err != nil {
		return "", err
	}
	name := "homeserver"
	if runtime.GOOS == "windows" {
		name += ".exe"
	}
	dir, err := Cached("homeserver", bytes.ReplaceAll(sums, []byte("\r\n"), []byte("\n")), func(dir string) error {
		return buildAs(module, filepath.Join(dir, name))
	})
	return filepath.Join(dir, name), err
})

func buildAs(module, path string) error {
	cmd := exec.Command("go", "build", "-C", module, "-mod=readonly", "-trimpath", "-buildvcs=false", "-o", path, command)
	// The flags of the run that tests us (-race, tags) are not for the server.
	cmd.Env = append(os.Environ(), "CGO_ENABLED=0", "GOFLAGS=", "GOWORK=off", "GOOS=", "GOARCH=")
	if out, err := cmd.CombinedOutput(); err != nil {
		return fmt.Errorf("build homeserver: %w\n%s", err, lastLines(out, 10))
	}
	return nil
}

// Cached gives a folder in the user's cache, named by what is in it and a hash of
// the key, that fill has filled once, now or before. Several processes may call
// it at once. What was cut short is filled again.
func Cached(kind string, key []byte, fill func(dir string) error) (string, error) {
	hash := sha256.Sum256(key)
	dir, err := cacheDir(kind + "-" + hex.EncodeToString(hash[:8]))
	if err != nil {
		return "", err
	}
	lock := flock.New(filepath.Join(dir, "lock"))
	if err := lock.Lock(); err != nil {
		return "", fmt.Errorf("lock %s: %w", dir, err)
	}
	defer lock.Close()
	whole := filepath.Join(dir, "whole")
	if _, err := os.Stat(whole); err == nil || !errors.Is(err, fs.ErrNotExist) {
		return dir, err
	}
	if err := fill(dir); err != nil {
		return "", err
	}
	return dir, os.WriteFile(whole, nil, 0o600)
}

// ModuleRoot is the folder of Milepost's go.mod, found upwards from the working
// directory, which for a test is its package's.
func ModuleRoot() (string, error) {
	dir, err := os.Getwd()
	for ; err == nil; dir = filepath.Dir(dir) {
		mod, err := os.ReadFile(filepath.Join(dir, "go.mod"))
		if name, _, _ := strings.Cut(string(mod), "\n"); err == nil && strings.TrimSpace(name) == "module milepost" {
			return dir, nil
		}
		if dir == filepath.Dir(dir) {
			return "", errors.New("no go.mod of milepost above the working directory")
		}
	}
	return "", err
}

// cacheDir is a folder of that name under the user's cache, made if necessary.
func cacheDir(name string) (string, error) {
	base, err := os.UserCacheDir()
	if err != nil {
		return "", err
	}
	dir := filepath.Join(base, "milepost-test", name)
	return dir, os.MkdirAll(dir, 0o700)
}

func lastLines(text []byte, n int) string {
	lines := strings.Split(strings.TrimRight(string(text), "\n"), "\n")
	return strings.Join(lines[max(0, len(lines)-n):], "\n")
}
