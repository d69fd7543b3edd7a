//go:build !linux

package sqlite_test

import "testing"

func mountSmall(t *testing.T, _ string, _ int) {
	t.Skip("no small file system can be mounted here; TestFullDatabase has the rest")
}
