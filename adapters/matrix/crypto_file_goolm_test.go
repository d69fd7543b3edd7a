//go:build goolm

package matrix

import (
	"bytes"
	"crypto/rand"
	"encoding/json"
	"errors"
	"io"
	"testing"
	"testing/iotest"

	"maunium.net/go/mautrix/crypto/attachment"
	"maunium.net/go/mautrix/event"
)

// closes says whether what lies below was closed.
type closes struct {
	io.Reader
	n int
}

func (c *closes) Close() error { c.n++; return nil }

func TestCipherFiles(t *testing.T) {
	var c olmCipher
	plain := make([]byte, 200_000)
	rand.Read(plain)
	sealed, info, err := c.SealFile(plain)
	if err != nil || bytes.Contains(sealed, plain[:32]) || len(sealed) != len(plain) {
		t.Fatalf("seal: %d bytes, %v", len(sealed), err)
	}
	text, err := json.Marshal(info) // as it goes through a message
	if err != nil {
		t.Fatal(err)
	}
	parse := func() *event.EncryptedFileInfo {
		out := new(event.EncryptedFileInfo)
		if err := json.Unmarshal(text, out); err != nil {
			t.Fatal(err)
		}
		return out
	}
	altered := bytes.Clone(sealed)
	altered[len(altered)-1] ^= 1
	broken := errors.New("connection lost")
	for _, tt := range []struct {
		name string
		in   io.Reader
		want error // nil: all is well
	}{
		{"whole", bytes.NewReader(sealed), nil},
		{"byte by byte", iotest.OneByteReader(bytes.NewReader(sealed)), nil},
		{"end with the last bytes", iotest.DataErrReader(bytes.NewReader(sealed)), nil},
		{"altered", bytes.NewReader(altered), attachment.ErrHashMismatch},
		{"truncated", bytes.NewReader(sealed[:len(sealed)-1]), attachment.ErrHashMismatch},
		{"empty", bytes.NewReader(nil), attachment.ErrHashMismatch},
		{"something behind", io.MultiReader(bytes.NewReader(sealed), bytes.NewReader([]byte{0})), attachment.ErrHashMismatch},
		{"another file", bytes.NewReader(plain), attachment.ErrHashMismatch},
		{"connection lost", io.MultiReader(bytes.NewReader(sealed[:999]), iotest.ErrReader(broken)), broken},
	} {
		t.Run(tt.name, func(t *testing.T) {
			below := &closes{Reader: tt.in}
			r, err := c.OpenFile(below, parse())
			if err != nil {
				t.Fatal(err)
			}
			got, err := io.ReadAll(r)
			end := r.Close()
			if !errors.Is(err, tt.want) || !errors.Is(end, tt.want) || (tt.want == nil) != (err == nil && end == nil) {
				t.Errorf("read %v, closed %v; want %v", err, end, tt.want)
			}
			if tt.want == nil && !bytes.Equal(got, plain) {
				t.Error("read something else")
			}
			if r.Close(); below.n != 1 {
				t.Errorf("what lies below was closed %d times", below.n)
			}
		})
	}

	// Huge: a limit is put on what comes in, and a part is never taken for the whole.
	below := &closes{Reader: io.LimitReader(zeros{}, 1<<40)}
	r, err := c.OpenFile(below, parse())
	if err != nil {
		t.Fatal(err)
	}
	if n, err := io.CopyN(io.Discard, r, 1<<20); n != 1<<20 || err != nil {
		t.Errorf("%d bytes, %v", n, err)
	}
	if err := r.Close(); err == nil || below.n != 1 {
		t.Errorf("closed before its end: %v, below %d times", err, below.n)
	}

	if sealed, info, err := c.SealFile(nil); err != nil || len(sealed) != 0 {
		t.Errorf("an empty file: %v", err)
	} else if r, err := c.OpenFile(io.NopCloser(bytes.NewReader(sealed)), info); err != nil {
		t.Error(err)
	} else if b, err := io.ReadAll(r); err != nil || len(b) != 0 || r.Close() != nil {
		t.Errorf("an empty file: %d bytes, %v", len(b), err)
	}
}

type zeros struct{}

func (zeros) Read(p []byte) (int, error) { clear(p); return len(p), nil }

func TestCipherFileKeys(t *testing.T) {
	var c olmCipher
	_, good, err := c.SealFile([]byte("x"))
	if err != nil {
		t.Fatal(err)
	}
	for name, change := range map[string]func(*event.EncryptedFileInfo){
		"version":   func(f *event.EncryptedFileInfo) { f.Version = "v1" },
		"algorithm": func(f *event.EncryptedFileInfo) { f.Key.Algorithm = "none" },
		"key":       func(f *event.EncryptedFileInfo) { f.Key.Key = "short" },
		"iv":        func(f *event.EncryptedFileInfo) { f.InitVector = "" },
		"hash":      func(f *event.EncryptedFileInfo) { f.Hashes.SHA256 = "" },
	} {
		f := *good
		change(&f)
		below := &closes{Reader: bytes.NewReader(nil)}
		if _, err := c.OpenFile(below, &f); err == nil || below.n != 1 {
			t.Errorf("%s: %v, below closed %d times", name, err, below.n)
		}
	}
	below := &closes{Reader: bytes.NewReader(nil)}
	if _, err := c.OpenFile(below, nil); err == nil || below.n != 1 {
		t.Errorf("no key: %v, below closed %d times", err, below.n)
	}
}

func FuzzCipherFileKeys(f *testing.F) {
	var c olmCipher
	_, good, err := c.SealFile([]byte("a file"))
	if err != nil {
		f.Fatal(err)
	}
	text, err := json.Marshal(good)
	if err != nil {
		f.Fatal(err)
	}
	f.Add(text)
	f.Add([]byte(`{"v":"v2","key":{"alg":"A256CTR","k":""},"iv":"","hashes":{}}`))
	f.Fuzz(func(t *testing.T, text []byte) {
		info := new(event.EncryptedFileInfo)
		if json.Unmarshal(text, info) != nil {
			return
		}
		r, err := c.OpenFile(io.NopCloser(bytes.NewReader([]byte("nothing that fits"))), info)
		if err != nil {
			return
		}
		if _, err := io.ReadAll(r); err == nil {
			t.Errorf("taken for whole with %s", text)
		}
		if r.Close() == nil {
			t.Error("closed as if whole")
		}
	})
}
