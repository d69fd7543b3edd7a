package flow

import (
	"strconv"

	"milepost/flow/understand"
	"milepost/flow/words"
)

// which finds the readings meant: by their pairs, by what they are counted as,
// by a figure, as the last, or the one that is in doubt. None, and unclear
// where there is more than one way to take it: a reading that was not meant
// must not go.
func (t *turn) which(arg string) (rs []*ReadingFact, unclear bool) {
	if len(t.s.Readings) == 0 {
		return nil, false
	}
	if arg == "" {
		return []*ReadingFact{t.s.atHand(t.s.Asked)}, false
	}
	if ms, _ := understand.Readings(arg, t.context()); len(ms) > 0 {
		for _, m := range ms {
			r := t.s.byPair(m.Value)
			if r == nil {
				return nil, false
			}
			rs = append(rs, r)
		}
		return rs, false
	}
	w, ok := understand.ReadWhich(arg)
	if !ok {
		return nil, true
	}
	if !w.Any() {
		return []*ReadingFact{t.s.atHand(t.s.Asked)}, false
	}
	rs, ok = t.s.named(w)
	if !ok {
		return nil, true
	}
	for _, r := range rs {
		if r == nil {
			return nil, false
		}
	}
	return rs, false
}

// sayWhich says that nothing was changed, and how to name a reading.
func (t *turn) sayWhich(arg string, unclear bool) {
	if !unclear {
		t.understood("mend.which", nil)
		return
	}
	var pairs []string
	last := pairText(&t.s.Readings[len(t.s.Readings)-1])
	for i := range t.s.Readings {
		if r := &t.s.Readings[i]; !r.Struck {
			last = pairText(r)
			pairs = append(pairs, last)
		}
	}
	const most = 12
	pairs = pairs[max(0, len(pairs)-most):]
	t.understood("mend.unclear", words.Args{"Said": short(arg), "Pairs": joinAnd(pairs), "Last": last})
}

// atHand is the reading meant by "that": the one asked about, else one in
// doubt, else the last.
func (s *State) atHand(asked *AskedFact) *ReadingFact {
	if asked != nil && asked.Question == QDoubt {
		if n, err := strconv.Atoi(asked.About); err == nil && n >= 1 && n <= len(s.Readings) {
			return &s.Readings[n-1]
		}
	}
	for i := len(s.Readings) - 1; i >= 0; i-- {
		if s.Readings[i].Questioned {
			return &s.Readings[i]
		}
	}
	return &s.Readings[len(s.Readings)-1]
}

// byPair is the latest reading of a pair, one that counts first; nil: none.
func (s *State) byPair(p understand.Reading) (r *ReadingFact) {
	for i := range s.Readings {
		x := &s.Readings[i]
		if x.Indicated == p.Indicated && x.Reference == p.Reference && (r == nil || r.Struck || !x.Struck) {
			r = x
		}
	}
	return r
}

// named finds what was named in words; false where that can be taken in more
// than one way, nil in the list where there is no such reading.
func (s *State) named(w understand.Which) (rs []*ReadingFact, ok bool) {
	all, counted, doubted := s.ofDrive(0), []*ReadingFact{}, []*ReadingFact{}
	for _, r := range all {
		if !r.Struck {
			counted = append(counted, r)
		}
		if r.Questioned && !r.Struck {
			doubted = append(doubted, r)
		}
	}
	last := s.ofDrive(s.Readings[len(s.Readings)-1].Drive)
	one := len(last) == len(all) // only one drive has readings
	switch {
	case w.All:
		return counted, one && len(counted) > 0 && (len(doubted) == 0 || len(doubted) == len(counted))
	case w.Both && len(doubted) == 2:
		return doubted, true
	case w.Both:
		return counted, len(counted) == 2 && len(doubted) == 0
	case w.Wrong:
		return doubted, len(doubted) == 1
	case w.Last == 1:
		return all[len(all)-1:], true
	case w.Last > 0:
		return counted[len(counted)-min(w.Last, len(counted)):], len(counted) >= w.Last
	case w.First > 0:
		return counted[:min(w.First, len(counted))], one && len(counted) >= w.First
	case len(w.Count) > 0:
		for _, n := range w.Count {
			r, ok := s.numbered(n)
			if !ok {
				return nil, false
			}
			rs = append(rs, r)
		}
		return rs, true
	}
	for _, n := range w.Figures {
		r, ok := s.figured(n, w)
		if !ok {
			return nil, false
		}
		rs = append(rs, r)
	}
	return rs, true
}

// figured finds a reading by a bare figure: its number, else what the dash or
// the GPS showed; false where more than one has it.
func (s *State) figured(n int, w understand.Which) (*ReadingFact, bool) {
	if r, ok := s.numbered(n); !w.Dash && !w.GPS && (r != nil || !ok) {
		return r, ok
	}
	var found []*ReadingFact
	for _, r := range s.ofDrive(0) {
		if !r.Struck && (!w.GPS && r.Indicated == float64(n) || !w.Dash && r.Reference == float64(n)) {
			found = append(found, r)
		}
	}
	switch len(found) {
	case 0:
		return nil, true
	case 1:
		return found[0], true
	}
	return nil, false
}

// numbered is the nth reading; false where that is one of the job and another
// of the last drive.
func (s *State) numbered(n int) (*ReadingFact, bool) {
	last := s.ofDrive(s.Readings[len(s.Readings)-1].Drive)
	r, here := at(s.ofDrive(0), n), at(last, n)
	return r, here == nil || here == r
}

// ofDrive lists a drive's readings in order, all of them with 0.
func (s *State) ofDrive(drive int) (rs []*ReadingFact) {
	for i := range s.Readings {
		if drive == 0 || s.Readings[i].Drive == drive {
			rs = append(rs, &s.Readings[i])
		}
	}
	return rs
}

// at is the nth of a list, nil where it is shorter.
func at(rs []*ReadingFact, n int) *ReadingFact {
	if n < 1 || n > len(rs) {
		return nil
	}
	return rs[n-1]
}
