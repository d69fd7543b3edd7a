package journal

import "fmt"

// A Fault is the first thing in an export that does not hold.
type Fault struct {
	Line int64  // in the file, from 1
	Seq  int64  // entry of the job concerned, 0 if it is no entry
	What string // what is wrong with it
}

func (f *Fault) Error() string {
	if f.Seq > 0 {
		return fmt.Sprintf("entry %d (line %d) does not hold: %s", f.Seq, f.Line, f.What)
	}
	return fmt.Sprintf("line %d does not hold: %s", f.Line, f.What)
}

// A KeyError says that an export is signed by a key for which none of those given
// vouches.
type KeyError struct {
	Fingerprint string // of the key that signed
	What        string
}

func (e *KeyError) Error() string {
	return "signed by another key, fingerprint " + e.Fingerprint + ": " + e.What
}

// A NoKeyError says that an export is consistent in itself, which anyone can make
// a file be: no key was given to check it against.
type NoKeyError struct {
	Key         string // public key the file names
	Fingerprint string
}

func (e *NoKeyError) Error() string {
	return "consistent in itself; not proven: no key to check it against (fingerprint " + e.Fingerprint + ")"
}
