package flow

import (
	"bytes"
	"flag"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

var drawDiagram = flag.Bool("diagram", false, "draw the transitions in DEVELOPERS.md anew")

const (
	developers   = "../DEVELOPERS.md"
	diagramBegin = "<!-- diagram -->\n```mermaid\n"
	diagramEnd   = "```\n<!-- /diagram -->"
)

// The diagram in DEVELOPERS.md is the one that the table gives.
func TestDiagramIsCurrent(t *testing.T) {
	doc, err := os.ReadFile(developers)
	if err != nil {
		t.Fatal(err)
	}
	want, err := Diagram()
	if err != nil {
		t.Fatal(err)
	}
	before, rest, begun := strings.Cut(string(doc), diagramBegin)
	got, after, ended := strings.Cut(rest, diagramEnd)
	if !begun || !ended {
		t.Fatalf("DEVELOPERS.md has not the marks %q and %q", diagramBegin, diagramEnd)
	}
	if got == want {
		return
	}
	if *drawDiagram {
		if err := os.WriteFile(developers, []byte(before+diagramBegin+want+diagramEnd+after), 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	t.Errorf("DEVELOPERS.md shows other transitions; draw them with: go test ./flow -run Diagram -diagram\n%s", want)
}

var (
	spans   = regexp.MustCompile("`[^`\n]+`")
	goTests = regexp.MustCompile(`\b(?:Test|Fuzz|Benchmark)[A-Z]\w*`)
	aimed   = regexp.MustCompile(`-(?:run|bench|fuzz) '?(\w[\w|$]*)`)
	aPath   = regexp.MustCompile(`^[\w./*-]+$`)
	aName   = regexp.MustCompile(`^(?:[a-z]\w*\.)?[A-Za-z]\w*(?:\(\))?$`)
)

// What DEVELOPERS.md names is there: files and folders, functions and types, the
// tests of its commands.
func TestDevelopersNames(t *testing.T) {
	b, err := os.ReadFile(developers)
	if err != nil {
		t.Fatal(err)
	}
	doc := string(b)
	source := goSource(t)
	checked := map[string]int{}
	has := func(kind, what string, ok bool) {
		if checked[kind]++; !ok {
			t.Errorf("DEVELOPERS.md names %s, and there is no such %s", what, kind)
		}
	}
	for _, name := range goTests.FindAllString(doc, -1) {
		has("test", name, bytes.Contains(source, []byte("\nfunc "+name+"(")))
	}
	for _, span := range spans.FindAllString(doc, -1) {
		name := strings.Trim(span, "`")
		switch {
		case strings.HasPrefix(name, "go ") || strings.Contains(name, " go "):
			for _, word := range strings.Fields(name) {
				if folder := strings.TrimSuffix(word, "/..."); strings.HasPrefix(word, "./") && word != "./..." {
					has("folder", folder, exists(t, folder))
				}
			}
			for _, m := range aimed.FindAllStringSubmatch(name, -1) {
				for _, part := range strings.Split(m[1], "|") {
					has("test", part, regexp.MustCompile(`(?m)^func \w*`+strings.TrimSuffix(part, "$")+`\w*\(\w \*testing\.`).Match(source))
				}
			}
		case aPath.MatchString(name) && (strings.Contains(name, "/") || strings.Contains(name, ".go") || exists(t, name)):
			has("file", name, exists(t, name))
		case aName.MatchString(name):
			_, last, dotted := strings.Cut(strings.TrimSuffix(name, "()"), ".")
			if !dotted {
				last = strings.TrimSuffix(name, "()")
			}
			has("name", name, regexp.MustCompile(`\b`+last+`\b`).Match(source))
		}
	}
	for _, kind := range []string{"test", "folder", "file", "name"} {
		if checked[kind] == 0 {
			t.Errorf("no %s was looked for", kind)
		}
	}
}

// exists looks for a path, or one with stars, from the module's root.
func exists(t *testing.T, path string) bool {
	t.Helper()
	found, err := filepath.Glob(filepath.Join("..", filepath.FromSlash(path)))
	if err != nil {
		t.Fatal(err)
	}
	return len(found) > 0
}

// goSource is all of the module's source and its go.mod.
func goSource(t *testing.T) []byte {
	t.Helper()
	var all bytes.Buffer
	err := filepath.WalkDir("..", func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || !strings.HasSuffix(path, ".go") && d.Name() != "go.mod" {
			return err
		}
		b, err := os.ReadFile(path)
		all.Write(b)
		all.WriteByte('\n')
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return all.Bytes()
}
