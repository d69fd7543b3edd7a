// Package journal is the log as evidence: the bytes of an entry, the tree over
// all entries of a shop, signed tree heads, the export of one job with its
// proofs, and the check of such an export by someone who has only the file and
// the shop's public key.
//
// It knows hashes, not tyres. It has no clock, no randomness and no files of its
// own: times are passed in as text, random bytes and streams as io.Reader and
// io.Writer. Storing, deleting and asking who may do so are the business of
// others; see [Source] for all that is asked of a store.
//
// # From an entry to a paper somebody holds
//
//	Leaf ──Bytes──▶ leaf bytes (RFC 8785) ──Edge.Append──▶ hashes to store
//	 │ Prev: hash of the job's previous leaf                 │ RFC 6962 tree
//	 │ Items: label → SHA-256(label 0 salt content)          ▼
//	 │        content and salt lie elsewhere, erasable     Head ──SignHead──▶ note
//	 ▼                                                       │ short form on
//	Export.Write ──▶ file ──▶ Verify ◀── public key,         ▼ sheet, thread, digest
//	                                     heads seen earlier
//
// # What holds what
//
// A leaf cannot be changed, because its hash is proven to be in the tree under a
// signed head. One cannot be dropped, added or moved, because leaves of a job
// carry a sequence and the previous leaf's hash, and a signed statement says how
// many there are and which is the last. No byte of an export can be changed,
// because the statement covers all lines before it. A whole log cannot be
// rewritten unseen while somebody holds an earlier head. Against someone who
// holds the key and all copies of the heads there is no proof.
//
// # Keys
//
// A shop has one tree and one Ed25519 key, in the form of golang.org/x/mod's
// sumdb/note, named milepost/<shop>. A change of key is an entry of the shop
// ([KeyChange]); the first head over it is signed with both keys, and an export
// carries that chain. Where the old key was lost the entry says so and the chain
// is broken there: only keys after the break vouch for later heads.
//
// # Names
//
// Shop, job, role, kind and person number are short identifiers of the letters
// A-Z a-z, digits and . _ - (at most 64): they stand in signed lines, and none of
// them may hold what a person typed.
package journal
