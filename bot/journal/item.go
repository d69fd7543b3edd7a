package journal

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"unicode/utf8"
)

// SaltSize is the number of random bytes that keep an item's hash from being
// guessed.
const SaltSize = 32

// maxLabel is the longest label in bytes.
const maxLabel = 200

// An Item is something of a person that an entry refers to by hash only: a name, a
// free text, a VIN, a file's hash. Delete content and salt, and nothing but an
// unguessable number is left in the log.
type Item struct {
	Label   string // what it is within its entry, as "text" or "file.name"
	Salt    [SaltSize]byte
	Content []byte
}

// NewItem makes an item with a fresh salt from random, which must be the system's
// random source: a salt derived from anything kept could be made again after the
// item was erased.
func NewItem(label string, content []byte, random io.Reader) (Item, error) {
	it := Item{Label: label, Content: content}
	if err := checkLabel(label); err != nil {
		return Item{}, fmt.Errorf("new item: %w", err)
	}
	if _, err := io.ReadFull(random, it.Salt[:]); err != nil {
		return Item{}, fmt.Errorf("new item: salt: %w", err)
	}
	return it, nil
}

// Hash is hex SHA-256(label ‖ 0x00 ‖ salt ‖ content), as it stands in
// [Leaf.Items]. A label cannot hold a NUL, so no two items run together; with
// another label the hash is empty, which no leaf accepts.
func (it Item) Hash() string {
	if checkLabel(it.Label) != nil {
		return ""
	}
	h := sha256.New()
	io.WriteString(h, it.Label)
	h.Write([]byte{0})
	h.Write(it.Salt[:])
	h.Write(it.Content)
	return hex.EncodeToString(h.Sum(nil))
}

// Hashes gives the Items field of a leaf with these items. Labels must differ.
func Hashes(items []Item) (map[string]string, error) {
	if len(items) == 0 {
		return nil, nil
	}
	m := make(map[string]string, len(items))
	for _, it := range items {
		if err := checkLabel(it.Label); err != nil {
			return nil, fmt.Errorf("hash items: %w", err)
		}
		if _, twice := m[it.Label]; twice {
			return nil, fmt.Errorf("hash items: label %q twice", it.Label)
		}
		m[it.Label] = it.Hash()
	}
	return m, nil
}

func checkLabel(label string) error {
	if label == "" || len(label) > maxLabel {
		return fmt.Errorf("item label of %d bytes, want 1 to %d", len(label), maxLabel)
	}
	if !utf8.ValidString(label) {
		return errors.New("item label is not UTF-8")
	}
	for i := 0; i < len(label); i++ {
		if label[i] < 0x20 || label[i] == 0x7f {
			return errors.New("item label holds a control character")
		}
	}
	return nil
}
