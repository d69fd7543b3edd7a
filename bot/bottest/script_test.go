package bottest_test

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"milepost/bot/bottest"
)

// What is no script says so, instead of testing nothing.
func TestScriptFaults(t *testing.T) {
	const head = "people: tech technician\n\n"
	for text, want := range map[string]string{
		"":                                       "nobody says anything",
		head:                                     "nobody says anything",
		head + "> sam: hello":                    "not among the people",
		head + "> hello":                         "who says it",
		head + "> tech: (file) gone.bin":         "no such file",
		head + "> tech: (edit 1) x":              "no earlier input",
		head + "> (wait long)":                   "invalid duration",
		head + "> tech: hello\n<no blank":        "no line of a script",
		"colour: red\n":                          "no setting",
		"policy: mph, warp 9\n":                  "no policy",
		"count: target<12\n":                     "count",
		"people: tech\n":                         "wants a role",
		"clock: noon\n" + head + "> tech: hello": "cannot parse",
	} {
		if _, err := bottest.ParseScript([]byte(text)); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v, want %q", text, err, want)
		}
	}
}

func FuzzParseScript(f *testing.F) {
	paths, err := filepath.Glob("../../testdata/conversations/*.txtar")
	if err != nil {
		f.Fatal(err)
	}
	for _, p := range paths {
		b, err := os.ReadFile(p)
		if err != nil {
			f.Fatal(err)
		}
		if len(b) < 20_000 {
			f.Add(b)
		}
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		s, err := bottest.ParseScript(b)
		if err == nil && len(s.Inputs) == 0 {
			t.Error("a script in which nobody says anything")
		}
	})
}
