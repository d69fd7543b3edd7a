package main

import (
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"
)

// The disk fills up under a whole job. What is written then is answered once
// there is room again.
func TestMatrixDiskFull(t *testing.T) {
	plainAndEncrypted(t, func(t *testing.T, encrypted bool) {
		var ballast string
		haul(t, encrypted, func(w *crewWay) (string, func() int) {
			fills := 0
			w.disturb = func(n int, write func()) {
				if n%5 != 1 { // the sixth is a file
					write()
					return
				}
				fill(t, ballast)
				fills++
				write()
				time.Sleep(2 * time.Second)
				if err := os.Remove(ballast); err != nil {
					t.Fatal(err)
				}
			}
			return "times the disk was full", func() int {
				refusals := strings.Count(w.log.String(), "full")
				t.Logf("%d lines of the log say so", refusals)
				if refusals == 0 {
					t.Error("the program never noticed")
				}
				return fills
			}
		}, func(c *crew) {
			disk := filepath.Dir(c.data)
			if err := os.Mkdir(disk, 0o700); err != nil {
				t.Fatal(err)
			}
			if err := syscall.Mount("tmpfs", disk, "tmpfs", 0, "size=24m,mode=0700"); err != nil {
				t.Skipf("no small file system can be mounted here (it takes root): %v", err)
			}
			t.Cleanup(func() { _ = syscall.Unmount(disk, syscall.MNT_DETACH) })
			ballast = filepath.Join(disk, "ballast")
		})
	})
}

// fill writes a file until there is no room.
func fill(t *testing.T, file string) {
	t.Helper()
	f, err := os.Create(file)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	for size := 1 << 20; size > 0; {
		if _, err := f.Write(make([]byte, size)); err != nil {
			size /= 2 // down to the last byte
		}
	}
}
