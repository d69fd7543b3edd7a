package journal

import "golang.org/x/mod/sumdb/tlog"

func (v *verifier) entry(e *entryLine) error {
	if v.seq >= MaxEntries {
		return v.entryFault("more than %d entries", MaxEntries)
	}
	l, err := Parse([]byte(e.Leaf))
	switch {
	case err != nil:
		return v.entryFault("%v", err)
	case l.Shop != v.of.Shop:
		return v.entryFault("it is of shop %s", l.Shop)
	case l.Job != v.of.Job:
		return v.entryFault("it is of job %s", l.Job)
	case l.Seq > v.seq+1:
		return v.entryFault("it is missing, entry %d stands in its place", l.Seq)
	case l.Seq <= v.seq:
		return v.entryFault("entry %d stands here again", l.Seq)
	case l.Prev != v.last:
		return v.entryFault("the entry before is not the one it names")
	case v.seq > 0 && e.Index <= v.index:
		return v.entryFault("its place in the tree is not after the entry before")
	}
	h := tlog.RecordHash([]byte(e.Leaf))
	if err := CheckLeaf(e.Proof, v.head.Size, v.head.Root, e.Index, h); err != nil {
		return v.entryFault("not in the tree of the signed head: %v", err)
	}
	if v.of.WithoutPeople && len(e.Items) > 0 {
		return v.entryFault("it has items in an export without people")
	}
	label := ""
	for _, il := range e.Items {
		it, err := il.item()
		switch {
		case err != nil:
			return v.entryFault("item %q: %v", il.Label, err)
		case it.Label <= label:
			return v.entryFault("item %q: twice or out of order", il.Label)
		case l.Items[it.Label] == "":
			return v.entryFault("item %q: the entry has none of that label", il.Label)
		case l.Items[it.Label] != it.Hash():
			return v.entryFault("item %q: content or salt is not what the entry was made with", il.Label)
		}
		label = it.Label
	}
	if v.seq == 0 {
		v.sum.First = l.Time
	}
	v.sum.Last = l.Time
	v.sum.Items += len(e.Items)
	v.sum.Absent += len(l.Items) - len(e.Items)
	v.seq, v.index, v.last = v.seq+1, e.Index, hexHash(h)
	return nil
}
