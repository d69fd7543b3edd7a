package journal

import (
	"bytes"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"strconv"
	"time"

	"golang.org/x/mod/sumdb/tlog"
)

// TimeLayout is the only form of a time in a leaf or head: RFC 3339, UTC, with
// milliseconds, as 2026-03-01T08:15:00.250Z.
const TimeLayout = "2006-01-02T15:04:05.000Z"

// MaxLeaf is the largest number of bytes a leaf may have.
const MaxLeaf = 1 << 20

// ShopJob is the job under which a shop's own entries are numbered and chained:
// key changes, restores, strangers turned away.
const ShopJob = "shop"

// maxInt is the largest whole number every JSON reader keeps exact (RFC 8785
// section 3.2.2.3 and RFC 7493 section 2.2).
const maxInt = 1<<53 - 1

// A Leaf is one entry of the log as it is hashed. It holds facts and no persons:
// whatever a person could be known by is an [Item] of which it has only the hash.
type Leaf struct {
	Shop  string            // whose tree
	Job   string            // random job number, or ShopJob
	Seq   int64             // number in the job, from 1 without a gap
	Prev  string            // hex leaf hash of the job's previous leaf, "" at Seq 1
	Time  string            // our time, TimeLayout
	Net   string            // the network's time where there is one, TimeLayout
	Clock bool              // our clock went back before this entry
	Who   string            // person's number, random per job; "" is the assistant
	Role  string            // role the person acted in, "" for the assistant
	Kind  string            // what the entry is; kinds not known here are kept
	V     int               // version of Data for this kind, from 1
	Data  json.RawMessage   // a JSON object; nil stands for {}
	Items map[string]string // label to hex SHA-256 of an erasable item
}

// storedLeaf is the form in the tree, its keys in RFC 8785 order. Hashes out
// there depend on it: no key is ever renamed, removed or given another meaning. A
// new one must be absent when it has nothing to say.
type storedLeaf struct {
	Clock bool              `json:"clock"` // absent when false
	Data  json.RawMessage   `json:"data"`
	Items map[string]string `json:"items"` // absent when empty
	Job   string            `json:"job"`
	Kind  string            `json:"kind"`
	Net   string            `json:"net"` // absent when empty
	Prev  string            `json:"prev"`
	Role  string            `json:"role"` // absent when empty
	Seq   int64             `json:"seq"`
	Shop  string            `json:"shop"`
	Time  string            `json:"time"`
	V     int               `json:"v"`
	Who   string            `json:"who"` // absent when empty
}

// Bytes gives the leaf in its one form, RFC 8785 canonical JSON. Numbers in Data
// are IEEE 754 doubles there; a whole number beyond 2^53-1 or a decimal with more
// digits than a double holds belongs in a string. The error names the field that
// cannot stand.
func (l Leaf) Bytes() ([]byte, error) {
	if err := l.check(); err != nil {
		return nil, fmt.Errorf("leaf %s/%d: %w", l.Job, l.Seq, err)
	}
	data := []byte("{}")
	if l.Data != nil {
		var err error
		if data, err = canonical(l.Data); err != nil {
			return nil, fmt.Errorf("leaf %s/%d: data: %w", l.Job, l.Seq, err)
		}
	}
	if data[0] != '{' {
		return nil, fmt.Errorf("leaf %s/%d: data: not an object", l.Job, l.Seq)
	}

	b := make([]byte, 0, 320+len(data)+100*len(l.Items))
	b = append(b, '{')
	if l.Clock {
		b = append(b, `"clock":true,`...)
	}
	b = append(b, `"data":`...)
	b = append(b, data...)
	if len(l.Items) > 0 {
		b = append(b, `,"items":{`...)
		for i, label := range sortedLabels(l.Items) {
			if i > 0 {
				b = append(b, ',')
			}
			b = appendString(b, label)
			b = append(b, ':')
			b = appendString(b, l.Items[label])
		}
		b = append(b, '}')
	}
	b = appendField(b, `,"job":`, l.Job)
	b = appendField(b, `,"kind":`, l.Kind)
	if l.Net != "" {
		b = appendField(b, `,"net":`, l.Net)
	}
	b = appendField(b, `,"prev":`, l.Prev)
	if l.Role != "" {
		b = appendField(b, `,"role":`, l.Role)
	}
	b = append(b, `,"seq":`...)
	b = strconv.AppendInt(b, l.Seq, 10)
	b = appendField(b, `,"shop":`, l.Shop)
	b = appendField(b, `,"time":`, l.Time)
	b = append(b, `,"v":`...)
	b = strconv.AppendInt(b, int64(l.V), 10)
	if l.Who != "" {
		b = appendField(b, `,"who":`, l.Who)
	}
	b = append(b, '}')
	if len(b) > MaxLeaf {
		return nil, fmt.Errorf("leaf %s/%d: %d bytes, at most %d", l.Job, l.Seq, len(b), MaxLeaf)
	}
	return b, nil
}

// Parse reads leaf bytes. They must be exactly what [Leaf.Bytes] makes: canonical,
// with the known fields and no other. Kinds and versions are not judged.
func Parse(b []byte) (Leaf, error) {
	if len(b) > MaxLeaf {
		return Leaf{}, fmt.Errorf("parse leaf: %d bytes, at most %d", len(b), MaxLeaf)
	}
	var s storedLeaf
	dec := json.NewDecoder(bytes.NewReader(b))
	dec.DisallowUnknownFields()
	if err := dec.Decode(&s); err != nil {
		return Leaf{}, fmt.Errorf("parse leaf: %w", err)
	}
	l := Leaf{Shop: s.Shop, Job: s.Job, Seq: s.Seq, Prev: s.Prev, Time: s.Time, Net: s.Net, Clock: s.Clock,
		Who: s.Who, Role: s.Role, Kind: s.Kind, V: s.V, Data: s.Data, Items: s.Items}
	again, err := l.Bytes()
	if err != nil {
		return Leaf{}, fmt.Errorf("parse leaf: %w", err)
	}
	if !bytes.Equal(again, b) {
		return Leaf{}, errors.New("parse leaf: not in canonical form")
	}
	return l, nil
}

// Hash is the leaf hash of leaf bytes, SHA-256(0x00 ‖ bytes) as in RFC 6962
// section 2.1, in the hex form that Prev has.
func Hash(leaf []byte) string {
	return hexHash(tlog.RecordHash(leaf))
}

func hexHash(h tlog.Hash) string {
	return hex.EncodeToString(h[:])
}

func (l Leaf) check() error {
	switch {
	case !isName(l.Shop):
		return fmt.Errorf("shop %.80q is not a name", l.Shop)
	case !isName(l.Job):
		return fmt.Errorf("job %.80q is not a name", l.Job)
	case !isName(l.Kind):
		return fmt.Errorf("kind %.80q is not a name", l.Kind)
	case l.Who != "" && !isName(l.Who):
		return fmt.Errorf("who %.80q is not a name", l.Who)
	case l.Role != "" && !isName(l.Role):
		return fmt.Errorf("role %.80q is not a name", l.Role)
	case l.Seq < 1 || l.Seq > maxInt:
		return fmt.Errorf("sequence %d out of range", l.Seq)
	case l.V < 1 || l.V > 1<<31-1:
		return fmt.Errorf("version %d out of range", l.V)
	case l.Seq == 1 && l.Prev != "":
		return errors.New("first leaf names a previous one")
	case l.Seq > 1 && !isHexHash(l.Prev):
		return errors.New("previous leaf's hash is not 64 hex digits")
	case !isTime(l.Time):
		return fmt.Errorf("time %.80q is not %s", l.Time, TimeLayout)
	case l.Net != "" && !isTime(l.Net):
		return fmt.Errorf("network time %.80q is not %s", l.Net, TimeLayout)
	}
	for label, sum := range l.Items {
		if err := checkLabel(label); err != nil {
			return err
		}
		if !isHexHash(sum) {
			return fmt.Errorf("item %q: hash is not 64 hex digits", label)
		}
	}
	return nil
}

func isName(s string) bool {
	if len(s) == 0 || len(s) > 64 {
		return false
	}
	for i := 0; i < len(s); i++ {
		c := s[i]
		switch {
		case 'a' <= c && c <= 'z', 'A' <= c && c <= 'Z', '0' <= c && c <= '9', c == '.', c == '_', c == '-':
		default:
			return false
		}
	}
	return true
}

func isHexHash(s string) bool {
	if len(s) != 64 {
		return false
	}
	for i := 0; i < len(s); i++ {
		if c := s[i]; (c < '0' || c > '9') && (c < 'a' || c > 'f') {
			return false
		}
	}
	return true
}

func isTime(s string) bool {
	if len(s) != len(TimeLayout) {
		return false
	}
	_, err := time.Parse(TimeLayout, s)
	return err == nil
}
