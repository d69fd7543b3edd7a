package words

import (
	"go/ast"
	"go/parser"
	"go/token"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/BurntSushi/toml"
)

// families are keys that the program puts together, each with where: everything
// else is used by its whole name.
var families = map[string]string{
	"choice.":           "the ids of a question's choices",
	"name.":             "the questions, where an answer is spoken of",
	"phase.":            "the phases, on the card",
	"flag.":             "the board's flags",
	"caution.":          "the cautions",
	"alert.":            "whom somebody calls for",
	"call.":             "why the program calls somebody",
	"who.":              "the roles",
	"warn.":             "the method's warnings",
	"before.line.":      "the lines of the checklist before the work",
	"close.line.":       "the lines of the closing checklist",
	"change.refused.":   "why a write was refused",
	"target.ask.":       "why no target can be given",
	"review.read.":      "why more readings are asked for",
	"review.cannot.":    "why a value cannot fix it",
	"mend.":             "what became of a reading",
	"closed.":           "how a job ended",
	"remind.":           "the reminders",
	"module.":           "the modules",
	"quantity.":         "what a stored value is",
	"recover.odometer.": "the odometer before and after a restore",
}

// literals are the strings in the sources of the program.
func literals(t *testing.T) map[string]string {
	t.Helper()
	found := map[string]string{}
	for _, dir := range []string{"..", "../../bot", "../../bot/sheet", "../../cmd/milepost", "../../adapters/terminal", "../../adapters/matrix", "../../adapters/slack"} {
		paths, err := filepath.Glob(filepath.Join(dir, "*.go"))
		if err != nil {
			t.Fatal(err)
		}
		for _, p := range paths {
			if strings.HasSuffix(p, "_test.go") {
				continue
			}
			f, err := parser.ParseFile(token.NewFileSet(), p, nil, 0)
			if err != nil {
				t.Fatal(err)
			}
			ast.Inspect(f, func(n ast.Node) bool {
				if l, ok := n.(*ast.BasicLit); ok && l.Kind == token.STRING {
					if s, err := strconv.Unquote(l.Value); err == nil {
						found[s] = p
					}
				}
				return true
			})
		}
	}
	if len(found) < 500 {
		t.Fatalf("only %d strings were found", len(found))
	}
	return found
}

var keyPattern = regexp.MustCompile(`^[a-z][a-z-]*(\.[a-z0-9_-]+)+$`)

// Every key that the flow names is in the catalogue.
func TestKeysExist(t *testing.T) {
	c := Default()
	first := map[string]bool{}
	for _, k := range c.Keys() {
		first[k[:strings.IndexByte(k+".", '.')]] = true
	}
	n := 0
	for s, path := range literals(t) {
		if !keyPattern.MatchString(s) || !strings.HasPrefix(path, "../") || strings.Contains(path, "cmd") {
			continue
		}
		if !first[s[:strings.IndexByte(s, '.')]] || strings.HasSuffix(s, ".sock") || strings.HasSuffix(s, ".key") {
			continue
		}
		if n++; !c.Has(s) {
			t.Errorf("%s names %q, which is not in the catalogue", path, s)
		}
	}
	if n < 300 {
		t.Errorf("only %d keys were looked at", n)
	}
}

// Every key in the catalogue is used: by its name, or in a family.
func TestKeysUsed(t *testing.T) {
	used := literals(t)
	for _, k := range Default().Keys() {
		key := strings.TrimSuffix(k, plainMark)
		if used[key] != "" {
			continue
		}
		in := false
		for f := range families {
			in = in || strings.HasPrefix(key, f)
		}
		if !in {
			t.Errorf("%s is used nowhere", key)
		}
	}
	for f := range families {
		if used[f] == "" {
			t.Errorf("nothing puts keys of the family %s together", f)
		}
	}
}

// A plain wording stands beside a trade wording.
func TestPlainHasTrade(t *testing.T) {
	for _, k := range Default().Keys() {
		if trade, ok := strings.CutSuffix(k, plainMark); ok && !Default().Has(trade) {
			t.Errorf("%s has no trade wording", trade)
		}
	}
}

// sentences are the templates of the catalogue, by key.
func sentences(t *testing.T) map[string]string {
	t.Helper()
	all := map[string]string{}
	paths, err := filepath.Glob("en/*.toml")
	if err != nil {
		t.Fatal(err)
	}
	for _, p := range paths {
		b, err := os.ReadFile(p)
		if err != nil {
			t.Fatal(err)
		}
		var m map[string]map[string]string
		if err := toml.Unmarshal(b, &m); err != nil {
			t.Fatalf("%s: %v", p, err)
		}
		for k, forms := range m {
			for form, s := range forms {
				all[k+" "+form] = s
			}
		}
	}
	return all
}

var fieldPattern = regexp.MustCompile(`\.([A-Z][A-Za-z]*)`)

// counted are the arguments that are compared with a number.
var counted = regexp.MustCompile(`(?:eq|gt|lt|ge|le|ne) \.([A-Z][A-Za-z]*) \d|(?:eq|gt|lt) \d+ \.([A-Z][A-Za-z]*)`)

// Every sentence can be said with all its arguments, and with none of what is
// optional, in both registers.
func TestSentencesExecute(t *testing.T) {
	for name, s := range sentences(t) {
		key, _, _ := strings.Cut(strings.TrimSuffix(name, plainMark), " ")
		plain := strings.HasSuffix(key, plainMark)
		key = strings.TrimSuffix(key, plainMark)
		full, empty := Args{}, Args{}
		for _, m := range fieldPattern.FindAllStringSubmatch(s, -1) {
			full[m[1]], empty[m[1]] = "7", ""
		}
		for _, m := range counted.FindAllStringSubmatch(s, -1) {
			full[m[1]+m[2]], empty[m[1]+m[2]] = 1, 0
		}
		if _, ok := full["Count"]; ok {
			full["Count"], empty["Count"] = 2, 1
		}
		for what, args := range map[string]Args{"all": full, "none": empty} {
			if got := Default().Say(key, plain, args); strings.Contains(got, "‹") || strings.Contains(got, "<no value>") || strings.Contains(got, "{{") {
				t.Errorf("%s with %s of its arguments: %q", name, what, got)
			}
		}
	}
}

// The tone: no cheering, no emoji, labels that fit a button.
func TestTone(t *testing.T) {
	for name, s := range sentences(t) {
		if strings.Contains(regexp.MustCompile(`\{\{.*?\}\}`).ReplaceAllString(s, ""), "!") {
			t.Errorf("%s cheers: %q", name, s)
		}
		for _, r := range s {
			if r >= 0x1F000 || r >= 0x2600 && r <= 0x27BF || r == 0xFE0F {
				t.Errorf("%s has an emoji: %q", name, s)
			}
		}
		if strings.HasPrefix(name, "choice.") && utf8.RuneCountInString(regexp.MustCompile(`\{\{.*?\}\}`).ReplaceAllString(s, "2596")) > 24 {
			t.Errorf("%s is too long for a button: %q", name, s)
		}
	}
}
