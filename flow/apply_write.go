package flow

func (s *State) applyStored(f *StoredFact) {
	if f.Renames && len(s.Modules) > 0 && s.Modules[0].Name == "" {
		s.Modules[0].Name = f.Module
	}
	m := s.Module(f.Module)
	if m == nil {
		s.Modules = append(s.Modules, Module{Name: f.Module})
		m = &s.Modules[len(s.Modules)-1]
	}
	m.Kind, m.Quantity, m.Unit = f.KindName, f.Quantity, f.Unit
	m.Step, m.Min, m.Max = f.Step, f.Min, f.Max
	m.List, m.Direction, m.Question, m.Shown = f.List, f.Direction, f.Questioned, f.Shown
	if f.Which == "as_found" {
		if m.Original == f.Value {
			m.Original = Value{} // it was taken for the factory's
		}
		m.AsFound = f.Value
	} else {
		m.Original, m.Estimated = f.Value, f.Estimated
	}
	if m.WrittenSeq == 0 && m.Back.Zero() {
		// Until something is written, what is stored now is what was found.
		m.Now = m.AsFound
		if m.Now.Zero() {
			m.Now = m.Original
		}
	}
}

func (s *State) applyChange(e *Entry, f *ChangeFact) {
	if n := len(s.Changes); n > 0 && s.Changes[n-1].Number == f.Number {
		s.Changes[n-1] = *f // its read-back was typed anew
		for i := range s.Drives {
			if d := &s.Drives[i]; d.Changes == n && !d.ReadBack.Zero() && f.Module == s.mainName() && s.Module(f.Module) != nil && f.Setting != axleSetting {
				d.ReadBack = f.ReadBack
			}
		}
	} else {
		s.Changes = append(s.Changes, *f)
	}
	s.Writing = nil
	if f.Setting == otherName {
		s.applyOther(e, f)
		return // someone else's setting: no value of ours
	}
	if f.Took {
		s.Hold = nil // its release was for this write
		delete(s.Broken, f.Module)
	}
	m := s.Module(f.Module)
	if m == nil {
		return
	}
	if !f.ReadBack.Zero() {
		m.Now = f.ReadBack
	}
	if f.Took {
		m.WrittenSeq = e.Seq
	}
}

// dropWrite ends a write that a move leaves behind: one that has not begun to
// change anything when the target moved, any when recovering begins.
func (s *State) dropWrite(ev Event) {
	w := s.Writing
	if w == nil {
		if ev == EvRecover {
			s.Recovers++
			s.RecoverFrom = len(s.Changes)
		}
		return
	}
	switch {
	case ev == EvRecover:
		s.Recovers++
		s.RecoverFrom = len(s.Changes)
		if w.Word != "begun" && w.Word != "refused" {
			s.Broken[w.Module] = true
		}
		s.Writing, s.Hold = nil, nil
	case ev == EvRetarget && (w.Word == "begun" || w.Word == "refused"):
		s.Writing, s.Hold = nil, nil
	}
}

func (s *State) applyHold(e *Entry, f *HoldFact) {
	s.Self = s.Self || f.Self
	switch f.Now {
	case "asked":
		s.Hold, s.HoldAt, s.HoldFrom, s.HoldCalls = f, e.At, e.Who, 0
	case "called":
		s.HoldAt = e.At
		s.HoldCalls++
	case "released", "refused":
		if s.Hold != nil {
			s.Hold = f
		}
	}
}
