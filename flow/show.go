package flow

import "sort"

// show puts the facts of the contract that an entry brings beside the next
// reply. Where a turn brings several of one name, the name has the latest and
// "all" lists them in order.
func (t *turn) show(e *Entry) {
	name, v := shown(e, t.s)
	if name == "" {
		return
	}
	if t.facts == nil {
		t.facts = map[string]any{}
	}
	if old, ok := t.facts[name]; ok {
		all, _ := t.facts["all"].(map[string][]any)
		if all == nil {
			all = map[string][]any{}
			t.facts["all"] = all
		}
		if len(all[name]) == 0 {
			all[name] = []any{old}
		}
		all[name] = append(all[name], v)
	}
	t.facts[name] = v
}

// shown gives an entry's fact under its name in the contract, "" if the
// contract has none for it.
func shown(e *Entry, s *State) (string, any) {
	switch f := e.Fact.(type) {
	case *VINFact:
		return "vin", map[string]any{"text": e.Item(ItemVIN), "check": f.Check}
	case *OdometerFact:
		return "odometer", map[string]any{"value": f.Value, "unit": f.Unit}
	case *CodesFact:
		if f.When == whileDriving {
			return "", nil
		}
		c := *f
		c.List, c.New, c.Lamps = list(c.List), list(c.New), list(c.Lamps)
		return "codes", c
	case *SizeFact:
		return "size", f
	case *StoredFact:
		if f.Quantity == "" {
			return "", nil // held back until it is known what the figure is
		}
		return "stored", f
	case *BackupFact:
		b := map[string]any{}
		if f.Module != "" {
			b["module"] = f.Module
		}
		if f.Attested {
			b["attested"] = e.Item(ItemWhere)
		} else {
			b["name"], b["bytes"], b["sha256"] = e.Item(ItemFile), f.Bytes, e.Item(ItemSHA256)
		}
		return "backup", b
	case *TargetFact:
		return "target", f
	case *ChangeFact:
		return "change", f
	case *ReadingFact:
		return "reading", f
	case *StruckFact:
		for i := range s.Readings {
			if s.Readings[i].Number == f.Number {
				r := s.Readings[i]
				return "reading", &r
			}
		}
	case *ErrorsFact:
		return "errors", f.Errors
	case *DecisionFact:
		d := map[string]any{"do": f.Do, "because": f.Because}
		if !f.Value.Zero() {
			d["value"] = f.Value
		}
		if f.Near > 0 {
			d["near"] = f.Near
		}
		return "decision", d
	case *GateFact:
		return "gate", f
	}
	return "", nil
}

// list gives an empty list in place of none, as the contract shows lists.
func list(l []string) []string {
	if l == nil {
		return []string{}
	}
	return l
}

func sortWho(w []Who) { sort.Slice(w, func(i, j int) bool { return w[i] < w[j] }) }
