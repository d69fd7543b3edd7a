package demo

import (
	"slices"
	"strings"

	"milepost/flow"
)

// rule is one thing that somebody knows to answer: how the question is known,
// by its phase, its choices and its words, and what is answered. No lines: it
// was not that question after all.
type rule struct {
	phases  []flow.Phase // none: any
	choices []string     // all of these are offered
	words   []string     // one of these stands in the text; none: any text
	answer  func(*player, *flow.Reply) []line
}

func (k *rule) fits(r *flow.Reply) bool {
	if len(k.phases) > 0 && !slices.Contains(k.phases, r.Phase) {
		return false
	}
	ids := choiceIDs(r)
	for _, c := range k.choices {
		if !slices.Contains(ids, c) {
			return false
		}
	}
	text := strings.ToLower(r.Text)
	return len(k.words) == 0 || slices.ContainsFunc(k.words, func(w string) bool { return strings.Contains(text, w) })
}

// in is a list of phases.
func in(ps ...flow.Phase) []flow.Phase { return ps }

// known is the table of what people know to answer; the first that fits counts.
var known = []rule{
	{phases: in(flow.PhaseOpen), choices: []string{"bay", "home"}, answer: says(func(p *player) string {
		if p.home {
			return "at home"
		}
		return "bay"
	})},
	{phases: in(flow.PhaseOpen), words: []string{"odometer", "mileage counter"}, answer: says(func(p *player) string { return p.odometerText() })},
	{phases: in(flow.PhaseOpen), choices: []string{"yes", "no"}, words: []string{"tachograph"}, answer: words("no")},
	{phases: in(flow.PhaseOpen), words: []string{"vehicle"}, answer: says(func(p *player) string { return p.name })},

	{phases: in(flow.PhaseBefore), choices: []string{"all_yes"}, answer: says(func(p *player) string { return "all yes " + figure(p.volts, 0.1) })},
	{phases: in(flow.PhaseBefore), words: []string{"volts"}, answer: says(func(p *player) string { return figure(p.volts, 0.1) })},

	{phases: in(flow.PhaseFactory), choices: []string{"yes_both"}, answer: (*player).onlyModule},
	{phases: in(flow.PhaseFactory), choices: []string{"up", "down"}, answer: says(func(p *player) string {
		if p.main().scale.kind == percentDown {
			return "lower"
		}
		return "higher"
	})},
	{phases: in(flow.PhaseFactory), words: []string{"each module", "each place"}, answer: (*player).nameModules},
	{phases: in(flow.PhaseFactory), words: []string{"sizes the tool offers"}, answer: says((*player).offered)},
	{phases: in(flow.PhaseFactory), choices: []string{"not_known"}, words: []string{"step", "smallest"}, answer: says(func(p *player) string {
		if p.main().told {
			return p.main().limits()
		}
		return "not known"
	})},
	{phases: in(flow.PhaseFactory), words: []string{"what is it?", "what does your tool call it"}, answer: says(func(p *player) string { return p.main().scale.kind.unit() })},
	{phases: in(flow.PhaseFactory), words: []string{"and the value in the module"}, answer: says(func(p *player) string { return p.placard + ", " + p.storedText() })},
	{phases: in(flow.PhaseFactory), words: []string{"placard?", "sticker in the door"}, answer: says(func(p *player) string { return p.placard })},
	{phases: in(flow.PhaseFactory), words: []string{"value in the module", "number does your tool show", "type the value again"}, answer: says(func(p *player) string { return p.storedText() })},
	{phases: in(flow.PhaseFactory), choices: []string{"yes", "no"}, words: []string{"is it?"}, answer: words("no")},

	{phases: in(flow.PhaseBackup), choices: []string{"values_noted"}, answer: words("values noted")},
	{phases: in(flow.PhaseBackup), answer: (*player).keep},

	{phases: in(flow.PhaseFitted), choices: []string{"as_new"}, answer: says(func(p *player) string { return p.tread })},
	{phases: in(flow.PhaseFitted), choices: []string{"placard"}, answer: says(func(p *player) string { return p.pressure })},
	{phases: in(flow.PhaseFitted), choices: []string{"unchanged"}, answer: words("unchanged")},
	{phases: in(flow.PhaseFitted), choices: []string{"noted"}, answer: tap("noted")},
	{phases: in(flow.PhaseFitted), choices: []string{"yes", "no"}, answer: words("yes")},
	{phases: in(flow.PhaseFitted), words: []string{"which load"}, answer: words("not known")},
	{phases: in(flow.PhaseFitted), words: []string{"speed symbol", "stands behind the size"}, answer: words("not known")},
	{phases: in(flow.PhaseFitted), words: []string{"what is on it now", "tyre size is on it now"}, answer: (*player).describe},

	{phases: in(flow.PhaseTarget), choices: []string{"drive_first", "write"}, answer: says(func(p *player) string {
		if p.driveFirst {
			return "drive first"
		}
		return "write"
	})},
	{phases: in(flow.PhaseTarget), choices: []string{"drive_first"}, answer: words("drive first")},

	{choices: []string{"release"}, answer: (*player).release},
	{choices: []string{"took", "recover"}, words: []string{"recover now", "to the old number now"}, answer: tap("recover")},
	{choices: []string{"took"}, answer: (*player).write},
	{phases: in(flow.PhaseChange), words: []string{"which limit or step", "a smallest, a largest or a step"}, answer: (*player).namesLimit},
	{phases: in(flow.PhaseChange), choices: []string{"conditions"}, answer: words("conditions")},
	{choices: []string{"supply_on"}, answer: says(func(p *player) string { return "supply on, " + figure(p.volts, 0.1) + " V" })},
	{words: []string{"read the value back", "read me the number", "what does the module show"}, answer: (*player).readBack},
	{choices: []string{"none", "some"}, answer: (*player).readCodes},
	{choices: []string{"recover", "go_on"}, answer: words("go on")},

	{phases: in(flow.PhaseDrive), choices: []string{"go"}, words: []string{"no reading yet"}, answer: (*player).fromNotes},
	{phases: in(flow.PhaseDrive), choices: []string{"go"}, answer: (*player).drive},
	{choices: []string{"strike"}, answer: (*player).doubted},
	{choices: []string{"convert"}, answer: words("no")},

	{phases: in(flow.PhaseReview), choices: []string{"distance_right"}, answer: words("dash right")},
	{phases: in(flow.PhaseReview), choices: []string{"skip"}, words: []string{"odometer"}, answer: (*player).compare},
	{phases: in(flow.PhaseReview), choices: []string{"new_drive"}, answer: words("new drive")},
	{phases: in(flow.PhaseReview), choices: []string{"close"}, answer: words("close")},

	{phases: in(flow.PhaseRecover), choices: []string{"odo_not_known"}, answer: says(func(p *player) string { return p.odometerText() })},
	{phases: in(flow.PhaseRecover), choices: []string{"leave_it"}, answer: tap("leave_it")},

	{phases: in(flow.PhaseClose), choices: []string{"sign_off"}, answer: func(p *player, _ *flow.Reply) []line { return p.watches("sign off") }},
	{phases: in(flow.PhaseClose), choices: []string{"all_yes"}, answer: words("all yes")},
	{phases: in(flow.PhaseClose), choices: []string{"yes", "no"}, answer: words("yes")},
}

// words is an answer that is always the same.
func words(text string) func(*player, *flow.Reply) []line {
	return func(p *player, _ *flow.Reply) []line { return p.says(text) }
}

// says is an answer of the one who does the work.
func says(text func(*player) string) func(*player, *flow.Reply) []line {
	return func(p *player, _ *flow.Reply) []line { return p.says(text(p)) }
}

// tap is a tap on a choice.
func tap(id string) func(*player, *flow.Reply) []line {
	return func(p *player, r *flow.Reply) []line {
		c, ok := choice(r, id)
		if !ok {
			return nil
		}
		return []line{{who: p.worker, tap: c}}
	}
}

func (p *player) says(text string) []line {
	if text == "" {
		return nil
	}
	return []line{{who: p.worker, text: text}}
}

// watches is a line of the one who looks on; without anyone there, none.
func (p *player) watches(text string) []line {
	if p.watcher == nil {
		return nil
	}
	return []line{{who: p.watcher, text: text}}
}

// choiceIDs are the ends of what a tap on each choice sends.
func choiceIDs(r *flow.Reply) []string {
	ids := make([]string, len(r.Choices))
	for i, c := range r.Choices {
		ids[i] = c.Send[strings.LastIndexByte(c.Send, '.')+1:]
	}
	return ids
}

// choice finds one of the choices offered.
func choice(r *flow.Reply, id string) (flow.Choice, bool) {
	i := slices.Index(choiceIDs(r), id)
	if i < 0 {
		return flow.Choice{}, false
	}
	return r.Choices[i], true
}
