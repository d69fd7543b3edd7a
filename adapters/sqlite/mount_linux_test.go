package sqlite_test

import (
	"fmt"
	"syscall"
	"testing"
)

// mountSmall mounts a small file system until the end of the test.
func mountSmall(t *testing.T, dir string, bytes int) {
	t.Helper()
	if err := syscall.Mount("tmpfs", dir, "tmpfs", 0, fmt.Sprintf("size=%d,mode=0700", bytes)); err != nil {
		t.Skipf("no small file system can be mounted here (it takes root): %v; TestFullDatabase has the rest", err)
	}
	// Registered before the store is opened, so it runs after the store is closed.
	t.Cleanup(func() { must(t, syscall.Unmount(dir, syscall.MNT_DETACH)) })
}
