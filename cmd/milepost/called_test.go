package main

import (
	"regexp"
	"strings"
	"testing"
)

// called makes a call and gives all it prints, and its exit code.
func called(args ...string) (string, int) {
	var out, errs safeBuffer
	code := execute(args, &streams{out: &out, err: &errs})
	return out.String() + errs.String(), code
}

// checkedBoard sees that check finds a network of a running serve sound and that
// its board shows a vehicle; it gives the job.
func checkedBoard(t *testing.T, file, network, vehicle string) string {
	t.Helper()
	if text, code := called("check", "--config", file); code != exitDone || !strings.Contains(text, "OK   "+network+": ") {
		t.Errorf("check: %d\n%s", code, text)
	}
	board, code := called("board", "--config", file)
	job := regexp.MustCompile(`\b[2-9b-df-hj-np-tv-z]{7}\b`).FindString(board)
	if code != exitDone || !strings.Contains(board, vehicle) || job == "" {
		t.Fatalf("board: %d %s", code, board)
	}
	return job
}
