package journal

import "golang.org/x/mod/sumdb/tlog"

func (v *verifier) addHashes(l *hashesLine) error {
	if v.hashes == nil {
		v.hashes = new(Edge)
	}
	n := int64(len(l.Hash) / tlog.HashSize)
	if len(l.Hash)%tlog.HashSize != 0 || l.From != v.hashes.size || n != min(hashesPerLine, v.head.Size-l.From) {
		return v.fault("leaf hashes: not the next ones of the tree")
	}
	for i := range n {
		if _, err := v.hashes.appendHash(tlog.Hash(l.Hash[i*tlog.HashSize:][:tlog.HashSize])); err != nil {
			return v.fault("leaf hashes: %v", err)
		}
		if v.wanted(v.hashes.size) {
			root, err := v.hashes.Root()
			if err != nil {
				return v.fault("leaf hashes: %v", err)
			}
			// Held back until the whole is seen to lead to the signed root.
			v.roots = append(v.roots, provenRoot{v.hashes.size, root})
		}
	}
	if v.hashes.size < v.head.Size {
		return nil
	}
	root, err := v.hashes.Root()
	if err != nil || root != v.head.Root {
		return v.fault("leaf hashes: they do not give the root of the signed head")
	}
	for _, p := range v.roots {
		v.proven(p.size, p.root)
	}
	return nil
}

func (v *verifier) addSeen(l *seenLine) error {
	if err := CheckPrefix(l.Proof, v.head.Size, v.head.Root, l.Size, l.Root); err != nil {
		return v.fault("head of %d: %v", l.Size, err)
	}
	v.proven(l.Size, l.Root)
	return nil
}

func (v *verifier) wanted(size int64) bool {
	if v.prev != nil && v.prev.size == size {
		return true
	}
	for _, s := range v.seen {
		if s.size == size {
			return true
		}
	}
	return false
}

func (v *verifier) proven(size int64, root tlog.Hash) {
	if v.prev != nil {
		v.prev.proven(size, root)
	}
	for _, s := range v.seen {
		s.proven(size, root)
	}
}

type provenRoot struct {
	size int64
	root tlog.Hash
}
