package journal

import (
	"bytes"
	"errors"
	"io"
	"strings"
	"testing"
	"testing/iotest"
)

func TestVerifyHolds(t *testing.T) {
	w := newWorld(t, "holds").busy(8)
	early := string(w.head())
	w.busy(3)
	file := w.export("7q3k9x")
	s, err := check(file, w.key.Public(), early, w.heads[0].Short(), w.heads[1].Short(), "head 5/"+strings.ToUpper(strings.Fields(rootAt(t, w, 5))[1]))
	if err != nil {
		t.Fatal(err)
	}
	if !s.Proven || s.Entries != 22 || s.Items != 11 || s.Absent != 0 || s.Head.Size != 33 || len(s.Heads) != 4 || s.Shop != "oakroad" || s.Job != "7q3k9x" {
		t.Errorf("summary %+v", s)
	}
	for _, want := range []string{"entries 1 to 22 hold", s.Fingerprint, s.Head.Short(), "agrees with head " + w.heads[0].Short()} {
		if !strings.Contains(s.String(), want) {
			t.Errorf("summary without %q:\n%s", want, s)
		}
	}
	if s, err := Verify(iotest.OneByteReader(bytes.NewReader(file)), []string{" " + w.key.Public() + "\n"}, nil); err != nil || !s.Proven {
		t.Errorf("byte by byte: %v", err)
	}
}

// rootAt is the short head of the tree as it was at a size.
func rootAt(t testing.TB, w *world, size int64) string {
	t.Helper()
	return Head{Size: size, Root: must(Root(size, w))(t)}.Short()
}

func TestVerifyWithoutKey(t *testing.T) {
	w := newWorld(t, "nokey").busy(2)
	s, err := check(w.export("7q3k9x"), "")
	var none *NoKeyError
	if !errors.As(err, &none) || s.Proven || s.Entries != 4 {
		t.Fatalf("without key: %+v, %v", s, err)
	}
	f := must(Fingerprint(w.key.Public()))(t)
	if none.Key != w.key.Public() || err.Error() != "consistent in itself; not proven: no key to check it against (fingerprint "+f+")" {
		t.Errorf("says %v", err)
	}
}

// Leaves and proofs are the same without people, and after an erasure.
func TestVerifyWithoutPeople(t *testing.T) {
	w := newWorld(t, "people").busy(4)
	full := w.of("m02vd8")
	bare := full
	bare.WithoutPeople = true
	with, without := w.write(full), w.write(bare)
	if bytes.Contains(without, []byte("LT265")) || bytes.Contains(without, []byte(`"Pat"`)) || !bytes.Contains(with, []byte("LT265")) {
		t.Error("people are in the export without people, or not in the one with")
	}
	s, err := check(without, w.key.Public())
	if err != nil || s.Items != 0 || s.Absent != 12 || !s.WithoutPeople {
		t.Errorf("without people: %+v, %v", s, err)
	}
	lines := func(b []byte) (leaves []string) {
		for _, l := range bytes.SplitAfter(b, []byte("\n")) {
			if e, err := parseLine(l); err == nil && e.Entry != nil {
				e.Entry.Items = nil
				leaves = append(leaves, string(must(e.encode())(t)))
			}
		}
		return leaves
	}
	if a, b := lines(with), lines(without); len(a) != 4 || strings.Join(a, "") != strings.Join(b, "") {
		t.Error("leaves or proofs differ without people")
	}
	w.jobs["m02vd8"][1].Items = nil
	s, err = check(w.export("m02vd8"), w.key.Public())
	if err != nil || s.Items != 9 || s.Absent != 3 {
		t.Errorf("after an erasure: %+v, %v", s, err)
	}
}

func TestVerifyKeyChain(t *testing.T) {
	w := newWorld(t, "chain").busy(2)
	keys := []Key{w.key}
	for range 2 {
		w.rotate(false)
		w.busy(2)
		keys = append(keys, w.key)
	}
	file := w.export("7q3k9x")
	for i, k := range keys {
		s, err := check(file, k.Public())
		if err != nil || s.KeyChanges != 2 {
			t.Errorf("with key %d: %+v, %v", i, s, err)
		}
	}
	stranger := must(NewKey("oakroad", &seeded{name: "stranger"}))(t)
	wantKeyError(t, file, stranger.Public(), "nothing leads")
	if _, err := Verify(bytes.NewReader(file), []string{stranger.Public(), keys[0].Public()}, nil); err != nil {
		t.Errorf("one of two keys vouches: %v", err)
	}

	w.rotate(true) // the old key is lost
	w.busy(1)
	file = w.export("7q3k9x")
	if _, err := check(file, w.key.Public()); err != nil {
		t.Errorf("with the key after the loss: %v", err)
	}
	for _, k := range keys {
		wantKeyError(t, file, k.Public(), "was not at hand")
	}
	after := w.key
	w.rotate(false)
	if _, err := check(w.export("7q3k9x"), after.Public()); err != nil {
		t.Errorf("with a key after the loss, changed again: %v", err)
	}
}

func wantKeyError(t *testing.T, file []byte, key, what string) {
	t.Helper()
	_, err := check(file, key)
	var ke *KeyError
	if !errors.As(err, &ke) || !strings.Contains(err.Error(), what) {
		t.Errorf("error is %v, want a key error with %q", err, what)
	}
}

// Marks that claim what they must not.
func TestVerifyMarksForged(t *testing.T) {
	base := newWorld(t, "forged").busy(2)
	old := base.key
	thief := must(NewKey("oakroad", &seeded{name: "thief"}))(t)

	// The thief writes a key change into a copy of the log and signs its head alone.
	w := base.clone("a")
	e := w.add(ShopJob, KindKeyChanged, KeyChange{Old: old.Public(), New: thief.Public()})
	w.marks = append(w.marks, Mark{e.Index, e.Leaf, w.head(thief)})
	w.key = thief
	wantFault(t, w.export("7q3k9x"), old.Public(), 0, "not signed by both keys")

	// A head signed by the old key, from before the key change.
	w = base.clone("b")
	before := w.head()
	both := must(SignHead(w.heads[len(w.heads)-1], old, thief))(t)
	e = w.add(ShopJob, KindKeyChanged, KeyChange{Old: old.Public(), New: thief.Public()})
	w.key = thief
	w.marks = []Mark{{e.Index, e.Leaf, both}}
	wantFault(t, w.export("7q3k9x"), old.Public(), 0, "does not contain it")
	w.marks = []Mark{{e.Index, e.Leaf, before}}
	wantFault(t, w.export("7q3k9x"), old.Public(), 0, "not signed by both keys")

	// A change that calls the old key lost leads to no trust in it.
	w = base.clone("c")
	e = w.add(ShopJob, KindKeyChanged, KeyChange{Old: old.Public(), New: thief.Public(), Lost: true})
	w.key = thief
	w.marks = []Mark{{e.Index, e.Leaf, nil}}
	wantKeyError(t, w.export("7q3k9x"), old.Public(), "nothing vouches")
	w.marks = nil
	wantKeyError(t, w.export("7q3k9x"), old.Public(), "nothing leads")
	w.marks = []Mark{{e.Index, e.Leaf, w.head()}}
	wantFault(t, w.export("7q3k9x"), old.Public(), 0, "lost key")

	// An entry of a job is no mark; a chain does not lead past the key in force.
	w = base.clone("d")
	e = w.add("7q3k9x", KindKeyChanged, KeyChange{Old: old.Public(), New: thief.Public()})
	w.marks = []Mark{{e.Index, e.Leaf, w.head(old, thief)}}
	w.key = thief
	wantFault(t, w.export("7q3k9x"), old.Public(), 0, "not of the shop's own")
	w = base.clone("e")
	w.rotate(false)
	w.key = old
	wantFault(t, w.export("7q3k9x"), old.Public(), 0, "not the one the key changes lead to")
	w = base.clone("f")
	w.rotate(false)
	w.rotate(false)
	w.marks = w.marks[1:]
	wantKeyError(t, w.export("7q3k9x"), old.Public(), "nothing leads")
	w = base.clone("g")
	w.rotate(false)
	w.rotate(false)
	w.marks[0], w.marks[1] = w.marks[1], w.marks[0]
	wantFault(t, w.export("7q3k9x"), old.Public(), 0, "out of order")
}

func wantFault(t *testing.T, file []byte, key string, seq int64, what string) {
	t.Helper()
	s, err := check(file, key)
	var f *Fault
	if !errors.As(err, &f) || f.Seq != seq || !strings.Contains(err.Error(), what) {
		t.Errorf("error is %v, want a fault of entry %d with %q", err, seq, what)
	}
	if s.Entries != 0 || s.Proven {
		t.Errorf("a fault comes with a summary: %+v", s)
	}
}

func TestVerifyRestored(t *testing.T) {
	w := newWorld(t, "restored").busy(4)
	kept := string(w.head())
	lost := w.clone("lost").busy(2) // went on after the backup, then its disk died
	lostHead := string(lost.head())
	lostShort := lost.heads[len(lost.heads)-1].Short()
	lostFile := lost.export("7q3k9x")

	w.restore()
	w.busy(2)
	s, err := check(w.export("7q3k9x"), w.key.Public(), kept)
	if err != nil || s.Restores != 1 {
		t.Errorf("restored: %+v, %v", s, err)
	}
	file := w.export("7q3k9x")
	wantHeadError(t, file, w.key.Public(), lostHead, "before a restore that kept 12 entries")
	wantHeadError(t, file, w.key.Public(), lostShort, "another root")
	if _, err := check(lostFile, w.key.Public(), lostHead); err != nil {
		t.Errorf("the export of the log that was lost: %v", err)
	}
	wantHeadError(t, lostFile, w.key.Public(), string(w.head()), "another log")

	w.restore()
	w.rotate(true)
	w.busy(1)
	if s, err := check(w.export("7q3k9x"), w.key.Public(), kept); err != nil || s.Restores != 2 || s.KeyChanges != 1 {
		t.Errorf("restored twice, key lost: %+v, %v", s, err)
	}
	forged := w.clone("forged")
	forged.marks = forged.marks[1:]
	wantHeadError(t, forged.export("7q3k9x"), w.key.Public(), kept, "another log")
	forged.marks = forged.marks[1:]
	wantFault(t, forged.export("7q3k9x"), w.key.Public(), 0, "origin")

	w.origin = Origin{Shop: "oakroad", ID: strings.Repeat("0", 32)}
	wantFault(t, w.export("7q3k9x"), w.key.Public(), 0, "origin")
}

func TestVerifyRestoreForged(t *testing.T) {
	w := newWorld(t, "restore-forged").busy(2)
	o := must(NewOrigin("oakroad", w.origin, w.rand))(t)
	e := w.add(ShopJob, KindRestored, Restored{Origin: o.String(), Size: w.edge.Size(), Root: hashOf(t, ctRoots[3])})
	w.origin, w.marks = o, []Mark{{Index: e.Index, Leaf: e.Leaf}}
	wantFault(t, w.export("7q3k9x"), w.key.Public(), 0, "the tree restored")
	w.add(ShopJob, KindRestored, Restored{Origin: o.String(), Size: 2, Root: must(Root(2, w))(t)})
	es := w.jobs[ShopJob]
	w.marks = []Mark{{Index: es[1].Index, Leaf: es[1].Leaf}}
	wantFault(t, w.export("7q3k9x"), w.key.Public(), 0, "not the first entry")
}

func wantHeadError(t *testing.T, file []byte, key, head, what string) {
	t.Helper()
	s, err := check(file, key, head)
	var he *HeadError
	if !errors.As(err, &he) || !strings.Contains(err.Error(), what) || s.Proven {
		t.Errorf("error is %v, want a head error with %q", err, what)
	}
}

func TestVerifyHeadsSeen(t *testing.T) {
	w := newWorld(t, "seen").busy(5)
	w.head()
	rewritten := newWorld(t, "seen")
	rewritten.busy(4).add("7q3k9x", "target", map[string]int{"value": 2600})
	rewritten.add("m02vd8", "target", map[string]int{"value": 2600})
	rewritten.add("m02vd8", "target", map[string]int{"value": 2600})
	other := string(rewritten.head())
	w.busy(1)
	file, key := w.export("7q3k9x"), w.key.Public()
	for size := int64(1); size <= w.edge.Size(); size++ {
		if _, err := check(file, key, rootAt(t, w, size)); err != nil {
			t.Errorf("head of %d: %v", size, err)
		}
	}
	wantHeadError(t, file, key, other, "another root")
	wantHeadError(t, file, key, rewritten.heads[0].Short(), "another root")
	wantHeadError(t, file, key, "999 5dc9-da79-a706-59a9-ad55", "reaches to 18")
	tampered := strings.Replace(string(w.head()), "time 2026-03-01", "time 2026-04-01", 1)
	wantHeadError(t, file, key, tampered, "signature")
	stranger := must(NewKey("oakroad", &seeded{name: "stranger"}))(t)
	wantHeadError(t, file, key, string(must(SignHead(w.heads[0], stranger))(t)), "key that is not of this log")
	for _, s := range []string{"", "12", "12 5dc9", "12 5dc9-da79-a706-59a9-ad5", "x 5dc9-da79-a706-59a9-ad55", goodHeadText, "milepost\n\nx"} {
		if _, err := check(file, key, s); err == nil {
			t.Errorf("head %q is taken", s)
		}
	}
	if _, err := check(file, "not a key"); err == nil {
		t.Error("a key that is none is taken")
	}
}

// In a large tree only the heads issued can be checked, each with its own proof.
func TestVerifyHeadsOfLargeTree(t *testing.T) {
	w := newWorld(t, "large").busy(2)
	first := string(w.head())
	for w.edge.Size() < 1<<15 {
		h := must(w.edge.Append([]byte{byte(w.edge.Size())}))(t)
		w.hashes = append(w.hashes, h...)
	}
	w.head()
	w.add("7q3k9x", "noted", map[string]any{})
	file, key := w.export("7q3k9x"), w.key.Public()
	if len(file) > 40_000 {
		t.Errorf("export of 5 entries in a large tree has %d bytes", len(file))
	}
	if _, err := check(file, key, first, w.heads[1].Short(), w.heads[2].Short()); err != nil {
		t.Error(err)
	}
	wantHeadError(t, file, key, rootAt(t, w, 100), "no proof for a head of that size")
}

func TestExportRefused(t *testing.T) {
	w := newWorld(t, "refused").busy(2)
	good := w.of("7q3k9x")
	for what, spoil := range map[string]func(*Export){
		"no entries": func(x *Export) { x.Job = "nobody" },
		"no job":     func(x *Export) { x.Job = "" },
		"no head":    func(x *Export) { x.Head = nil },
		"head":       func(x *Export) { x.Head = []byte("a\n\nb") },
		"no key":     func(x *Export) { x.Key = Key{} },
		"no source":  func(x *Export) { x.Source = nil },
		"mark":       func(x *Export) { x.Marks = []Mark{{Leaf: []byte("{}")}} },
		"stale head": func(x *Export) { w.busy(1) },
		"item":       func(x *Export) { w.jobs["7q3k9x"][0].Leaf = []byte(goodBytes) },
	} {
		x := good
		spoil(&x)
		if err := x.Write(io.Discard); err == nil {
			t.Errorf("%s: written", what)
		}
	}
	good = w.clone("w").of("m02vd8")
	if err := good.Write(&failing{2000}); err == nil {
		t.Error("an error of the writer is lost")
	}
}

type failing struct{ left int }

func (f *failing) Write(p []byte) (int, error) {
	if f.left -= len(p); f.left < 0 {
		return 0, errors.New("disk full")
	}
	return len(p), nil
}

func TestVerifyReadError(t *testing.T) {
	file := newWorld(t, "io").busy(1).export("7q3k9x")
	r := io.MultiReader(bytes.NewReader(file[:900]), iotest.ErrReader(errors.New("disk")))
	_, err := Verify(r, nil, nil)
	var f *Fault
	if err == nil || errors.As(err, &f) || !strings.Contains(err.Error(), "disk") {
		t.Errorf("an error of the reader becomes %v", err)
	}
}

func TestVerifyBounds(t *testing.T) {
	long := `{"export":{"version":1,"shop":"` + strings.Repeat("x", MaxLine) + `"}}` + "\n"
	wantFault(t, []byte(long), "", 0, "longer than")
	endless := io.MultiReader(strings.NewReader(`{"export":"`), &seeded{name: "endless"})
	if _, err := Verify(io.LimitReader(endless, 1<<30), nil, nil); err == nil {
		t.Error("an endless line is taken")
	}
}

func BenchmarkVerify(b *testing.B) {
	w := newWorld(b, "bench").busy(200)
	file, key := w.export("7q3k9x"), w.key.Public()
	b.SetBytes(int64(len(file)))
	for b.Loop() {
		if _, err := check(file, key); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkExport(b *testing.B) {
	w := newWorld(b, "bench").busy(200)
	x := w.of("7q3k9x")
	for b.Loop() {
		if err := x.Write(io.Discard); err != nil {
			b.Fatal(err)
		}
	}
}
