package journal

import (
	"encoding/base64"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"

	"golang.org/x/mod/sumdb/note"
	"golang.org/x/mod/sumdb/tlog"
)

// A Head says what the tree was at a moment. Its text, which is signed as a note:
//
//	milepost/oakroad/4be1c9…a07d           origin: which log this is
//	1234                                   number of leaves
//	qUwWlpYv…kZ0=                          root, base64
//	time 2026-03-01T08:15:00.250Z          our time
//	prev 1201 mYk2…Fq8=                    the head before: leaves and root, optional
//
//	— milepost/oakroad x08go/ZJ…HJnAM=     signature, one line per key
//
// The first three lines are those of a checkpoint of certificate and module
// transparency logs. After a restore the origin is a new one and names the old:
//
//	milepost/oakroad/77d0…12ef/after/4be1c9…a07d
//
// A later version may add lines with a new first word; this one refuses them, as a
// line it cannot read might take back what it can.
type Head struct {
	Origin   Origin
	Size     int64
	Root     tlog.Hash
	Time     string // TimeLayout
	PrevSize int64  // 0: no head before is named
	PrevRoot tlog.Hash
}

// An Origin names a log: a shop, a random id and, after a restore, the id of the
// log it goes on from.
type Origin struct {
	Shop, ID, After string
}

// NewOrigin makes an origin with 16 random bytes as id. After is the origin of the
// log that was restored, or the zero value for a log that begins.
func NewOrigin(shop string, after Origin, random io.Reader) (Origin, error) {
	var id [16]byte
	if !isName(shop) || after != (Origin{}) && after.Shop != shop {
		return Origin{}, fmt.Errorf("new origin: shop %.80q is not a name or not that of %q", shop, after.Shop)
	}
	if _, err := io.ReadFull(random, id[:]); err != nil {
		return Origin{}, fmt.Errorf("new origin: %w", err)
	}
	return Origin{Shop: shop, ID: hex.EncodeToString(id[:]), After: after.ID}, nil
}

// String is the origin line.
func (o Origin) String() string {
	s := "milepost/" + o.Shop + "/" + o.ID
	if o.After != "" {
		s += "/after/" + o.After
	}
	return s
}

// ParseOrigin reads an origin line.
func ParseOrigin(s string) (Origin, error) {
	part := strings.Split(s, "/")
	o := Origin{}
	switch {
	case len(part) == 3 && part[0] == "milepost":
		o = Origin{Shop: part[1], ID: part[2]}
	case len(part) == 5 && part[0] == "milepost" && part[3] == "after" && part[4] != "":
		o = Origin{Shop: part[1], ID: part[2], After: part[4]}
	default:
		return Origin{}, fmt.Errorf("%.200q is not an origin", s)
	}
	if !isName(o.Shop) || !isID(o.ID) || o.After != "" && !isID(o.After) || o.After == o.ID {
		return Origin{}, fmt.Errorf("%.200q is not an origin", s)
	}
	return o, nil
}

func isID(s string) bool {
	return len(s) == 32 && isHexHash(s+s)
}

// Text is the head as it is signed.
func (h Head) Text() string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s\n%d\n%s\ntime %s\n", h.Origin, h.Size, h.Root, h.Time)
	if h.PrevSize > 0 {
		fmt.Fprintf(&b, "prev %d %s\n", h.PrevSize, h.PrevRoot)
	}
	return b.String()
}

// Short is the head as printed on a sheet or posted in a thread: the size and the
// first 80 bits of the root, as "1234 1f2e-3d4c-5b6a-7988-0716".
func (h Head) Short() string {
	return strconv.FormatInt(h.Size, 10) + " " + grouped(h.Root)
}

// ParseHead reads the text of a head, without signatures, and takes only what
// [Head.Text] makes.
func ParseHead(text string) (Head, error) {
	line := strings.Split(text, "\n")
	if len(line) != 5 && len(line) != 6 {
		return Head{}, errors.New("parse head: not four or five lines")
	}
	var h Head
	var err error
	if h.Origin, err = ParseOrigin(line[0]); err != nil {
		return Head{}, fmt.Errorf("parse head: %w", err)
	}
	if h.Size, h.Root, err = parseTree(line[1], line[2]); err != nil {
		return Head{}, fmt.Errorf("parse head: %w", err)
	}
	h.Time = strings.TrimPrefix(line[3], "time ")
	if len(line) == 6 {
		f := strings.Split(line[4], " ")
		if len(f) != 3 || f[0] != "prev" {
			return Head{}, errors.New("parse head: no prev line where one is due")
		}
		if h.PrevSize, h.PrevRoot, err = parseTree(f[1], f[2]); err != nil {
			return Head{}, fmt.Errorf("parse head: prev: %w", err)
		}
	}
	if err := h.check(); err != nil {
		return Head{}, fmt.Errorf("parse head: %w", err)
	}
	if h.Text() != text {
		return Head{}, errors.New("parse head: not in its one form")
	}
	return h, nil
}

func (h Head) check() error {
	switch {
	case h.Size < 0 || h.Size > maxSize:
		return fmt.Errorf("size %d out of range", h.Size)
	case !isTime(h.Time):
		return fmt.Errorf("time %.80q is not %s", h.Time, TimeLayout)
	case h.PrevSize < 0 || h.PrevSize > h.Size:
		return fmt.Errorf("head before has %d leaves, this one %d", h.PrevSize, h.Size)
	}
	return nil
}

func parseTree(size, root string) (int64, tlog.Hash, error) {
	n, err := strconv.ParseInt(size, 10, 64)
	if err != nil {
		return 0, tlog.Hash{}, fmt.Errorf("size %.40q is not a number", size)
	}
	raw, err := base64.StdEncoding.Strict().DecodeString(root)
	if err != nil || len(raw) != tlog.HashSize {
		return 0, tlog.Hash{}, fmt.Errorf("root %.80q is not a hash", root)
	}
	return n, tlog.Hash(raw), nil
}

// SignHead signs a head. The first head over a [KeyChange] takes the old key and
// the new one, every other the current key alone.
func SignHead(h Head, keys ...Key) ([]byte, error) {
	if err := h.check(); err != nil {
		return nil, fmt.Errorf("sign head: %w", err)
	}
	if _, err := ParseOrigin(h.Origin.String()); err != nil {
		return nil, fmt.Errorf("sign head: %w", err)
	}
	return signNote("sign head", h.Text(), h.Origin.Shop, keys)
}

func signNote(op, text, shop string, keys []Key) ([]byte, error) {
	if len(keys) == 0 {
		return nil, errors.New(op + ": no key")
	}
	signers := make([]note.Signer, len(keys))
	for i, k := range keys {
		if k.signer == nil || k.signer.Name() != KeyName(shop) {
			return nil, fmt.Errorf("%s: key %q is not of shop %s", op, k.public, shop)
		}
		signers[i] = k.signer
	}
	msg, err := note.Sign(&note.Note{Text: text}, signers...)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", op, err)
	}
	return msg, nil
}

// OpenHead checks a signed head: all its signatures must be by the given public
// keys and verify. It returns the head and the keys that signed.
func OpenHead(signed []byte, publics ...string) (Head, []string, error) {
	text, signers, err := openNote(signed, publics)
	if err != nil {
		return Head{}, nil, fmt.Errorf("open head: %w", err)
	}
	h, err := ParseHead(text)
	if err != nil {
		return Head{}, nil, fmt.Errorf("open head: %w", err)
	}
	return h, signers, nil
}
