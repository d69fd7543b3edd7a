//go:build unix

package terminal

import (
	"io"
	"net"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
)

func TestOpenFileTakesRegularFilesOnly(t *testing.T) {
	dir := t.TempDir()
	path := func(name string) string { return filepath.Join(dir, name) }
	must := func(err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
	must(os.WriteFile(path("good.bin"), []byte("content"), 0o600))
	must(os.WriteFile(path("empty.bin"), nil, 0o600))
	must(os.Symlink(path("good.bin"), path("link.bin")))
	must(os.Symlink(path("nothing"), path("dangling.bin")))
	must(os.Mkdir(path("folder"), 0o700))
	must(syscall.Mkfifo(path("pipe"), 0o600))
	must(os.WriteFile(path("sparse.bin"), nil, 0o600))
	must(os.Truncate(path("sparse.bin"), 1<<30))
	wd, err := os.Getwd()
	must(err)
	must(os.Chdir(dir)) // a socket's path is short
	l, err := net.Listen("unix", "sock")
	must(err)
	must(os.Chdir(wd))
	defer l.Close()

	for _, c := range []struct{ path, says string }{
		{path("good.bin"), ""},
		{path("empty.bin"), ""}, // what it holds is judged where it is kept
		{path("link.bin"), "it is a link"},
		{path("dangling.bin"), "it is a link"},
		{path("folder"), "it is a directory"},
		{path("pipe"), "it is a pipe"},
		{path("sock"), "it is a socket"},
		{path("sparse.bin"), "at most 67108864 are taken"},
		{path("missing"), "there is no such file"},
		{os.DevNull, "it is a device"},
		{path("good.bin") + "/x", "not a directory"},
		{"", "there is no such file"},
		{strings.Repeat("n", 5000), "too long"},
	} {
		a, fault := openFile(c.path, 64<<20)
		if (a == nil) == (fault == "") {
			t.Errorf("%s: neither or both of file and fault", c.path)
		}
		if !strings.Contains(fault, c.says) || (c.says == "") != (fault == "") {
			t.Errorf("%s: %q, want %q", c.path, fault, c.says)
		}
		if strings.Contains(fault, dir) {
			t.Errorf("%s: the path is told: %s", c.path, fault)
		}
		closeFile(a)
	}
	a, _ := openFile(path("good.bin"), 64<<20)
	must(os.Remove(path("good.bin"))) // opened already
	r, err := a.Open()
	must(err)
	if b, err := io.ReadAll(r); err != nil || string(b) != "content" || a.Name != "good.bin" {
		t.Errorf("read %q, %v; name %q", b, err, a.Name)
	}
	closeFile(a)
}
