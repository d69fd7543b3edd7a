package bot

import "time"

// Hours are when a shop is open, from and to as time since midnight in its zone;
// to before from is over midnight. The zero Hours are always.
type Hours struct {
	From, To time.Duration
}

// opens says when a shop that is shut opens next; the zero time: it is open.
func (s *shop) opens(now time.Time) time.Time {
	h := s.cfg.Hours
	if h == (Hours{}) {
		return time.Time{}
	}
	now = now.In(s.cfg.Zone)
	year, month, day := now.Date()
	// Set by the clock on the wall: a day need not have 24 hours.
	at := func(d int, of time.Duration) time.Time {
		return time.Date(year, month, day+d, 0, int(of/time.Minute), 0, 0, s.cfg.Zone)
	}
	from, to := at(0, h.From), at(0, h.To)
	switch {
	case h.From < h.To && now.Before(from), h.From > h.To && !now.Before(to) && now.Before(from):
		return from
	case h.From < h.To && !now.Before(to):
		return at(1, h.From)
	}
	return time.Time{}
}
