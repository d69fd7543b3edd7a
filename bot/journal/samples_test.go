package journal

import (
	"bytes"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

var update = flag.Bool("update", false, "write the sample exports anew")

const samples = "../../testdata/exports"

// The sample exports are files of this format as it was when they were made, good
// ones and each way of tampering, and index.txt says what Verify must say of each:
//
//	file | key file, or - for none | head file, or - | holds, or a part of the error
//
// They are not made anew when the code changes; a format that cannot read them is
// a new version.
func TestSamples(t *testing.T) {
	if *update {
		writeSamples(t)
	}
	index := string(must(os.ReadFile(filepath.Join(samples, "index.txt")))(t))
	listed := map[string]bool{"index.txt": true}
	for l := range strings.Lines(index) {
		f := strings.Split(strings.TrimSpace(l), " | ")
		if len(f) != 4 {
			t.Fatalf("index line %q", l)
		}
		read := func(name string) []string {
			if name == "-" {
				return nil
			}
			listed[name] = true
			return []string{string(must(os.ReadFile(filepath.Join(samples, name)))(t))}
		}
		file := read(f[0])[0]
		s, err := Verify(strings.NewReader(file), read(f[1]), read(f[2]))
		switch {
		case f[3] == "holds" && (err != nil || !s.Proven):
			t.Errorf("%s with %s: %v, want it to hold", f[0], f[1], err)
		case f[3] != "holds" && (err == nil || !strings.Contains(err.Error(), f[3])):
			t.Errorf("%s with %s: %v, want %q", f[0], f[1], err, f[3])
		}
	}
	for _, e := range must(os.ReadDir(samples))(t) {
		if !listed[e.Name()] {
			t.Errorf("%s is not in the index", e.Name())
		}
	}
}

func writeSamples(t *testing.T) {
	var index strings.Builder
	put := func(name string, b []byte) {
		if err := os.WriteFile(filepath.Join(samples, name), b, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	sample := func(name string, b []byte, key, head, want string) {
		put(name, b)
		fmt.Fprintf(&index, "%s | %s | %s | %s\n", name, key, head, want)
	}
	if err := os.MkdirAll(samples, 0o755); err != nil {
		t.Fatal(err)
	}

	w := newWorld(t, "samples").busy(3)
	put("oakroad.pub", []byte(w.key.Public()+"\n"))
	put("stranger.pub", []byte(must(NewKey("oakroad", &seeded{name: "stranger"}))(t).Public()+"\n"))
	put("early.head", w.head())
	put("early-short.head", []byte(w.heads[0].Short()+"\n"))
	w.busy(1)
	x := w.of("7q3k9x")
	good := w.write(x)
	lines := bytes.SplitAfter(good, []byte("\n"))
	lines = lines[:len(lines)-1]
	sample("good.jsonl", good, "oakroad.pub", "early.head", "holds")
	fmt.Fprintf(&index, "good.jsonl | oakroad.pub | early-short.head | holds\n")
	fmt.Fprintf(&index, "good.jsonl | stranger.pub | - | signed by another key\n")
	fmt.Fprintf(&index, "good.jsonl | - | - | consistent in itself; not proven: no key to check it against\n")
	bare := x
	bare.WithoutPeople = true
	sample("good-without-people.jsonl", w.write(bare), "oakroad.pub", "early.head", "holds")
	other := x
	other.Job = "m02vd8"
	others := bytes.SplitAfter(w.write(other), []byte("\n"))

	// Lines: 0 export, 1 head, 2 to 9 entries 1 to 8, 10 hashes, 11 statement.
	join := func(parts ...[]byte) []byte { return bytes.Join(parts, nil) }
	all := func(from, to int) []byte { return bytes.Join(lines[from:to], nil) }
	bad := func(name string, b []byte, want string) { sample(name, b, "oakroad.pub", "-", want) }
	bad("bad-entry-altered.jsonl", bytes.Replace(good, []byte("2590"), []byte("2560"), 1), "entry 2 (line 4)")
	bad("bad-item-altered.jsonl", bytes.Replace(good, []byte("it says 2439"), []byte("it says 2449"), 1), "entry 3 (line 5)")
	bad("bad-entry-dropped.jsonl", join(all(0, 5), all(6, 12)), "entry 4 (line 6) does not hold: it is missing")
	bad("bad-entry-duplicated.jsonl", join(all(0, 6), all(5, 12)), "entry 5 (line 7) does not hold: entry 4 stands here again")
	bad("bad-entries-swapped.jsonl", join(all(0, 5), lines[6], lines[5], all(7, 12)), "entry 4 (line 6)")
	bad("bad-entry-of-other-job.jsonl", join(all(0, 5), others[3], all(5, 12)), "entry 4 (line 6) does not hold: it is of job m02vd8")
	bad("bad-cut-entries.jsonl", join(all(0, 9), all(10, 12)), "entry 8")
	bad("bad-cut-tail.jsonl", all(0, 11), "the file is cut here")
	bad("bad-cut-in-line.jsonl", good[:len(good)/2], "cut in the middle of the line")
	bad("bad-statement-of-other-job.jsonl", join(all(0, 11), others[len(others)-2]), "statement: it is of job m02vd8")
	v := victim{lines: lines}
	bad("bad-proof-altered.jsonl", v.changed(t, 4, func(l *line) { l.Entry.Proof[0][0]++ }), "entry 3 (line 5) does not hold: not in the tree")
	bad("bad-item-dropped.jsonl", v.changed(t, 4, func(l *line) { l.Entry.Items = nil }), "the lines before are not those")

	thief := w.clone("thief")
	thief.key = must(NewKey("oakroad", &seeded{name: "stranger"}))(t)
	bad("bad-resigned.jsonl", thief.export("7q3k9x"), "signed by another key")
	rewritten := newWorld(t, "samples").busy(2)
	rewritten.add("7q3k9x", "target", map[string]int{"value": 2600})
	for range 4 {
		rewritten.add("m02vd8", "noted", map[string]any{})
	}
	sample("bad-rewritten.jsonl", rewritten.export("7q3k9x"), "oakroad.pub", "early.head", "the log had another root")

	w.rotate(false)
	put("oakroad-2.pub", []byte(w.key.Public()+"\n"))
	w.busy(1)
	sample("good-key-changed.jsonl", w.export("7q3k9x"), "oakroad.pub", "early.head", "holds")
	fmt.Fprintf(&index, "good-key-changed.jsonl | oakroad-2.pub | - | holds\n")
	w.restore()
	w.rotate(true)
	put("oakroad-3.pub", []byte(w.key.Public()+"\n"))
	w.busy(1)
	sample("good-restored-key-lost.jsonl", w.export("7q3k9x"), "oakroad-3.pub", "early.head", "holds")
	fmt.Fprintf(&index, "good-restored-key-lost.jsonl | oakroad-2.pub | - | was not at hand when the key changed\n")
	put("index.txt", []byte(index.String()))
}
