package journal

import (
	"bytes"
	"errors"
	"fmt"
	"strings"
	"testing"
)

// A victim is a good export with everything an attacker could mix into it.
type victim struct {
	file  []byte
	lines [][]byte // with their line breaks
	seq   []int64  // entry of each line, 0 if it is none
	key   string   // oldest key
	other [][]byte // lines of another job's export, same head
	w     *world
}

func newVictim(t testing.TB) *victim {
	w := newWorld(t, "victim").busy(2)
	v := &victim{key: w.key.Public(), w: w}
	w.rotate(false)
	w.restore()
	w.busy(1)
	x := w.of("7q3k9x")
	v.file = w.write(x)
	x.Job = "m02vd8"
	v.other = bytes.SplitAfter(w.write(x), []byte("\n"))
	v.lines = bytes.SplitAfter(v.file, []byte("\n"))
	v.lines, v.other = v.lines[:len(v.lines)-1], v.other[:len(v.other)-1]
	for _, l := range v.lines {
		p := must(parseLine(l))(t)
		var seq int64
		if p.Entry != nil {
			seq = must(Parse([]byte(p.Entry.Leaf)))(t).Seq
		}
		v.seq = append(v.seq, seq)
	}
	if _, err := check(v.file, v.key); err != nil {
		t.Fatalf("the good export: %v", err)
	}
	return v
}

// entry is the position of a job's entry among the lines.
func (v *victim) entry(seq int64) int {
	for i, s := range v.seq {
		if s == seq {
			return i
		}
	}
	panic("no such entry")
}

// fails demands that a file is refused by its content, with key and without.
func fails(t *testing.T, what string, file []byte, key string) error {
	t.Helper()
	s, err := check(file, key)
	var f *Fault
	var k *KeyError
	if !errors.As(err, &f) && !errors.As(err, &k) {
		t.Errorf("%s: verify says %v", what, err)
	}
	if s.Proven || s.Entries != 0 {
		t.Errorf("%s: refused with a summary %+v", what, s)
	}
	return err
}

func seqOf(err error) int64 {
	var f *Fault
	if errors.As(err, &f) {
		return f.Seq
	}
	return -1
}

// One byte changed anywhere: refused, and inside an entry's line that entry is
// named. All bytes of the statement, which no digest covers, elsewhere a sample.
func TestTamperBytes(t *testing.T) {
	v := newVictim(t)
	at, tried := 0, 0
	for i, l := range v.lines {
		step := 11
		if i == len(v.lines)-1 {
			step = 1
		}
		for j := i % step; j < len(l); j += step {
			for _, bit := range []byte{0x01, 0x20, 0x40} {
				file := bytes.Clone(v.file)
				file[at+j] ^= bit
				what := fmt.Sprintf("line %d byte %d %q to %q", i+1, j, l[j], file[at+j])
				err := fails(t, what, file, v.key)
				if v.seq[i] > 0 && seqOf(err) != v.seq[i] && seqOf(err) >= 0 {
					t.Errorf("%s: entry %d is spoiled, told is: %v", what, v.seq[i], err)
				}
				tried++
			}
		}
		at += len(l)
	}
	t.Logf("%d changes of a file of %d bytes", tried, len(v.file))
}

// Bytes put in or taken out.
func TestTamperLength(t *testing.T) {
	v := newVictim(t)
	for at := 0; at <= len(v.file); at += 13 {
		for _, in := range []string{" ", "\n", "0", "\r\n", "\x00"} {
			fails(t, fmt.Sprintf("%q put in at %d", in, at), []byte(string(v.file[:at])+in+string(v.file[at:])), v.key)
		}
		if at < len(v.file) {
			fails(t, fmt.Sprintf("byte %d taken out", at), []byte(string(v.file[:at])+string(v.file[at+1:])), v.key)
		}
	}
	for _, after := range []string{" ", "\n", "{}\n", string(v.lines[5]), string(v.file)} {
		fails(t, "something after the end", append(bytes.Clone(v.file), after...), v.key)
	}
	fails(t, "last line break taken out", v.file[:len(v.file)-1], v.key)
}

func TestTamperLines(t *testing.T) {
	v := newVictim(t)
	join := func(parts ...[][]byte) []byte {
		var b []byte
		for _, p := range parts {
			b = append(b, bytes.Join(p, nil)...)
		}
		return b
	}
	named := func(what string, err error, want int64) {
		t.Helper()
		if want > 0 && seqOf(err) != want {
			t.Errorf("%s: entry %d is wrong, told is: %v", what, want, err)
		}
	}
	for i, l := range v.lines {
		n := i + 1
		what := fmt.Sprintf("line %d dropped", n)
		named(what, fails(t, what, join(v.lines[:i], v.lines[i+1:]), v.key), v.seq[i])
		what = fmt.Sprintf("line %d twice", n)
		err := fails(t, what, join(v.lines[:n], v.lines[i:]), v.key)
		if v.seq[i] > 0 {
			named(what, err, v.seq[i]+1)
		}
		what = fmt.Sprintf("cut before line %d", n)
		named(what, fails(t, what, join(v.lines[:i]), v.key), v.seq[i])
		what = fmt.Sprintf("cut within line %d", n)
		named(what, fails(t, what, join(v.lines[:i], [][]byte{l[:len(l)/2]}), v.key), v.seq[i])
		for j := i + 1; j < len(v.lines); j++ {
			what := fmt.Sprintf("lines %d and %d swapped", n, j+1)
			swapped := join(v.lines[:i], v.lines[j:j+1], v.lines[n:j], v.lines[i:n], v.lines[j+1:])
			named(what, fails(t, what, swapped, v.key), v.seq[i])
		}
		for j, o := range v.other {
			if string(o) == string(l) {
				continue // head, marks and hashes are the same in both
			}
			what := fmt.Sprintf("line %d of the other job put in at %d", j+1, n)
			named(what, fails(t, what, join(v.lines[:i], [][]byte{o}, v.lines[i:]), v.key), 0)
			what = fmt.Sprintf("line %d of the other job for line %d", j+1, n)
			named(what, fails(t, what, join(v.lines[:i], [][]byte{o}, v.lines[n:]), v.key), 0)
		}
	}
}

// changed is the file with one line read, changed and written in its proper form,
// so that only the meaning is wrong.
func (v *victim) changed(t *testing.T, i int, change func(*line)) []byte {
	t.Helper()
	l := must(parseLine(v.lines[i]))(t)
	change(&l)
	b := must(l.encode())(t)
	if bytes.Equal(b, v.lines[i]) {
		t.Fatalf("line %d: nothing changed", i+1)
	}
	file := bytes.Join(v.lines[:i], nil)
	file = append(file, b...)
	return append(file, bytes.Join(v.lines[i+1:], nil)...)
}

func TestTamperMeaning(t *testing.T) {
	v := newVictim(t)
	text := "it says 2500 mm"
	for _, c := range []struct {
		what   string
		seq    int64
		want   string
		change func(*line)
	}{
		{"item's content", 3, `item "text"`, func(l *line) { l.Entry.Items[0].Text = &text }},
		{"item's salt", 3, `item "text"`, func(l *line) { l.Entry.Items[0].Salt[0]++ }},
		{"item's label", 3, "none of that label", func(l *line) { l.Entry.Items[0].Label = "name" }},
		{"item twice", 3, "twice", func(l *line) { l.Entry.Items = append(l.Entry.Items, l.Entry.Items[0]) }},
		{"proof altered", 3, "not in the tree", func(l *line) { l.Entry.Proof[1][0]++ }},
		{"proof cut", 3, "not in the tree", func(l *line) { l.Entry.Proof = l.Entry.Proof[1:] }},
		{"proof longer", 3, "not in the tree", func(l *line) { l.Entry.Proof = append(l.Entry.Proof, l.Entry.Proof[0]) }},
		{"place in the tree", 3, "not in the tree", func(l *line) { l.Entry.Index++ }},
		{"place before the last", 3, "not after", func(l *line) { l.Entry.Index = 0 }},
		{"place beyond the tree", 3, "outside", func(l *line) { l.Entry.Index = 999 }},
		{"leaf's figure", 4, "not in the tree", func(l *line) { l.Entry.Leaf = strings.Replace(l.Entry.Leaf, "2590", "2591", 1) }},
		{"leaf's job", 4, "of job", func(l *line) { l.Entry.Leaf = strings.Replace(l.Entry.Leaf, "7q3k9x", "7q3k9y", 1) }},
		{"leaf's shop", 4, "of shop", func(l *line) { l.Entry.Leaf = strings.Replace(l.Entry.Leaf, "oakroad", "elmroad", 1) }},
		{"leaf's previous", 4, "before is not", func(l *line) {
			l.Entry.Leaf = strings.Replace(l.Entry.Leaf, `"prev":"`+mid(l.Entry.Leaf), `"prev":"`+strings.Repeat("0", 64), 1)
		}},
	} {
		err := fails(t, c.what, v.changed(t, v.entry(c.seq), c.change), v.key)
		if seqOf(err) != c.seq || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: told is %v", c.what, err)
		}
	}
	// An item taken away leaves an entry as if it were erased; the digest shows it.
	err := fails(t, "item dropped", v.changed(t, v.entry(3), func(l *line) { l.Entry.Items = nil }), v.key)
	if !strings.Contains(err.Error(), "lines before") {
		t.Errorf("item dropped: told is %v", err)
	}
	stranger := must(NewKey("oakroad", &seeded{name: "stranger"}))(t)
	for what, change := range map[string]func(*exportLine){
		"key":     func(e *exportLine) { e.Key = stranger.Public() },
		"oldest":  func(e *exportLine) { e.Key = v.key },
		"job":     func(e *exportLine) { e.Job = "m02vd8" },
		"shop":    func(e *exportLine) { e.Shop = "elmroad" },
		"people":  func(e *exportLine) { e.WithoutPeople = true },
		"version": func(e *exportLine) { e.Version = 2 },
	} {
		fails(t, what+" of the first line", v.changed(t, 0, func(l *line) { change(l.Export) }), v.key)
	}
	for _, what := range []string{"head", "statement"} {
		i := 1
		if what == "statement" {
			i = len(v.lines) - 1
		}
		resign := func(s string) string {
			text, _, _ := strings.Cut(s, "\n\n")
			return string(must(signNote("test", text+"\n", "oakroad", []Key{stranger}))(t))
		}
		fails(t, what+" signed by another key", v.changed(t, i, func(l *line) {
			if l.Head != nil {
				l.Head.Note = resign(l.Head.Note)
			} else {
				l.Statement.Note = resign(l.Statement.Note)
			}
		}), v.key)
		fails(t, what+" with a signature more", v.changed(t, i, func(l *line) {
			if l.Head != nil {
				l.Head.Note += strings.SplitAfter(resign(l.Head.Note), "\n\n")[1]
			} else {
				l.Statement.Note += strings.SplitAfter(resign(l.Statement.Note), "\n\n")[1]
			}
		}), v.key)
	}
}

// mid is the previous leaf's hash that a leaf names.
func mid(leaf string) string {
	_, rest, _ := strings.Cut(leaf, `"prev":"`)
	return rest[:64]
}

// A whole file made anew with another key is consistent in itself, and nothing
// vouches for it.
func TestTamperResigned(t *testing.T) {
	v := newVictim(t)
	thief := newWorld(t, "thief")
	thief.origin = v.w.origin
	thief.origin.After = ""
	thief.busy(2).add("7q3k9x", "target", map[string]int{"value": 2600})
	file := thief.export("7q3k9x")
	err := fails(t, "re-signed", file, v.key)
	var k *KeyError
	if !errors.As(err, &k) || k.Fingerprint != must(Fingerprint(thief.key.Public()))(t) {
		t.Errorf("re-signed: told is %v", err)
	}
	var none *NoKeyError
	if _, err := check(file, ""); !errors.As(err, &none) {
		t.Errorf("re-signed, no key: told is %v", err)
	}
	// The thief's entries between the true head and statement.
	lines := bytes.SplitAfter(file, []byte("\n"))
	for i := range v.lines {
		mixed := append(bytes.Clone(bytes.Join(v.lines[:i], nil)), bytes.Join(lines[min(i, len(lines)):], nil)...)
		fails(t, fmt.Sprintf("the thief's from line %d on", i+1), mixed, v.key)
	}
}

// A statement of an older export of the same job under a newer head, and the
// other way round.
func TestTamperStatements(t *testing.T) {
	w := newWorld(t, "statements").busy(2)
	older := bytes.SplitAfter(w.export("7q3k9x"), []byte("\n"))
	w.busy(1)
	newer := bytes.SplitAfter(w.export("7q3k9x"), []byte("\n"))
	end := func(l [][]byte) int { return len(l) - 2 }
	for what, file := range map[string][]byte{
		"older statement":          append(bytes.Join(newer[:end(newer)], nil), older[end(older)]...),
		"newer statement":          append(bytes.Join(older[:end(older)], nil), newer[end(newer)]...),
		"older head and statement": bytes.Join([][]byte{older[0], older[1], bytes.Join(newer[2:end(newer)], nil), older[end(older)]}, nil),
	} {
		fails(t, what, file, w.key.Public())
	}
}

// Run it with -fuzzminimizetime 1x: left to itself the fuzzer spends a minute on
// making each input of interest smaller and tries next to none.
func FuzzVerify(f *testing.F) {
	v := newVictim(f)
	w := newWorld(f, "fuzz").busy(1)
	small := w.of("7q3k9x")
	small.WithoutPeople = true
	f.Add(v.file)
	f.Add(w.write(small))
	for i := range v.lines {
		f.Add(bytes.Join(v.lines[:i], nil))
	}
	good := map[string]bool{string(v.file): true}
	f.Fuzz(func(t *testing.T, file []byte) {
		s, err := check(file, v.key, "1 5dc9-da79-a706-59a9-ad55")
		if err == nil || s.Proven {
			t.Fatalf("holds with a head that never was")
		}
		if _, err := check(file, v.key); err == nil && !good[string(file)] {
			t.Fatalf("a file made by chance holds")
		}
		check(file, "")
	})
}
