package main

import (
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/BurntSushi/toml"
)

// FuzzConfig: whatever a file holds, reading it ends, with a configuration that
// is sound or with faults that have a line of the file; and every key that the
// TOML library finds stands at a line that we know.
func FuzzConfig(f *testing.F) {
	f.Add(least)
	files, _ := filepath.Glob(filepath.Join("testdata", "config", "*.toml"))
	for _, file := range append(files, filepath.Join("testdata", "serve.toml")) {
		b, err := os.ReadFile(file)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(string(b))
	}
	f.Fuzz(func(t *testing.T, text string) {
		c, err := parseConfig("f.toml", text)
		switch {
		case err == nil:
			if c.store == "" || len(c.shops) == 0 || c.matrix == nil && c.slack == nil {
				t.Fatalf("taken: %+v", c)
			}
			if slices.Contains(c.shopNames(), "") {
				t.Fatal("a shop has no name")
			}
		default:
			lines := strings.Count(text, "\n") + 2
			for _, l := range strings.Split(err.Error(), "\nf.toml:") {
				n, _, _ := strings.Cut(strings.TrimPrefix(l, "f.toml:"), ":")
				if line, err := strconv.Atoi(n); err != nil || line < 1 || line > lines {
					t.Fatalf("a fault without a line of the file: %q", l)
				}
			}
		}
		var m map[string]any
		if _, err := toml.Decode(text, &m); err == nil {
			allPlaced(t, findPlaces(text), nil, m)
		}
	})
}

// allPlaced finds every key of a decoded value in places.
func allPlaced(t *testing.T, p places, path []string, v any) {
	t.Helper()
	if len(path) > placesDeep {
		return
	}
	if len(path) > 0 && p[at(path...)] == 0 {
		t.Fatalf("%q stands nowhere", path)
	}
	below := func(k string) []string { return append(slices.Clone(path), k) }
	switch v := v.(type) {
	case map[string]any:
		for k, e := range v {
			allPlaced(t, p, below(k), e)
		}
	case []any:
		for i, e := range v {
			allPlaced(t, p, below(strconv.Itoa(i)), e)
		}
	case []map[string]any:
		for i, e := range v {
			allPlaced(t, p, below(strconv.Itoa(i)), e)
		}
	}
}
