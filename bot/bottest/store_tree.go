package bottest

import (
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"math/rand/v2"
	"testing"

	"golang.org/x/mod/sumdb/tlog"

	"milepost/bot"
	"milepost/bot/journal"
)

var treeTests = []storeTest{
	{"empty", treeEmpty},
	{"as it grows", treeGrows},
	{"proofs", treeProofs},
	{"of its moment", treeMoment},
	{"many hashes", treeMany},
	{"heads", treeHeads},
}

// treeHash is RFC 6962 section 2.1 as it stands there: another way to the root
// than the stored hashes.
func treeHash(leaves [][]byte) tlog.Hash {
	switch n := len(leaves); n {
	case 0:
		return sha256.Sum256(nil)
	case 1:
		return sha256.Sum256(append([]byte{0}, leaves[0]...))
	default:
		k := 1
		for 2*k < n {
			k *= 2
		}
		l, r := treeHash(leaves[:k]), treeHash(leaves[k:])
		return sha256.Sum256(append(append([]byte{1}, l[:]...), r[:]...))
	}
}

func rootOf(t testing.TB, tree bot.TreeReader, size int64) tlog.Hash {
	t.Helper()
	h, err := journal.Root(size, tree)
	must(t, err)
	return h
}

// leavesOf gives a shop's leaves in the order of the tree, out of its jobs, and
// complains of a gap.
func leavesOf(t testing.TB, s bot.Store, logs ...*Log) [][]byte {
	t.Helper()
	ctx := context.Background()
	size := get(s.Tree(ctx, logs[0].Shop))(t).Size()
	leaves := make([][]byte, size)
	for _, l := range logs {
		prev := ""
		entries := get(s.Entries(ctx, l.Shop, l.Job, 0))(t)
		for i, e := range entries {
			leaf, err := journal.Parse(e.Bytes)
			must(t, err)
			if e.Seq != int64(i)+1 || leaf.Seq != e.Seq || leaf.Prev != prev {
				t.Fatalf("%s: entry %d has sequence %d, leaf %d", l.Job, i+1, e.Seq, leaf.Seq)
			}
			prev = journal.Hash(e.Bytes)
			if e.Index < 0 || e.Index >= size || leaves[e.Index] != nil {
				t.Fatalf("%s/%d: index %d of %d is not its own", l.Job, e.Seq, e.Index, size)
			}
			leaves[e.Index] = e.Bytes
		}
	}
	for i, l := range leaves {
		if l == nil {
			t.Fatalf("no entry is at %d of %d", i, size)
		}
	}
	return leaves
}

// checkTree recomputes a shop's tree from its entries. Logs are all its jobs.
func checkTree(t testing.TB, s bot.Store, logs ...*Log) {
	t.Helper()
	leaves := leavesOf(t, s, logs...)
	tree := get(s.Tree(context.Background(), logs[0].Shop))(t)
	if got := rootOf(t, tree, tree.Size()); got != treeHash(leaves) {
		t.Errorf("root of %d leaves is %v, recomputed %v", tree.Size(), got, treeHash(leaves))
	}
}

func treeEmpty(t *testing.T, s bot.Store) {
	tree := get(s.Tree(context.Background(), "north"))(t)
	if tree.Size() != 0 || rootOf(t, tree, 0) != treeHash(nil) {
		t.Errorf("empty tree: size %d", tree.Size())
	}
	if _, err := tree.ReadHashes([]int64{0}); err == nil {
		t.Error("a hash of an empty tree was read")
	}
}

func treeGrows(t *testing.T, s bot.Store) {
	ctx := context.Background()
	logs := []*Log{NewLog("north", "aaa"), NewLog("north", "bbb"), NewLog("north", "ccc")}
	rng := rand.New(rand.NewPCG(1, 2))
	var leaves [][]byte
	for range 40 {
		l := logs[rng.IntN(len(logs))]
		b := l.Batch(rng.IntN(5))
		commit(t, s, l, b)
		for _, leaf := range b.Leaves {
			leaves = append(leaves, leaf.Bytes)
		}
		tree := get(s.Tree(ctx, "north"))(t)
		if tree.Size() != int64(len(leaves)) {
			t.Fatalf("size %d, want %d", tree.Size(), len(leaves))
		}
		if got := rootOf(t, tree, tree.Size()); got != treeHash(leaves) {
			t.Fatalf("root of %d leaves is not that of the leaves", len(leaves))
		}
	}
	checkTree(t, s, logs...)
	// All hashes there are, and none beyond.
	tree := get(s.Tree(ctx, "north"))(t)
	end := tlog.StoredHashIndex(0, tree.Size())
	var edge journal.Edge
	next := int64(0)
	for _, leaf := range leaves {
		hashes, err := edge.Append(leaf)
		must(t, err)
		for _, h := range hashes {
			if got := get(tree.ReadHashes([]int64{next}))(t); got[0] != h {
				t.Fatalf("hash %d is not the one computed", next)
			}
			next++
		}
	}
	if next != end {
		t.Fatalf("%d hashes, want %d", next, end)
	}
	if _, err := tree.ReadHashes([]int64{end}); err == nil {
		t.Error("a hash beyond the tree was read")
	}
}

func treeProofs(t *testing.T, s bot.Store) {
	ctx := context.Background()
	l := NewLog("north", "job")
	for range 9 {
		commit(t, s, l, l.Batch(3))
	}
	leaves := leavesOf(t, s, l)
	tree := get(s.Tree(ctx, "north"))(t)
	size, root := tree.Size(), treeHash(leaves)
	for i, leaf := range leaves {
		p, err := journal.ProveLeaf(size, int64(i), tree)
		must(t, err)
		if err := journal.CheckLeaf(p, size, root, int64(i), tlog.RecordHash(leaf)); err != nil {
			t.Errorf("leaf %d: %v", i, err)
		}
		pp, err := journal.ProvePrefix(size, int64(i), tree)
		must(t, err)
		if err := journal.CheckPrefix(pp, size, root, int64(i), treeHash(leaves[:i])); err != nil {
			t.Errorf("prefix %d: %v", i, err)
		}
	}
}

// treeMoment: what is added later is not in a tree that was asked for before.
func treeMoment(t *testing.T, s bot.Store) {
	ctx := context.Background()
	l := NewLog("north", "job")
	commit(t, s, l, l.Batch(3))
	tree := get(s.Tree(ctx, "north"))(t)
	root := rootOf(t, tree, 3)
	commit(t, s, l, l.Batch(5))
	if tree.Size() != 3 || rootOf(t, tree, 3) != root {
		t.Errorf("the tree of before has grown to %d", tree.Size())
	}
}

// treeMany reads hashes as an export does: many, in order, and in none.
func treeMany(t *testing.T, s bot.Store) {
	ctx := context.Background()
	l := NewLog("north", "job")
	for range 10 {
		commit(t, s, l, l.Batch(13))
	}
	leaves := leavesOf(t, s, l)
	tree := get(s.Tree(ctx, "north"))(t)
	var in, mixed []int64
	for i := range leaves {
		in = append(in, tlog.StoredHashIndex(0, int64(i)))
	}
	for i, h := range get(tree.ReadHashes(in))(t) {
		if h != tlog.RecordHash(leaves[i]) {
			t.Fatalf("leaf hash %d is another's", i)
		}
	}
	rng := rand.New(rand.NewPCG(3, 4))
	for range 64 {
		mixed = append(mixed, rng.Int64N(tlog.StoredHashIndex(0, tree.Size())))
	}
	for i, h := range get(tree.ReadHashes(mixed))(t) {
		if one := get(tree.ReadHashes(mixed[i : i+1]))(t); one[0] != h {
			t.Fatalf("hash %d differs when read among others", mixed[i])
		}
	}
	if got := get(tree.ReadHashes(nil))(t); len(got) != 0 {
		t.Errorf("%d hashes for none asked", len(got))
	}
}

// signedHead signs a head of a shop's tree, with a key made for the test.
func signedHead(t testing.TB, s bot.Store, shop string, size int64) []byte {
	t.Helper()
	random := rand.NewChaCha8([32]byte{1})
	key, err := journal.NewKey(shop, random)
	must(t, err)
	origin, err := journal.NewOrigin(shop, journal.Origin{}, random)
	must(t, err)
	tree := get(s.Tree(context.Background(), shop))(t)
	note, err := journal.SignHead(journal.Head{Origin: origin, Size: size, Root: rootOf(t, tree, size), Time: day(0).Format(journal.TimeLayout)}, key)
	must(t, err)
	return note
}

// SignedHead is a head over all of a shop's tree, signed with a key made for it.
func SignedHead(t testing.TB, s bot.Store, shop string) bot.Head {
	t.Helper()
	size := get(s.Tree(context.Background(), shop))(t).Size()
	return bot.Head{Size: size, Note: string(signedHead(t, s, shop, size)), Time: day(0)}
}

func treeHeads(t *testing.T, s bot.Store) {
	ctx := context.Background()
	l := NewLog("north", "job")
	commit(t, s, l, l.Batch(9))
	var want []bot.Head
	for _, size := range []int64{2, 5, 9} {
		want = append(want, bot.Head{Size: size, Note: string(signedHead(t, s, "north", size)), Time: day(int(size))})
	}
	other := bot.Head{Size: 5, Note: want[1].Note + "more\n", Time: day(6)}
	for _, h := range []bot.Head{want[1], want[2], other, want[0], want[1]} {
		must(t, s.SaveHead(ctx, "north", h))
	}
	want = []bot.Head{want[0], want[1], other, want[2]}
	equal(t, "heads", get(s.Heads(ctx, "north"))(t), want)
	equal(t, "heads of another shop", get(s.Heads(ctx, "south"))(t), nil)
	ended, cancel := context.WithCancel(ctx)
	cancel()
	if _, err := s.Tree(ended, "north"); err != nil && !errors.Is(err, context.Canceled) {
		t.Error(fmt.Errorf("tree for a caller who has given up: %w", err))
	}
}
