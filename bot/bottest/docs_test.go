package bottest_test

import (
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"runtime"
	"slices"
	"strings"
	"testing"
)

// readme is the README at the module's root.
func readme(t *testing.T) string {
	t.Helper()
	b, err := os.ReadFile("../../README.md")
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

// fenced gives the contents of the blocks of a language.
func fenced(text, lang string) (blocks []string) {
	for _, m := range regexp.MustCompile("(?ms)^```"+lang+"\n(.*?)^```$").FindAllStringSubmatch(text, -1) {
		blocks = append(blocks, m[1])
	}
	return blocks
}

// program builds milepost as the README says: without cgo.
func program(t *testing.T) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "milepost")
	if runtime.GOOS == "windows" {
		path += ".exe"
	}
	c := exec.Command("go", "build", "-tags", "goolm", "-buildvcs=false", "-o", path, "./cmd/milepost")
	c.Dir, c.Env = "../..", append(os.Environ(), "CGO_ENABLED=0")
	if out, err := c.CombinedOutput(); err != nil {
		t.Fatalf("go build: %v\n%s", err, out)
	}
	return path
}

// run runs a command in a directory whose home is that directory.
func run(t *testing.T, dir, input string, name string, args ...string) string {
	t.Helper()
	c := exec.Command(name, args...)
	c.Dir, c.Stdin = dir, strings.NewReader(input)
	c.Env = append(os.Environ(), "HOME="+dir, "LocalAppData="+dir, "XDG_DATA_HOME="+filepath.Join(dir, "data"), "NO_COLOR=1")
	out, err := c.Output()
	if err != nil {
		var why []byte
		if e, ok := err.(*exec.ExitError); ok {
			why = e.Stderr
		}
		t.Fatalf("%s %s: %v\n%s%s", name, strings.Join(args, " "), err, out, why)
	}
	return string(out)
}

// The first command runs the assistant, the second the tests that .ci/run runs
// too.
func TestReadmeCommands(t *testing.T) {
	text := readme(t)
	blocks := fenced(text, "sh")
	if len(blocks) != 1 || strings.Count(blocks[0], "\n") != 2 {
		t.Fatalf("the README has not one block of two commands: %q", blocks)
	}
	chat, tests, _ := strings.Cut(strings.TrimSpace(blocks[0]), "\n")
	if chat != "go run -tags goolm ./cmd/milepost chat" {
		t.Errorf("the first command is %q", chat)
	}
	if tests != "go test -timeout 20m -tags goolm ./..." {
		t.Errorf("the second command is %q", tests)
	}
	ci, err := os.ReadFile("../../.ci/run")
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Contains(ci, []byte("\n"+tests+"\n")) {
		t.Errorf(".ci/run does not run %q", tests)
	}

	// `go run` itself, as it stands there, in a home of its own. The module cache
	// and the build cache stay where they are.
	home := t.TempDir()
	words := strings.Fields(chat)
	c := exec.Command(words[0], words[1:]...)
	c.Dir, c.Stdin = "../..", strings.NewReader("new job unit 14, in the bay, 48210 mi\n")
	c.Env = append(os.Environ(), "XDG_DATA_HOME="+home, "LocalAppData="+home, "NO_COLOR=1", "GOFLAGS=-buildvcs=false")
	if runtime.GOOS == "darwin" {
		t.Skip("its data directory is not to be moved by the environment")
	}
	out, err := c.CombinedOutput()
	if err != nil || !strings.Contains(string(out), "48,210 mi") {
		t.Errorf("%s: %v\n%s", chat, err, out)
	}
	if _, err := os.Stat(filepath.Join(home, "milepost", "log.key")); err != nil {
		t.Errorf("the key is not where the README says: %v", err)
	}
}

// The commands of the table are those of the program, and their options exist.
func TestReadmeTable(t *testing.T) {
	text, milepost := readme(t), program(t)
	help := run(t, t.TempDir(), "", milepost, "--help")
	has := map[string]string{}
	for _, m := range regexp.MustCompile(`(?m)^  ([a-z]+) +(.*)$`).FindAllStringSubmatch(help, -1) {
		has[m[1]] = m[2]
	}
	if len(has) < 10 {
		t.Fatalf("only %d commands in the help:\n%s", len(has), help)
	}
	shown := map[string]bool{}
	for _, row := range regexp.MustCompile("(?m)^\\| `milepost .*$").FindAllString(text, -1) {
		options := regexp.MustCompile(`--[a-z-]+|-o\b`).FindAllString(row, -1)
		for _, m := range regexp.MustCompile("`milepost ([a-z]+)").FindAllStringSubmatch(row, -1) {
			name := m[1]
			if shown[name] = true; has[name] == "" || strings.Contains(has[name], "not in this build") {
				t.Errorf("the README lists %s, the program says %q", name, has[name])
				continue
			}
			usage := run(t, t.TempDir(), "", milepost, name, "--help")
			for _, o := range options {
				if !strings.Contains(usage, o) {
					t.Errorf("%s has no %s:\n%s", name, o, usage)
				}
			}
		}
	}
	for name, short := range has {
		absent := strings.Contains(short, "not in this build")
		if !absent && !shown[name] && name != "help" {
			t.Errorf("the README does not list %s", name)
		}
		if absent && !regexp.MustCompile("(?m)^- This build has no (.|\n  )*`"+name+"`").MatchString(text) {
			t.Errorf("the README does not say that %s is not in this build", name)
		}
	}
}

// The conversation shown is what the program says: every line of it, in its
// order; between two lines with a mark of omission between them there may be others.
func TestReadmeConversation(t *testing.T) {
	blocks := fenced(readme(t), "chat")
	if len(blocks) != 1 {
		t.Fatalf("%d conversations", len(blocks))
	}
	dir := t.TempDir()
	var inputs []string
	var shown []string // messages, "…" for what is left out
	for line := range strings.Lines(blocks[0]) {
		line = strings.TrimRight(line, "\n")
		switch {
		case strings.HasPrefix(line, "> "):
			inputs = append(inputs, line[2:])
			if name, ok := strings.CutPrefix(line, "> file "); ok {
				if err := os.WriteFile(filepath.Join(dir, name), []byte("as read from unit 14"), 0o600); err != nil {
					t.Fatal(err)
				}
			}
		case strings.HasPrefix(line, "  ") && len(shown) > 0:
			shown[len(shown)-1] += " " + strings.TrimSpace(line)
		default:
			shown = append(shown, line)
		}
	}
	out := run(t, dir, strings.Join(inputs, "\n")+"\n", program(t), "chat", "--data", "data")
	said := strings.Split(strings.TrimSpace(out), "\n")[1:] // without the greeting
	at, skip := 0, false
	for _, want := range shown {
		if want == "…" {
			skip = true
			continue
		}
		i := slices.Index(said[at:], want)
		// The words of a question may be followed by its choices, which a mark stands for.
		if i < 0 || i > 0 && !skip {
			t.Fatalf("shown: %s\nnot said there; said:\n%s", want, strings.Join(said[at:], "\n"))
		}
		at, skip = at+i+1, false
	}
	if len(inputs) < 15 || len(shown) < 20 {
		t.Errorf("only %d inputs and %d lines were compared", len(inputs), len(shown))
	}
}
