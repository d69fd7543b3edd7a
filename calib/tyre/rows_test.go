package tyre_test

import (
	"bufio"
	"os"
	"strconv"
	"strings"
	"testing"
)

// rows reads a table in testdata: tab-separated fields, # before a comment. The
// comment on top of each file names its source.
func rows(t *testing.T, name string, fields int) [][]string {
	t.Helper()
	f, err := os.Open("testdata/" + name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	var out [][]string
	for s := bufio.NewScanner(f); s.Scan(); {
		if line := s.Text(); line != "" && !strings.HasPrefix(line, "#") {
			row := strings.Split(line, "\t")
			if len(row) != fields {
				t.Fatalf("%s: %q has %d fields, want %d", name, line, len(row), fields)
			}
			out = append(out, row)
		}
	}
	if len(out) == 0 {
		t.Fatalf("%s: no rows", name)
	}
	return out
}

func number(t *testing.T, text string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(text, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}
