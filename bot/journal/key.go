package journal

import (
	"crypto/ed25519"
	"crypto/sha256"
	"encoding/base64"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"strings"

	"golang.org/x/mod/sumdb/note"
	"golang.org/x/mod/sumdb/tlog"
)

// algEd25519 is the note package's number for the one key type there is.
const algEd25519 = 1

// A Key signs a shop's heads. Printed it shows its public half only.
type Key struct {
	public string
	seed   [ed25519.SeedSize]byte
	signer note.Signer
}

// KeyName is the name of all keys of a shop, as it stands in signature lines.
func KeyName(shop string) string { return "milepost/" + shop }

// NewKey makes a key for a shop from 32 bytes of random, which must be the
// system's random source.
func NewKey(shop string, random io.Reader) (Key, error) {
	if !isName(shop) {
		return Key{}, fmt.Errorf("new key: shop %.80q is not a name", shop)
	}
	var seed [ed25519.SeedSize]byte
	if _, err := io.ReadFull(random, seed[:]); err != nil {
		return Key{}, fmt.Errorf("new key: %w", err)
	}
	return keyOf(KeyName(shop), seed)
}

// ParseKey reads a private key as [Key.Private] gives it, white space around it
// allowed. The error does not repeat the text.
func ParseKey(private string) (Key, error) {
	private = strings.TrimSpace(private)
	// PRIVATE+KEY+<name>+<hash>+<base64 of 1 and the seed>
	part := strings.SplitN(private, "+", 5)
	if _, err := note.NewSigner(private); err != nil || len(part) != 5 {
		return Key{}, errors.New("parse key: not a private signing key")
	}
	raw, err := base64.StdEncoding.DecodeString(part[4])
	if err != nil || len(raw) != 1+ed25519.SeedSize {
		return Key{}, errors.New("parse key: not a private signing key")
	}
	return keyOf(part[2], [ed25519.SeedSize]byte(raw[1:]))
}

func keyOf(name string, seed [ed25519.SeedSize]byte) (Key, error) {
	k := Key{seed: seed}
	pub := ed25519.NewKeyFromSeed(seed[:]).Public().(ed25519.PublicKey)
	var err error
	if k.public, err = note.NewEd25519VerifierKey(name, pub); err != nil {
		return Key{}, fmt.Errorf("key %s: %w", name, err)
	}
	if k.signer, err = note.NewSigner(k.Private()); err != nil {
		return Key{}, fmt.Errorf("key %s: %w", name, err)
	}
	return k, nil
}

// Public is the key to give away, in the note package's form
// <name>+<hash>+<base64>.
func (k Key) Public() string { return k.public }

// Private is the text to keep in a file of mode 0600, in the note package's form
// PRIVATE+KEY+<name>+<hash>+<base64>.
func (k Key) Private() string {
	part := strings.SplitN(k.public, "+", 3)
	raw := append([]byte{algEd25519}, k.seed[:]...)
	return "PRIVATE+KEY+" + part[0] + "+" + part[1] + "+" + base64.StdEncoding.EncodeToString(raw)
}

// Format prints the public half for every verb, %#v and %d too.
func (k Key) Format(f fmt.State, _ rune) { io.WriteString(f, k.public) }

// Fingerprint is a public key in a form for people to compare: the first 80 bits of
// SHA-256 over the 32 bytes of the Ed25519 key, in hex, as 1f2e-3d4c-5b6a-7988-0716.
func Fingerprint(public string) (string, error) {
	if _, err := note.NewVerifier(strings.TrimSpace(public)); err != nil {
		return "", fmt.Errorf("fingerprint: not a public key: %w", err)
	}
	// The note package took it, so the third part is base64 of 1 and the key.
	part := strings.SplitN(strings.TrimSpace(public), "+", 3)
	raw, err := base64.StdEncoding.DecodeString(part[2])
	if err != nil || len(raw) != 1+ed25519.PublicKeySize {
		return "", errors.New("fingerprint: not a public key")
	}
	return grouped(sha256.Sum256(raw[1:])), nil
}

// grouped prints the first 80 bits of a hash in five groups of four hex digits.
func grouped(sum [sha256.Size]byte) string {
	d := hex.EncodeToString(sum[:10])
	return d[0:4] + "-" + d[4:8] + "-" + d[8:12] + "-" + d[12:16] + "-" + d[16:20]
}

func emptyRoot() tlog.Hash { return sha256.Sum256(nil) }

// canonicalKey is a public key in its one spelling, checked to be of a shop where
// shop is not empty.
func canonicalKey(public, shop string) (string, error) {
	v, err := note.NewVerifier(public)
	if err != nil {
		return "", fmt.Errorf("not a public key: %w", err)
	}
	if shop != "" && v.Name() != KeyName(shop) {
		return "", fmt.Errorf("key of %q, not of shop %s", v.Name(), shop)
	}
	part := strings.SplitN(public, "+", 3)
	raw, err := base64.StdEncoding.Strict().DecodeString(part[2])
	if err != nil || len(raw) != 1+ed25519.PublicKeySize {
		return "", errors.New("not a public key")
	}
	// NewEd25519VerifierKey prints the hash with %08x; a spelling of our own for
	// the other two parts would be compared in vain.
	return note.NewEd25519VerifierKey(v.Name(), raw[1:])
}

// openNote checks a signed note strictly: every signature line is by one of the
// public keys and verifies, none twice, and the bytes are the only spelling of it.
// It returns the text and who signed, in the order of the lines.
func openNote(msg []byte, publics []string) (text string, signers []string, err error) {
	byHash := make(map[uint32]string, len(publics))
	verifiers := make([]note.Verifier, 0, len(publics))
	for _, p := range publics {
		v, err := note.NewVerifier(p)
		if err != nil {
			return "", nil, err
		}
		if _, twice := byHash[v.KeyHash()]; !twice {
			verifiers = append(verifiers, v)
			byHash[v.KeyHash()] = p
		}
	}
	n, err := note.Open(msg, note.VerifierList(verifiers...))
	if err != nil {
		var unverified *note.UnverifiedNoteError
		if errors.As(err, &unverified) {
			return "", nil, errForeign
		}
		return "", nil, err
	}
	if len(n.UnverifiedSigs) > 0 {
		return "", nil, errForeign
	}
	again, err := note.Sign(n)
	if err != nil || string(again) != string(msg) {
		return "", nil, errors.New("the note is not in its one form")
	}
	for _, s := range n.Sigs {
		raw, err := base64.StdEncoding.Strict().DecodeString(s.Base64)
		if err != nil || len(raw) != 4+ed25519.SignatureSize || binary.BigEndian.Uint32(raw) != s.Hash {
			return "", nil, errors.New("the signature is not in its one form")
		}
		signers = append(signers, byHash[s.Hash])
	}
	return n.Text, signers, nil
}

// errForeign is a note with a signature by a key that was not offered.
var errForeign = errors.New("signed by another key")
