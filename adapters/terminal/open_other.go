//go:build !unix

package terminal

import "os"

// openOnce opens a file for reading. That it is the one that was looked at is
// checked by the caller.
func openOnce(path string) (*os.File, error) { return os.Open(path) }
