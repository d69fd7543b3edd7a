package bottest

import (
	"os"
	"path/filepath"
	"regexp"
	"testing"

	"milepost/flow/words"
)

var (
	argPattern     = regexp.MustCompile(`\.([A-Z][A-Za-z]*)`)
	countedPattern = regexp.MustCompile(`(?:eq|gt|lt|ge|le|ne) \.([A-Z][A-Za-z]*) \d`)
)

// Sentences says every sentence of the catalogue, in both registers, by key: for
// tests of what a network makes of them. dir is the catalogue's folder, where the
// names of the arguments stand; fill gives each its words. Those that are compared
// with a number are 999.
func Sentences(t testing.TB, dir string, fill func(name string) string) map[string]string {
	t.Helper()
	paths, err := filepath.Glob(filepath.Join(dir, "*.toml"))
	if err != nil || len(paths) == 0 {
		t.Fatalf("no catalogue in %s: %v", dir, err)
	}
	args := words.Args{}
	for _, p := range paths {
		b, err := os.ReadFile(p)
		if err != nil {
			t.Fatal(err)
		}
		for _, m := range argPattern.FindAllSubmatch(b, -1) {
			if _, ok := args[string(m[1])]; !ok {
				args[string(m[1])] = fill(string(m[1]))
			}
		}
		for _, m := range countedPattern.FindAllSubmatch(b, -1) {
			args[string(m[1])] = 999
		}
	}
	said := map[string]string{}
	for _, key := range words.Default().Keys() {
		said[key] = words.Default().Say(key, false, args) // a plain wording is a key of its own
	}
	return said
}
