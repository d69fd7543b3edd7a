package journal

import (
	"encoding/hex"
	"fmt"
	"io"
	"strings"

	"golang.org/x/mod/sumdb/note"
)

// maxNote bounds a signed head inside an export.
const maxNote = 8 << 10

// Verify checks an export. Keys are public keys, any of which may be the one in
// force or an earlier one from which the file's key changes lead on; heads are
// heads seen earlier, as signed notes or in the form of [Head.Short].
//
// It returns nil only if every line, entry, item and proof holds, the file is
// whole, it is signed by such a key and agrees with every head. Otherwise the
// error is a *[Fault], *[KeyError], *[HeadError] or *[NoKeyError] (the last with
// the summary of what is consistent), or, for a key or head that cannot be read
// and for an error of r, another one.
func Verify(r io.Reader, keys, heads []string) (Summary, error) {
	v := verifier{lr: newLineReader(r)}
	for _, k := range keys {
		k, err := canonicalKey(strings.TrimSpace(k), "")
		if err != nil {
			return Summary{}, fmt.Errorf("verify: key: %w", err)
		}
		v.trusted = append(v.trusted, k)
	}
	for _, s := range heads {
		h, err := parseSeen(s)
		if err != nil {
			return Summary{}, fmt.Errorf("verify: %w", err)
		}
		v.seen = append(v.seen, h)
	}
	if err := v.file(); err != nil {
		if v.lr.err != nil {
			err = fmt.Errorf("verify: read: %w", v.lr.err)
		}
		return Summary{}, err
	}
	for _, h := range v.seen {
		if err := h.err(); err != nil {
			return Summary{}, err
		}
		v.sum.Heads = append(v.sum.Heads, h.text)
	}
	if len(v.trusted) == 0 {
		return v.sum, &NoKeyError{Key: v.of.Key, Fingerprint: v.sum.Fingerprint}
	}
	v.sum.Proven = true
	return v.sum, nil
}

// A verifier goes through the lines of one export, in their order.
type verifier struct {
	lr      *lineReader
	trusted []string
	seen    []*seenHead

	of      exportLine
	head    Head
	note    []byte // head as signed
	chain   chain
	pending []keyHead
	hashes  *Edge     // tree out of the leaf hashes, if the file has them
	prev    *seenHead // the head before, named in the head
	markEnd int64     // index after the last mark
	roots   []provenRoot

	seq   int64  // entries so far
	index int64  // of the last entry
	last  string // hash of the last entry
	sum   Summary
}

func (v *verifier) fault(format string, args ...any) error {
	return &Fault{Line: v.lr.lines, What: fmt.Sprintf(format, args...)}
}

func (v *verifier) entryFault(format string, args ...any) error {
	return &Fault{Line: v.lr.lines, Seq: v.seq + 1, What: fmt.Sprintf(format, args...)}
}

func (v *verifier) file() error {
	if err := v.start(); err != nil {
		return err
	}
	marks, sizes := int64(0), int64(0)
	for {
		l, err := v.lr.next()
		begun := v.seq > 0
		switch {
		case err == io.EOF:
			return v.entryFault("the file is cut here, no statement says that the job ends")
		case err != nil && sizes == 0 && v.lr.looksLikeEntry():
			return v.entryFault("%v", err)
		case err != nil:
			return v.fault("%v", err)
		case l.Mark != nil && !begun:
			if marks++; marks > maxMarks {
				return v.fault("more than %d marks", maxMarks)
			}
			err = v.mark(l.Mark)
		case l.Entry != nil && sizes == 0:
			if !begun {
				if err := v.keys(); err != nil {
					return err
				}
			}
			err = v.entry(l.Entry)
		case l.Hashes != nil && begun && (sizes == 0 || v.hashes != nil):
			sizes++
			err = v.addHashes(l.Hashes)
		case l.Seen != nil && begun && v.hashes == nil:
			if sizes++; sizes > maxSeen {
				return v.fault("more than %d heads", maxSeen)
			}
			err = v.addSeen(l.Seen)
		case l.Statement != nil && begun:
			return v.end(l.Statement)
		case l.Entry != nil || !begun && l.Export == nil && l.Head == nil:
			return v.entryFault("it is not where the entries stand")
		default:
			return v.fault("a line of this kind does not belong here")
		}
		if err != nil {
			return err
		}
	}
}

// start reads the first two lines.
func (v *verifier) start() error {
	l, err := v.lr.next()
	switch {
	case err == io.EOF:
		return v.fault("the file is empty")
	case err != nil:
		return v.fault("%v", err)
	case l.Export == nil:
		return v.fault("the file does not begin as an export")
	case l.Export.Version != formatVersion:
		return v.fault("export of version %d, this program reads %d", l.Export.Version, formatVersion)
	}
	v.of = *l.Export
	if !isName(v.of.Shop) || !isName(v.of.Job) {
		return v.fault("shop or job is not a name")
	}
	if key, err := canonicalKey(v.of.Key, v.of.Shop); err != nil || key != v.of.Key {
		return v.fault("the key named is not a public key of shop %s", v.of.Shop)
	}
	l, err = v.lr.next()
	switch {
	case err == io.EOF:
		return v.fault("the file is cut before the head")
	case err != nil:
		return v.fault("%v", err)
	case l.Head == nil || len(l.Head.Note) > maxNote:
		return v.fault("no head where one is due")
	}
	v.note = []byte(l.Head.Note)
	// Who else may have signed is known after the marks, in keys.
	key, err := note.NewVerifier(v.of.Key)
	if err != nil {
		return v.fault("the key named is not a public key")
	}
	n, err := note.Open(v.note, note.VerifierList(key))
	if err != nil {
		return v.fault("head: not signed by the key the file names: %v", err)
	}
	if v.head, err = ParseHead(n.Text); err != nil {
		return v.fault("head: %v", err)
	}
	if v.head.Origin.Shop != v.of.Shop {
		return v.fault("head: of shop %s, not %s", v.head.Origin.Shop, v.of.Shop)
	}
	if v.head.PrevSize > 0 {
		v.prev = &seenHead{text: "before", size: v.head.PrevSize, prefix: hexHash(v.head.PrevRoot)}
	}
	v.proven(v.head.Size, v.head.Root)
	return nil
}

// end checks the last line and that nothing comes after.
func (v *verifier) end(l *statementLine) error {
	if v.hashes != nil && v.hashes.size != v.head.Size {
		return v.fault("leaf hashes are missing from %d on", v.hashes.size)
	}
	if len(l.Note) > maxNote {
		return v.fault("statement: too long")
	}
	text, _, err := openNote([]byte(l.Note), []string{v.of.Key})
	if err != nil {
		return v.fault("statement: %v", err)
	}
	s, err := parseStatement(text)
	switch {
	case err != nil:
		return v.fault("statement: %v", err)
	case s.origin != v.head.Origin || s.size != v.head.Size || s.root != v.head.Root:
		return v.fault("statement: it is of another head")
	case s.job != v.of.Job:
		return v.fault("statement: it is of job %s", s.job)
	case s.entries > v.seq:
		return v.entryFault("it is missing, the statement counts %d entries", s.entries)
	case s.entries < v.seq:
		return &Fault{Line: v.lr.lines, Seq: s.entries + 1, What: fmt.Sprintf("the statement counts only %d entries", s.entries)}
	case s.last != v.last:
		return v.fault("statement: the last entry is another one")
	case s.lines != v.lr.lines-1 || s.digest != hex.EncodeToString(v.lr.sum.Sum(nil)):
		return v.fault("statement: the lines before are not those it was made for")
	}
	if v.prev != nil && v.prev.err() != nil {
		return v.fault("head: the one before it is not proven to be its beginning: %s", v.prev.fault)
	}
	v.sum.Shop, v.sum.Job, v.sum.Entries, v.sum.WithoutPeople = v.of.Shop, v.of.Job, v.seq, v.of.WithoutPeople
	v.sum.Head = v.head
	at := v.lr.lines
	if _, err := v.lr.next(); err != io.EOF {
		return &Fault{Line: at + 1, What: "something follows the statement"}
	}
	return nil
}
