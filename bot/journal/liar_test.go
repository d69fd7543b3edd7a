package journal

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"strings"
	"testing"
)

// The digest in the statement refuses any change by someone without the key, and
// so hides whether the other checks work. Here the statement is made anew with
// the true key, so that each check stands alone.

// reseal changes the lines of an export and signs a statement over the outcome.
func reseal(t *testing.T, file []byte, k Key, change func(lines []line) []line, lie func(*statement)) []byte {
	t.Helper()
	var lines []line
	for _, l := range bytes.SplitAfter(file, []byte("\n")) {
		if len(l) > 0 {
			lines = append(lines, must(parseLine(l))(t))
		}
	}
	text, _, _ := strings.Cut(lines[len(lines)-1].Statement.Note, "\n\n")
	s := must(parseStatement(text + "\n"))(t)
	lines = lines[:len(lines)-1]
	if change != nil {
		lines = change(lines)
	}
	var out bytes.Buffer
	for _, l := range lines {
		out.Write(must(l.encode())(t))
	}
	sum := sha256.Sum256(out.Bytes())
	s.lines, s.digest = int64(len(lines)), hex.EncodeToString(sum[:])
	if lie != nil {
		lie(&s)
	}
	note := string(must(signNote("test", s.text(), "oakroad", []Key{k}))(t))
	out.Write(must(line{Statement: &statementLine{note}}.encode())(t))
	return out.Bytes()
}

func TestLiarStatement(t *testing.T) {
	w := newWorld(t, "liar").busy(3)
	file, key := w.export("7q3k9x"), w.key.Public()
	if _, err := check(reseal(t, file, w.key, nil, nil), key); err != nil {
		t.Fatalf("resealed as it was: %v", err)
	}
	for _, c := range []struct {
		what, want string
		seq        int64
		lie        func(*statement)
	}{
		{"last", "the last entry is another one", 0, func(s *statement) { s.last = strings.Repeat("0", 64) }},
		{"size", "of another head", 0, func(s *statement) { s.size-- }},
		{"root", "of another head", 0, func(s *statement) { s.root[0]++ }},
		{"origin", "of another head", 0, func(s *statement) { s.origin.ID = strings.Repeat("0", 32) }},
		{"job", "of job", 0, func(s *statement) { s.job = "m02vd8" }},
		{"more", "the statement counts 7 entries", 7, func(s *statement) { s.entries++ }},
		{"fewer", "the statement counts only 5", 6, func(s *statement) { s.entries-- }},
		{"lines", "the lines before", 0, func(s *statement) { s.lines++ }},
		{"digest", "the lines before", 0, func(s *statement) { s.digest = strings.Repeat("0", 64) }},
	} {
		t.Run(c.what, func(t *testing.T) { wantFault(t, reseal(t, file, w.key, nil, c.lie), key, c.seq, c.want) })
	}
}

func TestLiarLines(t *testing.T) {
	w := newWorld(t, "liar").busy(2)
	w.rotate(false)
	w.busy(1).head()
	w.busy(1)
	file, key := w.export("7q3k9x"), w.key.Public()
	entry := func(lines []line, seq int) *entryLine { return lines[2+seq].Entry } // one mark before
	for _, c := range []struct {
		what, want string
		seq        int64
		change     func([]line) []line
	}{
		{"head with a signature more", "signed by another key", 0, func(l []line) []line {
			h := must(ParseHead(strings.SplitAfter(l[1].Head.Note, "\n\n")[0][:strings.Index(l[1].Head.Note, "\n\n")+1]))(t)
			l[1].Head.Note = string(must(SignHead(h, w.key, must(NewKey("oakroad", &seeded{name: "stranger"}))(t)))(t))
			return l
		}},
		{"mark's proof", "not in the tree", 0, func(l []line) []line { l[2].Mark.Proof[0][0]++; return l }},
		{"mark's tree", "the proof does not lead there", 0, func(l []line) []line { l[2].Mark.Tree[0][0]++; return l }},
		{"entry's proof", "not in the tree", 2, func(l []line) []line { entry(l, 2).Proof[0][0]++; return l }},
		{"item dropped is an item erased", "", 0, func(l []line) []line { entry(l, 1).Items = nil; return l }},
		{"leaf hash", "do not give the root", 0, func(l []line) []line { l[len(l)-1].Hashes.Hash[0]++; return l }},
		{"leaf hash missing", "not the next ones", 0, func(l []line) []line {
			h := l[len(l)-1].Hashes
			h.Hash = h.Hash[32:]
			return l
		}},
		{"leaf hashes twice", "not the next ones", 0, func(l []line) []line { return append(l, l[len(l)-1]) }},
		{"no leaf hashes", "the one before it is not proven", 0, func(l []line) []line { return l[:len(l)-1] }},
		{"people after all", "items in an export without people", 1, func(l []line) []line { l[0].Export.WithoutPeople = true; return l }},
	} {
		t.Run(c.what, func(t *testing.T) {
			b := reseal(t, file, w.key, c.change, nil)
			if c.want != "" {
				wantFault(t, b, key, c.seq, c.want)
			} else if s, err := check(b, key); err != nil || s.Absent != 1 {
				t.Errorf("%+v, %v", s, err)
			}
		})
	}
}

// The head before, named in the head, must be its beginning.
func TestLiarPrevious(t *testing.T) {
	w := newWorld(t, "liar").busy(2)
	w.head()
	w.heads[0].Root = hashOf(t, ctRoots[6])
	wantFault(t, w.busy(1).export("7q3k9x"), w.key.Public(), 0, "the one before it is not proven")
}

// Leaf hashes over more than one line, and proofs of heads issued.
func TestLiarLargeTree(t *testing.T) {
	w := newWorld(t, "large").busy(2)
	grow := func(to int64) {
		for w.edge.Size() < to {
			w.hashes = append(w.hashes, must(w.edge.Append(fmt.Append(nil, w.edge.Size())))(t)...)
		}
	}
	grow(3000)
	key := w.key.Public()
	file := w.export("7q3k9x")
	if _, err := check(file, key, rootAt(t, w, 2047), rootAt(t, w, 2999)); err != nil {
		t.Fatal(err)
	}
	cut := reseal(t, file, w.key, func(l []line) []line { return l[:len(l)-1] }, nil)
	wantFault(t, cut, key, 0, "leaf hashes are missing from 2048")
	swapped := reseal(t, file, w.key, func(l []line) []line {
		l[len(l)-2], l[len(l)-3] = l[len(l)-3], l[len(l)-2]
		return l
	}, nil)
	wantFault(t, swapped, key, 0, "not the next ones")

	grow(40_000)
	file = w.export("7q3k9x")
	forged := reseal(t, file, w.key, func(l []line) []line {
		l[len(l)-1].Seen.Root[0]++
		return l
	}, nil)
	wantFault(t, forged, key, 0, "the proof does not lead there")
}

// A thief has a genuine head and puts his own signature under it: anybody can.
func TestThiefSignsGenuineHead(t *testing.T) {
	base := newWorld(t, "genuine").busy(3)
	old := base.key
	base.head()
	genuine := base.heads[0]
	thief := must(NewKey("oakroad", &seeded{name: "thief"}))(t)
	// The signature of the old key is real, the text is the one it signed.
	both := must(SignHead(genuine, old, thief))(t)

	// His own tree, in which the key change stands early enough.
	w := newWorld(t, "thief's tree")
	w.origin, w.key = base.origin, thief
	e := w.add(ShopJob, KindKeyChanged, KeyChange{Old: old.Public(), New: thief.Public()})
	w.busy(4)
	w.marks = []Mark{{e.Index, e.Leaf, both}}
	wantFault(t, w.export("7q3k9x"), old.Public(), 0, "the head over the key change: the proof does not lead there")

	// The genuine tree, and a key change that is not in it.
	w = base.clone("mixed")
	w.key = thief
	x := w.of("7q3k9x")
	real := w.jobs["7q3k9x"][0]
	x.Marks = []Mark{{real.Index, e.Leaf, both}}
	wantFault(t, w.write(x), old.Public(), 0, "not in the tree of the signed head")
}

// A chain with a link left out in the middle does not lead on.
func TestChainWithGap(t *testing.T) {
	w := newWorld(t, "gap").busy(1)
	first := w.key
	for range 3 {
		w.rotate(false)
	}
	w.marks = append(w.marks[:1], w.marks[2])
	wantFault(t, w.export("7q3k9x"), first.Public(), 0, "not the one in force")
	w = newWorld(t, "back").busy(1)
	first = w.key
	w.rotate(false)
	back := w.add(ShopJob, KindKeyChanged, KeyChange{Old: w.key.Public(), New: first.Public()})
	w.marks = append(w.marks, Mark{back.Index, back.Leaf, w.head(w.key)})
	wantFault(t, w.export("7q3k9x"), first.Public(), 0, "in use before")
}

// A restore left out in the middle, and a signature line that stands twice, which
// the note package passes over.
func TestChainOfRestoresWithGap(t *testing.T) {
	w := newWorld(t, "restores").busy(1)
	for range 3 {
		w.restore()
		w.busy(1)
	}
	w.marks = append(w.marks[:1], w.marks[2])
	wantFault(t, w.export("7q3k9x"), w.key.Public(), 0, "the log it goes on from is not the one in force")

	once := string(w.head())
	twice := once + strings.SplitAfter(once, "\n\n")[1]
	if _, _, err := OpenHead([]byte(twice), w.key.Public()); err == nil {
		t.Error("a head with a signature line twice is opened")
	}
}
