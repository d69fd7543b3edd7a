package flow

import (
	"math"

	"milepost/calib"
	"milepost/calib/unit"
)

// Module is one control module that holds the value.
type Module struct {
	Name     string // "" for the only one, else engine, gearbox, brake, stability, body, transfer, cluster, other…
	Kind     string // the contract's value_kind
	Quantity string
	Unit     string

	AsFound   Value // as read before the work, zero if not read
	Original  Value // as the vehicle left the factory
	Estimated bool  // Original was worked out from the placard size
	Back      Value // what recovering puts back, settled by the first write; zero before it
	Now       Value // stored at present, as last read or written and taken
	Step      float64
	Min, Max  *float64
	List      []ListEntry
	Direction string
	Question  string // doubt about the entry: entry_unit, entry_mismatch, "" none
	Shown     string // unit in which the tool shows a length: in, cm, m; "" as in Unit

	WrittenSeq int64 // sequence of the last change that took
}

// Factory is the value the vehicle left the factory with, as well as it is
// known: the one found where nothing better is.
func (m *Module) Factory() Value {
	if !m.Original.Zero() {
		return m.Original
	}
	return m.AsFound
}

// step is what the value is rounded to: the tool's smallest step, or where it
// is not known 1, and no coarser than the value as it was read shows. An axle
// ratio is never written in whole numbers.
func (m *Module) step() float64 {
	if m.Step > 0 {
		return m.Step
	}
	step := math.Pow(10, -float64(max(unit.Decimals(m.AsFound.Num), unit.Decimals(m.Original.Num))))
	if q, ok := calib.QuantityOf(calib.AxleRatio); ok && m.Kind == string(q.Kind) {
		step = min(step, q.Step)
	}
	return step
}

// Restore is the value that recovering writes: what was told before the first
// write, once there was one.
func (m *Module) Restore() Value {
	if !m.Back.Zero() {
		return m.Back
	}
	return m.entered()
}

// entered is the original as it is told now: as found where the factory value was
// only worked out from the placard.
func (m *Module) entered() Value {
	if (m.Estimated || m.Original.Zero()) && !m.AsFound.Zero() {
		return m.AsFound
	}
	return m.Original
}

// scale is how a module's numbers turn into circumferences; kinds that know
// only ratios hang on sref.
func (m *Module) scale(sref float64) (calib.Scale, bool) {
	return calib.NewScale(calib.Kind(m.Kind), m.Factory().Num, sref, calib.Direction(m.Direction))
}

// Main is the module whose value the dash follows: the first named. Nil
// before a stored value is known.
func (s *State) Main() *Module {
	if len(s.Modules) == 0 {
		return nil
	}
	return &s.Modules[0]
}

// Module finds a module by name.
func (s *State) Module(name string) *Module {
	for i := range s.Modules {
		if s.Modules[i].Name == name {
			return &s.Modules[i]
		}
	}
	return nil
}

// Target gives the latest target of a module, nil if there is none.
func (s *State) Target(module string) *TargetFact {
	for i := len(s.Targets) - 1; i >= 0; i-- {
		if s.Targets[i].Module == module {
			return &s.Targets[i]
		}
	}
	return nil
}

func (s *State) mainName() string {
	if m := s.Main(); m != nil {
		return m.Name
	}
	return ""
}

// allOriginals says whether every module's original value is written down.
func (s *State) allOriginals() bool {
	for i := range s.Modules {
		if s.Modules[i].Original.Zero() && s.Modules[i].AsFound.Zero() {
			return false
		}
	}
	return true
}

// backedUp says whether every module that will be written has a backup.
func (s *State) backedUp() bool {
	if len(s.Modules) == 0 {
		return false
	}
	for i := range s.Modules {
		if !s.hasBackup(s.Modules[i].Name) {
			return false
		}
	}
	return true
}

// hasBackup says whether a module's original data is kept. A backup that names
// no module stands for all.
func (s *State) hasBackup(module string) bool {
	for _, b := range s.Backups {
		if b.Module == "" || b.Module == module {
			return true
		}
	}
	return false
}

// allAgree says whether no write is under way and every module reads back what
// was last meant for it.
func (s *State) allAgree() bool {
	if s.Writing != nil {
		return false
	}
	for i := range s.Modules {
		t := s.Target(s.Modules[i].Name)
		if t == nil || t.Value != s.Modules[i].Now {
			return false
		}
	}
	return len(s.Modules) > 0
}

// HalfDone says whether a set of modules has been written in part.
func (s *State) HalfDone() bool {
	if len(s.Modules) < 2 {
		return false
	}
	done := 0
	for i := range s.Modules {
		if t := s.Target(s.Modules[i].Name); t != nil && t.Value == s.Modules[i].Now {
			done++
		}
	}
	return s.Writes() > 0 && done > 0 && done < len(s.Modules)
}

// inUnit is a step or limit, typed as the tool shows it, in the module's unit.
func (m *Module) inUnit(v float64) float64 {
	if m.Shown == "in" {
		return round(v*unit.MillimetresPerInch, 6)
	}
	return v
}
