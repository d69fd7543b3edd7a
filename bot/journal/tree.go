package journal

import (
	"errors"
	"fmt"
	"math/bits"

	"golang.org/x/mod/sumdb/tlog"
)

// maxSize bounds tree sizes read from outside, far above any shop's log.
const maxSize = 1 << 40

// An Edge is the right edge of a tree: the roots of the complete subtrees it ends
// in, one per bit of its size. That is all an append and the root need, so a store
// keeps one in memory and reads no hash to add leaves.
//
// The zero Edge is the empty tree. It is a value: work on a copy in a transaction
// and keep the copy when the transaction is committed. It answers ReadHashes for
// the edge only.
type Edge struct {
	size int64
	node [64]tlog.Hash // node[l] valid where bit l of size is set
}

// LoadEdge reads the edge of the tree of the given size, at most 63 hashes, in one
// call of r.
func LoadEdge(size int64, r tlog.HashReader) (Edge, error) {
	e := Edge{size: size}
	if size < 0 || size > maxSize {
		return Edge{}, fmt.Errorf("load edge: size %d out of range", size)
	}
	var indexes []int64
	for l := 62; l >= 0; l-- {
		if size>>l&1 == 1 {
			indexes = append(indexes, tlog.StoredHashIndex(l, size>>l-1))
		}
	}
	if len(indexes) == 0 {
		return e, nil
	}
	hashes, err := r.ReadHashes(indexes)
	if err != nil {
		return Edge{}, fmt.Errorf("load edge: %w", err)
	}
	if len(hashes) != len(indexes) {
		return Edge{}, fmt.Errorf("load edge: asked for %d hashes, got %d", len(indexes), len(hashes))
	}
	for l, i := 62, 0; l >= 0; l-- {
		if size>>l&1 == 1 {
			e.node[l] = hashes[i]
			i++
		}
	}
	return e, nil
}

// Size is the number of leaves, which is the index the next one gets.
func (e *Edge) Size() int64 { return e.size }

// Append adds a leaf and returns the hashes to store for it, one after the other
// from tlog.StoredHashIndex(0, n) on, n the size before. The first is the leaf's
// own hash, the next leaf's Prev. It reads nothing.
func (e *Edge) Append(leaf []byte) ([]tlog.Hash, error) {
	return e.appendHash(tlog.RecordHash(leaf))
}

func (e *Edge) appendHash(h tlog.Hash) ([]tlog.Hash, error) {
	hashes, err := tlog.StoredHashesForRecordHash(e.size, h, e)
	if err != nil {
		return nil, fmt.Errorf("append leaf %d: %w", e.size, err)
	}
	// The subtrees that this leaf completed are gone from the edge, their parent
	// is the last of the new hashes.
	top := bits.TrailingZeros64(^uint64(e.size))
	e.node[top] = hashes[top]
	e.size++
	return hashes, nil
}

// Root is the tree hash of RFC 6962 section 2.1; of the empty tree, SHA-256 of
// nothing.
func (e *Edge) Root() (tlog.Hash, error) {
	return Root(e.size, e)
}

// ReadHashes implements tlog.HashReader for hashes on the edge.
func (e *Edge) ReadHashes(indexes []int64) ([]tlog.Hash, error) {
	hashes := make([]tlog.Hash, len(indexes))
	for i, index := range indexes {
		l, n := tlog.SplitStoredHashIndex(index)
		if l > 62 || e.size>>l&1 == 0 || n != e.size>>l-1 {
			return nil, fmt.Errorf("read hash %d: not on the edge of a tree of %d", index, e.size)
		}
		hashes[i] = e.node[l]
	}
	return hashes, nil
}

// Root is the hash of the tree of the first size leaves, out of stored hashes.
func Root(size int64, r tlog.HashReader) (tlog.Hash, error) {
	if size == 0 {
		return emptyRoot(), nil
	}
	h, err := tlog.TreeHash(size, r)
	if err != nil {
		return tlog.Hash{}, fmt.Errorf("tree hash of %d: %w", size, err)
	}
	return h, nil
}

// ProveLeaf is the proof that leaf index is in the tree of the given size (RFC
// 6962 section 2.1.1).
func ProveLeaf(size, index int64, r tlog.HashReader) (tlog.RecordProof, error) {
	p, err := tlog.ProveRecord(size, index, r)
	if err != nil {
		return nil, fmt.Errorf("prove leaf %d of %d: %w", index, size, err)
	}
	return p, nil
}

// ProvePrefix is the proof that the tree of size old is the beginning of the tree
// of the given size (RFC 6962 section 2.1.2). The empty tree needs none.
func ProvePrefix(size, old int64, r tlog.HashReader) (tlog.TreeProof, error) {
	if old == 0 {
		return nil, nil
	}
	p, err := tlog.ProveTree(size, old, r)
	if err != nil {
		return nil, fmt.Errorf("prove tree %d in %d: %w", old, size, err)
	}
	return p, nil
}

var errProof = errors.New("the proof does not lead there")

// CheckLeaf reports whether p proves that the tree of that size and root has a
// leaf with hash h at index.
func CheckLeaf(p tlog.RecordProof, size int64, root tlog.Hash, index int64, h tlog.Hash) error {
	if index < 0 || index >= size || size > maxSize {
		return fmt.Errorf("leaf %d is outside a tree of %d", index, size)
	}
	if tlog.CheckRecord(p, size, root, index, h) != nil {
		return errProof
	}
	return nil
}

// CheckPrefix reports whether p proves that the tree of size old and root oldRoot
// is the beginning of the other.
func CheckPrefix(p tlog.TreeProof, size int64, root tlog.Hash, old int64, oldRoot tlog.Hash) error {
	switch {
	case old < 0 || old > size || size > maxSize:
		return fmt.Errorf("a tree of %d is not the beginning of one of %d", old, size)
	case old == 0:
		if len(p) != 0 || oldRoot != emptyRoot() {
			return errProof
		}
	case tlog.CheckTree(p, size, root, old, oldRoot) != nil:
		return errProof
	}
	return nil
}
