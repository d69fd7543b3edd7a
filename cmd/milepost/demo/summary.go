package demo

import (
	"fmt"
	"math"
	"strings"
)

// Summary is what came of a play: the truth, which nobody in it knew, against
// what was decided.
type Summary struct {
	Seed       uint64
	Unit       string  // of the dash
	Rule       string  // never-under or ""
	Work       float64 // W, dash unit
	Kind       string  // what the module stores
	TrueMM     float64 // circumference at W
	Ideal      string  // the value with which the dash is true at W
	Original   string
	Stored     string // in the end
	Decision   string // of the last review
	Ended      string // how the assistant says that the job ended
	Errors     []Left
	Inputs     int
	Writes     int // as often as somebody wrote
	Taken      int // of them, those that took
	Drives     int
	Restricted bool // the ideal value can't be written
}

// Left is an error that is left at a true speed: dash minus true, dash unit.
type Left struct {
	At, True, Said, PlusMinus float64
}

func (p *player) summary() Summary {
	v, m := p.vehicle, p.main()
	s := Summary{Seed: p.seed, Unit: v.dashUnit, Rule: p.policy.Rule, Work: v.work, Kind: string(m.scale.kind), TrueMM: v.trueMM, Original: m.original(),
		Stored: m.shows(), Decision: p.facts.Decision.Do, Ended: p.endedHow, Inputs: p.lines, Writes: p.writes, Taken: v.taken, Drives: p.drives}
	ideal := v.ideal()
	if m.list != nil {
		s.Ideal = fmt.Sprintf("an entry of %.0f mm", ideal)
	} else {
		s.Ideal = figure(ideal, m.step/10)
		s.Restricted = ideal < m.min || ideal > m.max
	}
	for _, e := range p.facts.Errors {
		s.Errors = append(s.Errors, Left{At: e.At, True: v.errorAt(e.At), Said: e.After, PlusMinus: e.PlusMinus})
	}
	return s
}

// original is the factory value as shown.
func (m *module) original() string {
	if m.list != nil {
		return m.list[0].label
	}
	return m.text(m.scale.value(m.scale.mm))
}

// Lines is the summary for people.
func (s Summary) Lines() []string {
	var errs []string
	for _, e := range s.Errors {
		errs = append(errs, fmt.Sprintf("%s: %s (said %s ± %.1f)", plain(e.At), signed(e.True), signed(e.Said), e.PlusMinus))
	}
	return []string{
		fmt.Sprintf("Invented by seed %d. Nobody in the play knew:", s.Seed),
		fmt.Sprintf("  true circumference at %s %s: %.1f mm; value with the dash true there: %s", plain(s.Work), s.Unit, s.TrueMM, s.Ideal),
		fmt.Sprintf("  stored in the end: %s, from the factory: %s (%s)", s.Stored, s.Original, strings.ReplaceAll(s.Kind, "_", " ")),
		fmt.Sprintf("  dash minus true, %s, really left: %s", s.Unit, strings.Join(errs, ", ")),
		fmt.Sprintf("  %d inputs, %d writes of which %d took, %d drives", s.Inputs, s.Writes, s.Taken, s.Drives),
	}
}

func signed(v float64) string {
	if math.Abs(v) < 0.05 {
		return "0.0"
	}
	return fmt.Sprintf("%+.1f", v)
}
