//go:build linux || darwin

package main

import "syscall"

// mayWrite says whether a directory may be written to, without doing so.
func mayWrite(dir string) error {
	const write, search = 2, 1 // W_OK, X_OK of access(2)
	return syscall.Access(dir, write|search)
}
