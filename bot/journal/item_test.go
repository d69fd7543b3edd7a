package journal

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"io"
	"strings"
	"testing"
)

func TestItemHash(t *testing.T) {
	it := must(NewItem("text", []byte("it says 2438"), &seeded{name: "salt"}))(t)
	sum := sha256.Sum256([]byte("text\x00" + string(it.Salt[:]) + "it says 2438"))
	if it.Hash() != hex.EncodeToString(sum[:]) {
		t.Error("hash is not SHA-256(label 0 salt content)")
	}
	for what, spoil := range map[string]func(*Item){
		"label":   func(i *Item) { i.Label = "name" },
		"salt":    func(i *Item) { i.Salt[31]++ },
		"content": func(i *Item) { i.Content = []byte("it says 2439") },
	} {
		other := it
		spoil(&other)
		if other.Hash() == it.Hash() {
			t.Errorf("another %s, the same hash", what)
		}
	}
	if (Item{Label: "a\x00b"}).Hash() != "" {
		t.Error("a label with NUL has a hash")
	}
}

func TestNewItemRefused(t *testing.T) {
	for _, label := range []string{"", "a\x00b", "a\nb", "\xff", strings.Repeat("x", maxLabel+1)} {
		if _, err := NewItem(label, nil, &seeded{}); err == nil {
			t.Errorf("label %q is taken", label)
		}
	}
	if _, err := NewItem("text", nil, io.LimitReader(&seeded{}, 31)); err == nil {
		t.Error("a salt of 31 bytes is taken")
	}
	twice := []Item{{Label: "text"}, {Label: "text"}}
	if _, err := Hashes(twice); err == nil {
		t.Error("two items of one label")
	}
	if _, err := Hashes([]Item{{}}); err == nil {
		t.Error("an item without label")
	}
}

// Each content has one way onto a line and comes back from it.
func TestItemLine(t *testing.T) {
	for _, content := range []string{"", "plain", "„Zoll“ & <mm>\u2028\n", "\xff\x00", "\xed\xa0\x80"} {
		it := must(NewItem("text", []byte(content), &seeded{name: content}))(t)
		b := must(line{Entry: &entryLine{Items: []itemLine{toLine(it)}}}.encode())(t)
		l := must(parseLine(b))(t)
		back := must(l.Entry.Items[0].item())(t)
		if back.Hash() != it.Hash() || !bytes.Equal(back.Content, it.Content) {
			t.Errorf("content %q came back as %q", content, back.Content)
		}
	}
	s := "text"
	for what, l := range map[string]itemLine{
		"short salt":    {Label: "a", Salt: make([]byte, 31), Text: &s},
		"both":          {Label: "a", Salt: make([]byte, 32), Text: &s, Bytes: []byte{0xff}},
		"neither":       {Label: "a", Salt: make([]byte, 32)},
		"text as bytes": {Label: "a", Salt: make([]byte, 32), Bytes: []byte("text")},
		"no label":      {Salt: make([]byte, 32), Text: &s},
	} {
		if _, err := l.item(); err == nil {
			t.Errorf("%s: taken", what)
		}
	}
}
