package journal

import (
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"iter"
	"slices"
	"strings"

	"golang.org/x/mod/sumdb/tlog"
)

// A Source is what an export asks of a store. Both answers must be of one moment:
// a read transaction, or a store nobody appends to meanwhile.
type Source interface {
	tlog.HashReader

	// Entries gives the entries of a job in sequence. Items that were erased are
	// not among an entry's Items. After an error it stops.
	Entries(job string) iter.Seq2[Entry, error]
}

// An Entry is a leaf as stored: its bytes, its place in the tree, and those of its
// items that are not erased, in any order.
type Entry struct {
	Index int64
	Leaf  []byte
	Items []Item
}

// An Export is what the export of one job is made of. Its form, one JSON object a
// line, in this order:
//
//	{"export":{"version":1,"shop":…,"job":…,"key":PUBLIC,"without_people":false}}
//	{"head":{"note":SIGNED HEAD}}
//	{"mark":{"index":I,"leaf":TEXT,"proof":[…],"head":SIGNED HEAD,"tree":[…]}}      any number
//	{"entry":{"index":I,"leaf":TEXT,"proof":[…],"items":[
//	    {"label":…,"salt":BASE64,"text":…} or {"label":…,"salt":BASE64,"bytes":BASE64}]}}  1 to n
//	{"hashes":{"from":I,"hash":BASE64}}  or  {"seen":{"size":N,"root":…,"proof":[…]}}
//	{"statement":{"note":SIGNED STATEMENT}}
//
// Leaf is the leaf's exact text. Proofs are lists of base64 hashes and lead to the
// head's root; an empty list is left out, as are items erased or not given away.
// Marks are the shop's key changes and restores. Hashes are the leaf hashes of the
// whole tree, out of which any earlier head follows; where they would be longer
// than proofs for the heads issued so far, those stand instead. The statement says
// what job, how many entries, and the SHA-256 of all lines before it.
//
// Every line has one spelling (see line.go); limits are MaxLine and MaxEntries. The
// writer and the reader hold one line at a time.
type Export struct {
	Job           string
	Head          []byte  // signed head of the tree as Source has it
	Key           Key     // key in force; signs the statement
	Marks         []Mark  // all of the shop, in the order of the tree
	Seen          []int64 // sizes of all heads issued so far, any order
	WithoutPeople bool    // leave all items out; leaves and proofs stay the same
	Source        Source
}

// Write writes the export. A job without entries, an entry beyond the head and a
// mark that does not fit are errors; what was written until then is of no use.
func (x Export) Write(w io.Writer) error {
	if err := x.write(w); err != nil {
		return fmt.Errorf("export %s: %w", x.Job, err)
	}
	return nil
}

func (x Export) write(w io.Writer) error {
	text, _, found := strings.Cut(string(x.Head), "\n\n")
	if !found {
		return errors.New("head is not a signed note")
	}
	h, err := ParseHead(text + "\n")
	if err != nil {
		return err
	}
	if !isName(x.Job) || x.Key.public == "" || x.Source == nil {
		return errors.New("job, key or source is missing")
	}
	root, err := Root(h.Size, x.Source)
	if err != nil {
		return err
	}
	if root != h.Root {
		return fmt.Errorf("stored hashes of %d leaves do not give the head's root", h.Size)
	}
	lw := newLineWriter(w)
	if err := lw.put(line{Export: &exportLine{formatVersion, h.Origin.Shop, x.Job, x.Key.public, x.WithoutPeople}}); err != nil {
		return err
	}
	if err := lw.put(line{Head: &noteLine{string(x.Head)}}); err != nil {
		return err
	}
	for _, m := range x.Marks {
		if err := x.putMark(lw, h, m); err != nil {
			return fmt.Errorf("mark at %d: %w", m.Index, err)
		}
	}
	n, last, err := x.putEntries(lw, h)
	if err != nil {
		return err
	}
	if err := x.putSizes(lw, h); err != nil {
		return err
	}
	s := statement{h.Origin, x.Job, n, last, h.Size, h.Root, lw.lines, hex.EncodeToString(lw.sum.Sum(nil))}
	signed, err := signNote("statement", s.text(), h.Origin.Shop, []Key{x.Key})
	if err != nil {
		return err
	}
	if err := lw.put(line{Statement: &statementLine{string(signed)}}); err != nil {
		return err
	}
	return lw.w.Flush()
}

func (x Export) putMark(lw *lineWriter, h Head, m Mark) error {
	l, err := Parse(m.Leaf)
	if err != nil {
		return err
	}
	out := markLine{Index: m.Index, Leaf: string(m.Leaf), Head: string(m.Head)}
	if out.Proof, err = ProveLeaf(h.Size, m.Index, x.Source); err != nil {
		return err
	}
	size := m.Index // of a restore: the tree before it
	if l.Kind == KindKeyChanged {
		size = 0
		if len(m.Head) > 0 {
			text, _, _ := strings.Cut(string(m.Head), "\n\n")
			over, err := ParseHead(text + "\n")
			if err != nil {
				return err
			}
			size = over.Size
		}
	}
	if out.Tree, err = ProvePrefix(h.Size, size, x.Source); err != nil {
		return err
	}
	return lw.put(line{Mark: &out})
}

func (x Export) putEntries(lw *lineWriter, h Head) (n int64, last string, err error) {
	for e, err := range x.Source.Entries(x.Job) {
		if err != nil {
			return 0, "", err
		}
		if n++; n > MaxEntries {
			return 0, "", fmt.Errorf("more than %d entries", MaxEntries)
		}
		out := entryLine{Index: e.Index, Leaf: string(e.Leaf)}
		if out.Proof, err = ProveLeaf(h.Size, e.Index, x.Source); err != nil {
			return 0, "", fmt.Errorf("entry %d: %w", n, err)
		}
		if err := CheckLeaf(out.Proof, h.Size, h.Root, e.Index, tlog.RecordHash(e.Leaf)); err != nil {
			return 0, "", fmt.Errorf("entry %d: what is stored is not what is in the tree: %w", n, err)
		}
		if !x.WithoutPeople {
			for _, it := range e.Items {
				out.Items = append(out.Items, toLine(it))
			}
			slices.SortFunc(out.Items, func(a, b itemLine) int { return strings.Compare(a.Label, b.Label) })
		}
		if err := lw.put(line{Entry: &out}); err != nil {
			return 0, "", fmt.Errorf("entry %d: %w", n, err)
		}
		last = Hash(e.Leaf)
	}
	if n == 0 {
		return 0, "", errors.New("no entries")
	}
	return n, last, nil
}

// putSizes writes what lets a reader check heads seen earlier: every leaf hash, or
// for a large tree a proof for each head issued, whichever is shorter.
func (x Export) putSizes(lw *lineWriter, h Head) error {
	sizes := append(slices.Clone(x.Seen), h.PrevSize)
	slices.Sort(sizes)
	sizes = slices.Compact(sizes)
	if h.Size <= maxHashes && (h.Size <= 1<<15 || h.Size <= 16*int64(len(sizes))) {
		return x.putHashes(lw, h)
	}
	for _, size := range sizes {
		if size < 1 || size > h.Size {
			continue // of the log before a restore; nothing here can prove it
		}
		root, err := Root(size, x.Source)
		if err != nil {
			return err
		}
		p, err := ProvePrefix(h.Size, size, x.Source)
		if err != nil {
			return err
		}
		if err := lw.put(line{Seen: &seenLine{size, root, p}}); err != nil {
			return err
		}
	}
	return nil
}

func (x Export) putHashes(lw *lineWriter, h Head) error {
	for from := int64(0); from < h.Size; from += hashesPerLine {
		n := min(hashesPerLine, h.Size-from)
		indexes := make([]int64, n)
		for i := range indexes {
			indexes[i] = tlog.StoredHashIndex(0, from+int64(i))
		}
		hashes, err := x.Source.ReadHashes(indexes)
		if err != nil {
			return err
		}
		out := hashesLine{From: from}
		for _, hash := range hashes {
			out.Hash = append(out.Hash, hash[:]...)
		}
		if err := lw.put(line{Hashes: &out}); err != nil {
			return err
		}
	}
	return nil
}
