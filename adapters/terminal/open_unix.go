//go:build unix

package terminal

import (
	"os"
	"syscall"
)

// openOnce opens a file for reading. Where a link or a pipe has taken its place
// since it was looked at, the one is refused and the other does not hold us up.
func openOnce(path string) (*os.File, error) {
	return os.OpenFile(path, os.O_RDONLY|syscall.O_NOFOLLOW|syscall.O_NONBLOCK, 0)
}
