package bottest

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/rogpeppe/go-internal/txtar"

	"milepost/flow"
)

// A Script is a conversation as a test: what people say, what the assistant
// answers, word for word, and what must be in the log. A file of
// testdata/conversations reads
//
//	# A write is refused until a backup is recorded.
//	policy: mph, rule none, cap 65, hold write, sign-off, self, inch
//	people: tech technician, Noor helper
//	clock: 2026-03-02 08:00
//	count: target<=12, done<=10
//
//	> tech: 2590 is in
//	= gate backup open=false
//	< Nothing is written before the backup. Upload the copy, or say where it is kept. [photo]
//	< (to Noor) for another than who does the work
//	<  the next line of the same message
//	> tech: (file) unit14.bin
//	-- unit14.bin --
//
// People also "(tap) CHOICE", "(edit N) text" and "(delete N)" the Nth input,
// "(again)" repeats the delivery of the one before, "(sent 30h) text" comes so
// long after it was sent, "(unread)" came and can't be read, and "> (wait 11m)" lets time
// pass. CODE is the guest code last given out, JOB the job's number. The lines
// of = are entries in the form of [flow.Line], or how one begins; those not named
// may stand between. "ways: bot program" leaves out a way in.
type Script struct {
	Name   string
	Policy flow.Policy
	People []ScriptPerson
	Start  time.Time
	Ways   []string
	Counts []ScriptCount
	Inputs []*ScriptInput
	Files  map[string][]byte

	path string
	arch *txtar.Archive
	head []string // the lines above the first input
}

// ScriptPerson is somebody of a script, by name and role.
type ScriptPerson struct {
	Name string
	Role flow.Role
}

// ScriptCount bounds how many inputs lead to a point: target, the first value;
// done, from there to the decision that it is done.
type ScriptCount struct {
	What string
	Most int
}

// ScriptInput is one input with what must follow.
type ScriptInput struct {
	N      int
	Who    ScriptPerson
	Text   string
	File   string
	Tap    string
	Edit   int
	Delete int
	Again  bool
	Wait   time.Duration
	Ago    time.Duration // how long before it came it was sent; 0: the network has no time
	Unread bool          // it came and could not be read
	Said   []string      // messages as they are written in a script
	Want   []string      // entries

	raw  []string // the lines of the input
	tail []string // remarks and empty lines behind it
}

// Ways in.
const (
	WayFlow    = "flow"
	WayBot     = "bot"
	WayProgram = "program"
)

// Has says whether a script goes in by a way.
func (s *Script) Has(way string) bool {
	for _, w := range s.Ways {
		if w == way {
			return true
		}
	}
	return false
}

// ReadScripts reads the scripts of a folder.
func ReadScripts(t testing.TB, dir string) []*Script {
	t.Helper()
	paths, err := filepath.Glob(filepath.Join(dir, "*.txtar"))
	if err != nil {
		t.Fatal(err)
	}
	var scripts []*Script
	for _, p := range paths {
		b, err := os.ReadFile(p)
		if err != nil {
			t.Fatal(err)
		}
		s, err := ParseScript(b)
		if err != nil {
			t.Fatalf("%s: %v", p, err)
		}
		s.path, s.Name = p, strings.TrimSuffix(filepath.Base(p), ".txtar")
		scripts = append(scripts, s)
	}
	if len(scripts) == 0 {
		t.Fatalf("%s: no scripts", dir)
	}
	return scripts
}

// write puts what was seen in the place of what was expected.
func (s *Script) write() error {
	var b strings.Builder
	put := func(lines ...string) {
		for _, l := range lines {
			b.WriteString(l + "\n")
		}
	}
	put(s.head...)
	for _, in := range s.Inputs {
		put(in.raw...)
		for _, w := range in.Want {
			put("= " + w)
		}
		for _, m := range in.Said {
			put("< " + strings.ReplaceAll(m, "\n", "\n<  "))
		}
		put(in.tail...)
	}
	s.arch.Comment = []byte(b.String())
	return os.WriteFile(s.path, txtar.Format(s.arch), 0o644)
}
