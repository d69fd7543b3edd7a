package flow

import (
	"strings"
	"time"

	"milepost/flow/words"
)

// card shows the job in a few lines; adapters edit it in place.
func (t *turn) card(r Role, to []Who) {
	text := CardText(t.s, t.env.Policy, t.env.Now, RegisterOf(r) == Plain)
	t.post(Card, r, to, text, "card", nil, 0)
}

// CardText is the card of a job: vehicle, who, phase, waiting on whom, last
// value and flags. Plain asks for plain words.
func CardText(s *State, p Policy, now time.Time, plain bool) string {
	t := &turn{s: s, env: &Env{Now: now, Policy: p.Sound()}, m: &Message{}}
	args := words.Args{
		"Vehicle": s.Vehicle, "Job": s.Job, "Who": t.nameOf(s.Owner), "Phase": catalogue().Say("phase."+string(s.Phase), plain, nil),
		"Waiting": t.waitingOn(plain), "Value": t.lastValue(), "Original": "", "Paused": s.Paused,
	}
	if s.Vehicle == "" {
		args["Vehicle"] = catalogue().Say("card.no-vehicle", plain, nil)
	}
	if m := s.Main(); m != nil && !m.Restore().Zero() {
		args["Original"] = withUnit(m, m.Restore())
	}
	var flags []string
	for _, f := range Flags(s, p, now) {
		flags = append(flags, catalogue().Say("flag."+f, plain, nil))
	}
	args["Flags"] = strings.Join(flags, ", ")
	return catalogue().Say("card.text", plain, args)
}

// CardLine is one line about a job, for a list of jobs.
func CardLine(s *State, p Policy, now time.Time) string {
	t := &turn{s: s, env: &Env{Now: now, Policy: p.Sound()}, m: &Message{}}
	parts := []string{s.Job}
	if s.Vehicle != "" {
		parts = append(parts, s.Vehicle)
	}
	parts = append(parts, string(s.Phase))
	if w := t.waitingOn(false); w != "" {
		parts = append(parts, w)
	}
	if v := t.lastValue(); v != "" {
		parts = append(parts, v)
	}
	if f := Flags(s, p, now); len(f) > 0 {
		var said []string
		for _, flag := range f {
			said = append(said, catalogue().Say("flag."+flag, false, nil))
		}
		parts = append(parts, strings.Join(said, ", "))
	}
	return strings.Join(parts, " · ")
}

// waitingOn says whom the job waits for, "" where for nobody.
func (t *turn) waitingOn(plain bool) string {
	switch s := t.s; {
	case s.Phase == PhaseClosed:
		return ""
	case s.Driving():
		return catalogue().Say("card.driving", plain, nil)
	case s.Asked != nil && s.Asked.To != "":
		return t.nameOfRole(s.Asked.To)
	case s.Asked != nil:
		return t.nameOf(s.Owner)
	}
	return ""
}

func (t *turn) lastValue() string {
	if m := t.s.Main(); m != nil && !m.Now.Zero() {
		return withUnit(m, m.Now)
	}
	return ""
}

// Flag names, as the board shows them.
const (
	FlagWaived    = "waived"
	FlagNewCodes  = "new_codes"
	FlagDeviation = "deviation"
	FlagHalfDone  = "half_done"
	FlagBrokenOff = "broke_off"
	FlagLimits    = "outside_limits"
	FlagWrites    = "many_writes"
	FlagClock     = "clock"
	FlagIdle      = "idle"
	FlagStated    = "stated"
	FlagSelf      = "self"
	FlagLamps     = "lamps"
)

// Flags lists what the board shows of a job beside its line, the worst first.
func Flags(s *State, p Policy, now time.Time) (flags []string) {
	add := func(name string, on bool) {
		if on {
			flags = append(flags, name)
		}
	}
	w := s.Writing
	add(FlagBrokenOff, w != nil && (w.Word == "broke_off" || w.Word == "no_answer") || len(s.Broken) > 0)
	last := s.LastCodes()
	add(FlagLamps, last != nil && stops(last.Lamps))
	add(FlagNewCodes, last != nil && last.upsets())
	add(FlagHalfDone, s.HalfDone())
	add(FlagDeviation, len(s.Deviations) > 0)
	add(FlagWaived, s.Waived)
	limited := false
	for i := range s.Modules {
		if g := s.Target(s.Modules[i].Name); g != nil && g.Limited != "" {
			limited = true
		}
	}
	add(FlagLimits, limited)
	add(FlagWrites, s.Writes() >= 3)
	add(FlagClock, s.ClockBack)
	add(FlagIdle, s.Phase != PhaseClosed && !s.Since.IsZero() && now.Sub(s.Since) > p.Sound().Idle)
	add(FlagSelf, s.Self)
	add(FlagStated, s.Stated)
	return flags
}
