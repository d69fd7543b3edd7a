package journal

import (
	"encoding/hex"
	"testing"

	"golang.org/x/mod/sumdb/tlog"
)

// The leaves, roots and proofs of the certificate-transparency reference
// implementation of RFC 6962 (testonly constants and merkle verifier tests of
// its Go and C++ versions), against which our trees are checked.
var (
	ctLeaves = []string{"", "00", "10", "2021", "3031", "40414243", "5051525354555657", "606162636465666768696a6b6c6d6e6f"}
	ctRoots  = []string{
		"e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855",
		"6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d",
		"fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125",
		"aeb6bcfe274b70a14fb067a5e5578264db0fa9b51af5e0ba159158f329e06e77",
		"d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
		"4e3bbb1f7b478dcfe71fb631631519a3bca12c9aefca1612bfce4c13a86264d4",
		"76e67dadbcdf1e10e1b74ddc608abd2f98dfb16fbce75277b5232a127f2087ef",
		"ddb89be403809e325750d3d263cd78929c2942b7942a34b77e122c9594a74c8c",
		"5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328",
	}
	ctLeafProofs = []struct {
		index, size int64
		proof       []string
	}{
		{0, 1, nil},
		{0, 8, []string{
			"96a296d224f285c67bee93c30f8a309157f0daa35dc5b87e410b78630a09cfc7",
			"5f083f0a1a33ca076a95279832580db3e0ef4584bdff1f54c8a360f50de3031e",
			"6b47aaf29ee3c2af9af889bc1fb9254dabd31177f16232dd6aab035ca39bf6e4"}},
		{5, 8, []string{
			"bc1a0643b12e4d2d7c77918f44e0f4f79a838b6cf9ec5b5c283e1f4d88599e6b",
			"ca854ea128ed050b41b35ffc1b87b8eb2bde461e9e3b5596ece6b9d5975a0ae0",
			"d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7"}},
	}
	ctPrefixProofs = []struct {
		old, size int64
		proof     []string
	}{
		{1, 1, nil},
		{1, 8, []string{
			"96a296d224f285c67bee93c30f8a309157f0daa35dc5b87e410b78630a09cfc7",
			"5f083f0a1a33ca076a95279832580db3e0ef4584bdff1f54c8a360f50de3031e",
			"6b47aaf29ee3c2af9af889bc1fb9254dabd31177f16232dd6aab035ca39bf6e4"}},
		{6, 8, []string{
			"0ebc5d3437fbe2db158b9f126a1d118e308181031d0a949f8dededebc558ef6a",
			"ca854ea128ed050b41b35ffc1b87b8eb2bde461e9e3b5596ece6b9d5975a0ae0",
			"d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7"}},
		{2, 5, []string{
			"5f083f0a1a33ca076a95279832580db3e0ef4584bdff1f54c8a360f50de3031e",
			"bc1a0643b12e4d2d7c77918f44e0f4f79a838b6cf9ec5b5c283e1f4d88599e6b"}},
	}
)

func hashOf(t testing.TB, s string) tlog.Hash {
	t.Helper()
	return tlog.Hash(must(hex.DecodeString(s))(t))
}

func ctTree(t testing.TB) (*Edge, *world) {
	t.Helper()
	var e Edge
	w := &world{t: t}
	for i, s := range ctLeaves {
		if root := must(e.Root())(t); root != hashOf(t, ctRoots[i]) {
			t.Fatalf("root of %d leaves is %x, want %s", i, root, ctRoots[i])
		}
		w.hashes = append(w.hashes, must(e.Append(must(hex.DecodeString(s))(t)))(t)...)
	}
	return &e, w
}

func TestRFC6962(t *testing.T) {
	e, w := ctTree(t)
	if root := must(e.Root())(t); root != hashOf(t, ctRoots[8]) {
		t.Fatalf("root of 8 leaves is %x, want %s", root, ctRoots[8])
	}
	for _, c := range ctLeafProofs {
		p := must(ProveLeaf(c.size, c.index, w))(t)
		compareProof(t, p, c.proof)
		leaf := tlog.RecordHash(must(hex.DecodeString(ctLeaves[c.index]))(t))
		if err := CheckLeaf(p, c.size, hashOf(t, ctRoots[c.size]), c.index, leaf); err != nil {
			t.Errorf("leaf %d of %d: %v", c.index, c.size, err)
		}
		if CheckLeaf(p, c.size, hashOf(t, ctRoots[c.size-1]), c.index, leaf) == nil {
			t.Errorf("leaf %d of %d: proven in another tree", c.index, c.size)
		}
	}
	for _, c := range ctPrefixProofs {
		p := must(ProvePrefix(c.size, c.old, w))(t)
		compareProof(t, p, c.proof)
		if err := CheckPrefix(p, c.size, hashOf(t, ctRoots[c.size]), c.old, hashOf(t, ctRoots[c.old])); err != nil {
			t.Errorf("tree %d in %d: %v", c.old, c.size, err)
		}
		if CheckPrefix(p, c.size, hashOf(t, ctRoots[c.size]), c.old, hashOf(t, ctRoots[c.old-1])) == nil {
			t.Errorf("tree %d in %d: another tree proven", c.old, c.size)
		}
	}
}

func compareProof(t *testing.T, got []tlog.Hash, want []string) {
	t.Helper()
	if len(got) != len(want) {
		t.Fatalf("proof of %d hashes, want %d", len(got), len(want))
	}
	for i := range got {
		if hexHash(got[i]) != want[i] {
			t.Errorf("proof hash %d is %x, want %s", i, got[i], want[i])
		}
	}
}

// Out of a store the edge is the one that was in memory, at every size.
func TestEdge(t *testing.T) {
	var e Edge
	w := &world{t: t}
	for n := range int64(200) {
		loaded := must(LoadEdge(n, w))(t)
		if loaded.size != e.size || must(loaded.Root())(t) != must(e.Root())(t) {
			t.Fatalf("edge of %d loaded is another", n)
		}
		for l := range 63 {
			if n>>l&1 == 1 && loaded.node[l] != e.node[l] {
				t.Fatalf("edge of %d: level %d loaded is another", n, l)
			}
		}
		before := e // a transaction that is given up
		must(before.Append([]byte("lost")))(t)
		leaf := []byte{byte(n)}
		want := must(tlog.StoredHashes(n, leaf, w))(t)
		got := must(e.Append(leaf))(t)
		if len(got) != len(want) {
			t.Fatalf("leaf %d: %d hashes, want %d", n, len(got), len(want))
		}
		for i := range got {
			if got[i] != want[i] {
				t.Fatalf("leaf %d: hash %d differs", n, i)
			}
		}
		w.hashes = append(w.hashes, got...)
	}
	if _, err := e.ReadHashes([]int64{0}); err == nil {
		t.Error("an edge of 200 answers for leaf 0")
	}
	if _, err := LoadEdge(500, w); err == nil {
		t.Error("an edge is loaded from hashes that are not there")
	}
	if _, err := LoadEdge(-1, w); err == nil {
		t.Error("negative size")
	}
}

func TestCheckOutOfRange(t *testing.T) {
	var h tlog.Hash
	for _, c := range []struct{ size, n int64 }{{0, 0}, {1, 1}, {1, -1}, {maxSize + 1, 0}} {
		if CheckLeaf(nil, c.size, h, c.n, h) == nil {
			t.Errorf("leaf %d of %d", c.n, c.size)
		}
	}
	for _, c := range []struct{ size, n int64 }{{1, 2}, {1, -1}, {maxSize + 1, 1}, {3, 0}} {
		if CheckPrefix(nil, c.size, h, c.n, h) == nil {
			t.Errorf("tree %d in %d", c.n, c.size)
		}
	}
	if err := CheckPrefix(nil, 3, h, 0, emptyRoot()); err != nil {
		t.Error(err)
	}
}

// One entry as the store takes it: leaf bytes, hashes, and the next leaf's Prev.
func BenchmarkAppend(b *testing.B) {
	l := goodLeaf()
	var e Edge
	b.ReportAllocs()
	for b.Loop() {
		l.Seq++
		leaf, err := l.Bytes()
		if err != nil {
			b.Fatal(err)
		}
		hashes, err := e.Append(leaf)
		if err != nil {
			b.Fatal(err)
		}
		l.Prev = hexHash(hashes[0])
	}
}
