package journal

import (
	"bufio"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
)

// An ItemID names an erasable item for good: the entry it belongs to and its
// label there. Printed as job/seq/label.
type ItemID struct {
	Job   string
	Seq   int64
	Label string
}

// String is job/seq/label.
func (id ItemID) String() string {
	return id.Job + "/" + strconv.FormatInt(id.Seq, 10) + "/" + id.Label
}

// ParseItemID reads job/seq/label; a label may hold slashes.
func ParseItemID(s string) (ItemID, error) {
	part := strings.SplitN(s, "/", 3)
	if len(part) != 3 {
		return ItemID{}, fmt.Errorf("item id %.80q: not job/seq/label", s)
	}
	seq, err := strconv.ParseInt(part[1], 10, 64)
	id := ItemID{part[0], seq, part[2]}
	if err != nil || !isName(id.Job) || seq < 1 || seq > maxInt || id.String() != s {
		return ItemID{}, fmt.Errorf("item id %.80q: not job/seq/label", s)
	}
	if err := checkLabel(id.Label); err != nil {
		return ItemID{}, fmt.Errorf("item id %.80q: %w", s, err)
	}
	return id, nil
}

func compareItemIDs(a, b ItemID) int {
	if c := strings.Compare(a.Job, b.Job); c != 0 {
		return c
	}
	if a.Seq != b.Seq {
		if a.Seq < b.Seq {
			return -1
		}
		return 1
	}
	return strings.Compare(a.Label, b.Label)
}

// An Erasure is the data of an entry of kind KindErased. Who ordered it is the
// person's number in the entry's job; Why is a short word of the program's own
// ("request", "retention"), as what a person gave for a reason is itself an item.
type Erasure struct {
	By    string   // ordered by, "" for the assistant (retention)
	Why   string   // a name, see package comment
	Items []ItemID // what was deleted, content and salt
}

// erasure is the stored form; see storedLeaf for what may change in it.
type erasure struct {
	By    string   `json:"by,omitempty"`
	Items []string `json:"items"`
	Why   string   `json:"why"`
}

// Data is the erasure as [Leaf.Data], its items sorted and each once.
func (e Erasure) Data() (json.RawMessage, error) {
	if e.By != "" && !isName(e.By) || !isName(e.Why) {
		return nil, fmt.Errorf("erasure: by %.80q or why %.80q is not a name", e.By, e.Why)
	}
	ids := sortedIDs(e.Items)
	out := erasure{By: e.By, Why: e.Why, Items: make([]string, len(ids))}
	for i, id := range ids {
		if _, err := ParseItemID(id.String()); err != nil {
			return nil, fmt.Errorf("erasure: %w", err)
		}
		out.Items[i] = id.String()
	}
	return json.Marshal(out)
}

// ParseErasure reads the data of an entry of kind KindErased.
func ParseErasure(data json.RawMessage) (Erasure, error) {
	var in erasure
	if err := json.Unmarshal(data, &in); err != nil {
		return Erasure{}, fmt.Errorf("parse erasure: %w", err)
	}
	e := Erasure{By: in.By, Why: in.Why}
	for _, s := range in.Items {
		id, err := ParseItemID(s)
		if err != nil {
			return Erasure{}, fmt.Errorf("parse erasure: %w", err)
		}
		e.Items = append(e.Items, id)
	}
	return e, nil
}

func sortedIDs(ids []ItemID) []ItemID {
	ids = slices.Clone(ids)
	slices.SortFunc(ids, compareItemIDs)
	return slices.Compact(ids)
}

// erasedTitle is the first line of the list beside the key.
const erasedTitle = "milepost erased items 1"

// maxErased bounds the list.
const maxErased = 10_000_000

// WriteErased writes the list of erased items that is kept beside the signing key,
// outside every backup:
//
//	milepost erased items 1
//	7q3k9x/12/text
//	7q3k9x/40/file.name
//	end 2
//
// Sorted, each once. Write it whole to a new file, sync and rename it, and only
// then delete what it names: a crash between the two erases too often, not too
// seldom.
func WriteErased(w io.Writer, ids []ItemID) error {
	b := bufio.NewWriter(w)
	ids = sortedIDs(ids)
	fmt.Fprintln(b, erasedTitle)
	for _, id := range ids {
		if _, err := ParseItemID(id.String()); err != nil {
			return fmt.Errorf("write erased items: %w", err)
		}
		fmt.Fprintln(b, id)
	}
	fmt.Fprintf(b, "end %d\n", len(ids))
	if err := b.Flush(); err != nil {
		return fmt.Errorf("write erased items: %w", err)
	}
	return nil
}

// ReadErased reads that list. A cut or altered one is an error: going on with a
// part of it would bring back what somebody had erased.
func ReadErased(r io.Reader) ([]ItemID, error) {
	s := bufio.NewScanner(r)
	s.Buffer(nil, 4096)
	if !s.Scan() || s.Text() != erasedTitle {
		return nil, errors.New("read erased items: not such a list")
	}
	var ids []ItemID
	for s.Scan() {
		if n, found := strings.CutPrefix(s.Text(), "end "); found {
			if n != strconv.Itoa(len(ids)) || s.Scan() {
				return nil, errors.New("read erased items: the end does not count what stands before it")
			}
			if err := s.Err(); err != nil {
				return nil, fmt.Errorf("read erased items: %w", err)
			}
			return ids, nil
		}
		id, err := ParseItemID(s.Text())
		if err != nil {
			return nil, fmt.Errorf("read erased items: line %d: %w", len(ids)+2, err)
		}
		if len(ids) == maxErased || len(ids) > 0 && compareItemIDs(ids[len(ids)-1], id) >= 0 {
			return nil, fmt.Errorf("read erased items: line %d: out of order, or too many", len(ids)+2)
		}
		ids = append(ids, id)
	}
	if err := s.Err(); err != nil {
		return nil, fmt.Errorf("read erased items: %w", err)
	}
	return nil, errors.New("read erased items: cut, no end line")
}

// EraseAgain tells which items of the list a restored store must erase again:
// those it has content for. The list may name entries made after the backup, which
// the store does not have.
func EraseAgain(list []ItemID, has func(ItemID) (bool, error)) ([]ItemID, error) {
	var again []ItemID
	for _, id := range sortedIDs(list) {
		there, err := has(id)
		if err != nil {
			return nil, fmt.Errorf("erase again: %s: %w", id, err)
		}
		if there {
			again = append(again, id)
		}
	}
	return again, nil
}
