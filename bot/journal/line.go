package journal

import (
	"bufio"
	"bytes"
	"crypto/sha256"
	"encoding/json"
	"errors"
	"fmt"
	"hash"
	"io"
	"unicode/utf8"

	"golang.org/x/mod/sumdb/tlog"
)

// Limits of an export; a file beyond one is refused, by the writer and by Verify.
const (
	MaxLine    = 8 << 20 // bytes of a line
	MaxEntries = 200_000 // entries of the job
	maxMarks   = 1000
	maxSeen    = 200_000
	maxHashes  = 1 << 24 // leaf hashes
)

// formatVersion is that of the lines below. A change of any of them is a new one.
const formatVersion = 1

// A line of an export has exactly one of these. Each line must be spelled as
// encoding/json spells the struct, without HTML escapes: one text, one spelling.
type line struct {
	Export    *exportLine    `json:"export,omitempty"`
	Head      *noteLine      `json:"head,omitempty"`
	Mark      *markLine      `json:"mark,omitempty"`
	Entry     *entryLine     `json:"entry,omitempty"`
	Hashes    *hashesLine    `json:"hashes,omitempty"`
	Seen      *seenLine      `json:"seen,omitempty"`
	Statement *statementLine `json:"statement,omitempty"`
}

type exportLine struct {
	Version       int    `json:"version"`
	Shop          string `json:"shop"`
	Job           string `json:"job"`
	Key           string `json:"key"` // public key in force
	WithoutPeople bool   `json:"without_people"`
}

type noteLine struct {
	Note string `json:"note"`
}

type markLine struct {
	Index int64            `json:"index"`
	Leaf  string           `json:"leaf"`
	Proof tlog.RecordProof `json:"proof,omitempty"` // leaf in the head's tree
	Head  string           `json:"head,omitempty"`  // first head over a key change, both signatures
	Tree  tlog.TreeProof   `json:"tree,omitempty"`  // that head's tree, or a restored one, in the head's tree
}

type entryLine struct {
	Index int64            `json:"index"`
	Leaf  string           `json:"leaf"`
	Proof tlog.RecordProof `json:"proof,omitempty"`
	Items []itemLine       `json:"items,omitempty"` // by label; erased or left out: not there
}

type itemLine struct {
	Label string  `json:"label"`
	Salt  []byte  `json:"salt"`            // base64
	Text  *string `json:"text,omitempty"`  // content that is UTF-8
	Bytes []byte  `json:"bytes,omitempty"` // other content, base64
}

type hashesLine struct {
	From int64  `json:"from"`
	Hash []byte `json:"hash"` // leaf hashes, 32 bytes each, base64
}

// hashesPerLine is how many leaf hashes a line holds, the last one fewer.
const hashesPerLine = 1024

type seenLine struct {
	Size  int64          `json:"size"`
	Root  tlog.Hash      `json:"root"`
	Proof tlog.TreeProof `json:"proof,omitempty"`
}

type statementLine noteLine

func (l line) encode() ([]byte, error) {
	var b bytes.Buffer
	enc := json.NewEncoder(&b)
	enc.SetEscapeHTML(false)
	if err := enc.Encode(l); err != nil {
		return nil, err
	}
	if b.Len() > MaxLine {
		return nil, fmt.Errorf("line of %d bytes, at most %d", b.Len(), MaxLine)
	}
	return b.Bytes(), nil
}

func toLine(it Item) itemLine {
	l := itemLine{Label: it.Label, Salt: it.Salt[:]}
	if utf8.Valid(it.Content) {
		s := string(it.Content)
		l.Text = &s
	} else {
		l.Bytes = it.Content
	}
	return l
}

func (l itemLine) item() (Item, error) {
	if len(l.Salt) != SaltSize {
		return Item{}, fmt.Errorf("salt of %d bytes, want %d", len(l.Salt), SaltSize)
	}
	it := Item{Label: l.Label, Salt: [SaltSize]byte(l.Salt)}
	switch {
	case l.Text != nil && l.Bytes == nil:
		it.Content = []byte(*l.Text)
	case l.Text == nil && !utf8.Valid(l.Bytes):
		it.Content = l.Bytes
	default:
		return Item{}, errors.New("content is not in its one form")
	}
	return it, checkLabel(l.Label)
}

// lineWriter writes lines and keeps the digest that the statement will carry.
type lineWriter struct {
	w     *bufio.Writer
	sum   hash.Hash
	lines int64
}

func newLineWriter(w io.Writer) *lineWriter {
	return &lineWriter{w: bufio.NewWriter(w), sum: sha256.New()}
}

func (lw *lineWriter) put(l line) error {
	b, err := l.encode()
	if err != nil {
		return err
	}
	lw.sum.Write(b)
	lw.lines++
	_, err = lw.w.Write(b)
	return err
}

// lineReader reads lines, bounded, and keeps the digest of those before the one
// it returned last.
type lineReader struct {
	r     *bufio.Reader
	sum   hash.Hash
	lines int64 // lines returned
	last  []byte
	err   error // an error of the reader below, not of the file's text
}

func newLineReader(r io.Reader) *lineReader {
	return &lineReader{r: bufio.NewReaderSize(r, 64<<10), sum: sha256.New()}
}

// next returns the next line, or io.EOF after the last. Other errors say what is
// wrong with the line.
func (lr *lineReader) next() (line, error) {
	lr.sum.Write(lr.last)
	lr.last = lr.last[:0]
	lr.lines++
	for {
		part, err := lr.r.ReadSlice('\n')
		if len(lr.last)+len(part) > MaxLine {
			return line{}, fmt.Errorf("longer than %d bytes", MaxLine)
		}
		lr.last = append(lr.last, part...)
		switch {
		case err == nil:
			return parseLine(lr.last)
		case errors.Is(err, bufio.ErrBufferFull):
		case errors.Is(err, io.EOF) && len(lr.last) == 0:
			return line{}, io.EOF
		case errors.Is(err, io.EOF):
			return line{}, errors.New("cut in the middle of the line")
		default:
			lr.err = err
			return line{}, err
		}
	}
}

// looksLikeEntry tells of a line that cannot be read whether an entry stood there:
// it does not begin as any of the others that may.
func (lr *lineReader) looksLikeEntry() bool {
	for _, other := range []string{`{"mark"`, `{"hashes"`, `{"seen"`, `{"statement"`} {
		if bytes.HasPrefix(lr.last, []byte(other)) {
			return false
		}
	}
	return true
}

func parseLine(b []byte) (line, error) {
	var l line
	if err := json.Unmarshal(b, &l); err != nil {
		return line{}, fmt.Errorf("not a line of an export: %w", err)
	}
	n := 0
	for _, there := range []bool{l.Export != nil, l.Head != nil, l.Mark != nil, l.Entry != nil,
		l.Hashes != nil, l.Seen != nil, l.Statement != nil} {
		if there {
			n++
		}
	}
	if n != 1 {
		return line{}, fmt.Errorf("not one line of an export but %d", n)
	}
	again, err := l.encode()
	if err != nil || !bytes.Equal(again, b) {
		return line{}, errors.New("not in its one spelling")
	}
	return l, nil
}
