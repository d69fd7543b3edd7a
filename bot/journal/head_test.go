package journal

import (
	"fmt"
	"io"
	"strings"
	"testing"

	"golang.org/x/mod/sumdb/note"
)

func goodHead(t testing.TB) Head {
	return Head{Origin: must(ParseOrigin("milepost/oakroad/4be1c9d20f6a3377aa10cc5e9912a07d"))(t), Size: 8, Root: hashOf(t, ctRoots[8]),
		Time: "2026-03-01T08:15:00.250Z", PrevSize: 6, PrevRoot: hashOf(t, ctRoots[6])}
}

const goodHeadText = `milepost/oakroad/4be1c9d20f6a3377aa10cc5e9912a07d
8
XcnaeacGWamtVZy3Ad7ZoqudgjqtL0lgz+Nw7/RgQyg=
time 2026-03-01T08:15:00.250Z
prev 6 duZ9rbzfHhDht03cYIq9L5jfsW+851J3tSMqEn8gh+8=
`

func TestHeadText(t *testing.T) {
	h := goodHead(t)
	if h.Text() != goodHeadText {
		t.Fatalf("head is\n%s", h.Text())
	}
	if got := must(ParseHead(goodHeadText))(t); got != h {
		t.Errorf("parsed %+v, want %+v", got, h)
	}
	if h.Short() != "8 5dc9-da79-a706-59a9-ad55" {
		t.Errorf("short head is %s", h.Short())
	}
	h.PrevSize = 0
	if got := must(ParseHead(h.Text()))(t); got.PrevSize != 0 || strings.Contains(h.Text(), "prev") {
		t.Errorf("first head parsed as %+v", got)
	}
}

func TestParseHeadIsStrict(t *testing.T) {
	for _, change := range [][2]string{
		{"milepost/oakroad/", "milepost/oak road/"}, {"milepost/", "mileposts/"}, {"a07d\n", "A07D\n"}, {"a07d\n", "a07d/after/\n"},
		{"a07d\n", "a07d/after/4be1c9d20f6a3377aa10cc5e9912a07d\n"}, {"\n8\n", "\n08\n"}, {"\n8\n", "\n-8\n"}, {"\n8\n", "\n5\n"}, {"\n8\n", "\n9999999999999\n"},
		{"Qyg=", "Qyh="}, {"Qyg=", "Qyg"}, {"time ", "Time "}, {".250Z", "Z"}, {"prev 6", "prev  6"}, {"prev 6", "later 6"}, {"prev 6", "prev 0"},
		{"gh+8=\n", "gh+8="}, {"gh+8=\n", "gh+8=\n\n"}, {"gh+8=\n", "gh+8=\nmore\n"},
	} {
		text := strings.Replace(goodHeadText, change[0], change[1], 1)
		if text == goodHeadText {
			t.Fatalf("%q is not in the head", change[0])
		}
		if h, err := ParseHead(text); err == nil {
			t.Errorf("%q for %q: taken as %+v", change[1], change[0], h)
		}
	}
}

func FuzzParseHead(f *testing.F) {
	f.Add(goodHeadText)
	f.Add("milepost/s/4be1c9d20f6a3377aa10cc5e9912a07d/after/00e1c9d20f6a3377aa10cc5e9912a07d\n0\n47DEQpj8HBSa+/TImW+5JCeuQeRkm5NMpJWZG3hSuFU=\ntime 2026-03-01T08:15:00.250Z\n")
	f.Fuzz(func(t *testing.T, text string) {
		if h, err := ParseHead(text); err == nil && h.Text() != text {
			t.Fatalf("%q parsed, written %q", text, h.Text())
		}
	})
}

func FuzzParseSeen(f *testing.F) {
	w := newWorld(f, "seen").busy(1)
	f.Add(string(w.head()))
	f.Add("8 5dc9-da79-a706-59a9-ad55")
	f.Add("head 8/5DC9DA79A70659A9AD55")
	f.Fuzz(func(t *testing.T, text string) {
		if s, err := parseSeen(text); err == nil && (s.size < 0 || len(s.prefix) < 20) {
			t.Fatalf("%q taken as %+v", text, s)
		}
	})
}

func TestSignAndOpenHead(t *testing.T) {
	random := &seeded{name: "keys"}
	old, next, stranger := must(NewKey("oakroad", random))(t), must(NewKey("oakroad", random))(t), must(NewKey("elmroad", random))(t)
	both := must(SignHead(goodHead(t), old, next))(t)
	h, signers, err := OpenHead(both, next.Public(), old.Public())
	if err != nil || h != goodHead(t) || len(signers) != 2 || signers[0] != old.Public() || signers[1] != next.Public() {
		t.Fatalf("opened %+v by %v (%v)", h, signers, err)
	}
	if _, _, err := OpenHead(both, next.Public()); err == nil {
		t.Error("a second, unknown signature is passed over")
	}
	if _, _, err := OpenHead(both, stranger.Public()); err == nil {
		t.Error("opened with another key")
	}
	if _, _, err := OpenHead(both, "key"); err == nil {
		t.Error("opened with no key")
	}
	if _, err := SignHead(goodHead(t), stranger); err == nil {
		t.Error("signed with another shop's key")
	}
	if _, err := SignHead(goodHead(t), Key{}); err == nil {
		t.Error("signed with the zero key")
	}
	if _, err := SignHead(goodHead(t)); err == nil {
		t.Error("signed with no key")
	}
	one := must(SignHead(goodHead(t), old))(t)
	for i := range one {
		for _, bit := range []byte{1, 0x20, 0x80} {
			spoiled := []byte(string(one))
			spoiled[i] ^= bit
			if _, _, err := OpenHead(spoiled, old.Public()); err == nil {
				t.Fatalf("byte %d of the note changed by %x: opened", i, bit)
			}
		}
	}
}

// Keys in the form of the note package, checked with that package.
func TestKey(t *testing.T) {
	k := must(NewKey("oakroad", &seeded{name: "key"}))(t)
	back := must(ParseKey(" " + k.Private() + "\n"))(t)
	if back.Public() != k.Public() || back.Private() != k.Private() {
		t.Error("a key read back is another")
	}
	signer := must(note.NewSigner(k.Private()))(t)
	verifier := must(note.NewVerifier(k.Public()))(t)
	sig := must(signer.Sign([]byte("text\n")))(t)
	if signer.Name() != "milepost/oakroad" || signer.KeyHash() != verifier.KeyHash() || !verifier.Verify([]byte("text\n"), sig) {
		t.Error("the two halves do not belong together")
	}
	for _, s := range []string{fmt.Sprint(k), fmt.Sprintf("%v %+v %s %#v %x", k, k, k, k, k), fmt.Sprint(&k)} {
		if strings.Contains(s, "PRIVATE") || strings.Count(s, k.Public()) != strings.Count(s, "milepost") || !strings.Contains(s, k.Public()) {
			t.Errorf("printed as %s", s)
		}
	}
	f := must(Fingerprint(k.Public()))(t)
	if len(f) != 24 || strings.Count(f, "-") != 4 {
		t.Errorf("fingerprint %s", f)
	}
	for _, s := range []string{"", "key", k.Private(), k.Public() + "x"} {
		if _, err := Fingerprint(s); err == nil {
			t.Errorf("fingerprint of %q", s)
		}
	}
	for _, s := range []string{"", k.Public(), k.Private()[:60], strings.Replace(k.Private(), "oakroad", "elmroad", 1)} {
		if _, err := ParseKey(s); err == nil || s != "" && strings.Contains(err.Error(), s) {
			t.Errorf("private key %q: %v", s, err)
		}
	}
	if _, err := NewKey("oak road", &seeded{}); err == nil {
		t.Error("a key for no name")
	}
	if _, err := NewKey("oakroad", io.LimitReader(&seeded{}, 31)); err == nil {
		t.Error("a key out of 31 bytes")
	}
}

func TestOrigin(t *testing.T) {
	a := must(NewOrigin("oakroad", Origin{}, &seeded{name: "a"}))(t)
	b := must(NewOrigin("oakroad", a, &seeded{name: "b"}))(t)
	if b.After != a.ID || a.After != "" || !strings.HasSuffix(b.String(), "/after/"+a.ID) {
		t.Errorf("origins %s and %s", a, b)
	}
	for _, o := range []Origin{a, b} {
		if got := must(ParseOrigin(o.String()))(t); got != o {
			t.Errorf("%s parsed as %+v", o, got)
		}
	}
	if _, err := NewOrigin("elmroad", a, &seeded{}); err == nil {
		t.Error("another shop goes on from a log")
	}
	if _, err := NewOrigin("oakroad", a, io.LimitReader(&seeded{}, 15)); err == nil {
		t.Error("an origin out of 15 bytes")
	}
}
