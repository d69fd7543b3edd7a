package flow

import (
	"slices"
	"strconv"
	"strings"

	"milepost/calib/unit"
	"milepost/flow/understand"
	"milepost/flow/words"
)

// standing says how what came of a message stands now, in a few words.
func (t *turn) standing(k Key) string {
	switch k.Question {
	case QBefore, QClosing:
		c := t.s.Checks[listOf(k.Question)]
		parts := []string{lineText(c.Lines)}
		if v := voltsText(c.Volts); v != "" {
			parts = append(parts, v+" V")
		}
		for _, f := range t.s.Codes {
			if f.When == "before" && k.Question == QBefore {
				parts = append(parts, slices.Concat(f.List, f.Lamps)...)
			}
		}
		return strings.Join(parts, ", ")
	case QStored, QSteps:
		m := t.s.Module(k.About)
		if m == nil {
			return ""
		}
		parts := []string{withUnit(m, m.Factory())}
		if m.Step > 0 {
			parts = append(parts, "step "+plainFigure(m.Step))
		}
		var limits []string
		for _, limit := range []*float64{m.Min, m.Max} {
			if limit != nil {
				limits = append(limits, plainFigure(*limit))
			}
		}
		if len(limits) > 0 {
			parts = append(parts, strings.Join(limits, " to "))
		}
		return strings.Join(parts, ", ")
	case QDrive:
		var pairs []string
		for _, n := range numbersOf(k.About) {
			if r := t.s.reading(n); r != nil && !r.Struck {
				pairs = append(pairs, pairText(r))
			}
		}
		return strings.Join(append(pairs, t.laterThan(k.About)...), " ")
	case QReadBack, QCodesNow:
		return t.standingWrite(k)
	}
	return t.answerText(t.s.Answers[k])
}

// laterThan are the pairs that this message has brought beyond those it had
// before: they have the highest numbers.
func (t *turn) laterThan(about string) (pairs []string) {
	for _, e := range t.entries {
		if r, ok := e.Fact.(*ReadingFact); ok && !slices.Contains(numbersOf(about), r.Number) {
			pairs = append(pairs, pairText(r))
		}
	}
	return pairs
}

// numbersOf reads the numbers of readings or lines: "6, 7".
func numbersOf(about string) (list []int) {
	for part := range strings.SplitSeq(about, ", ") {
		if n, err := strconv.Atoi(part); err == nil {
			list = append(list, n)
		}
	}
	return list
}

// reading gives the reading with a number, nil if there is none.
func (s *State) reading(number int) *ReadingFact {
	if number < 1 || number > len(s.Readings) {
		return nil
	}
	return &s.Readings[number-1]
}

// rewriteReadings puts the pairs of an edited message right: one that is not
// there any more is corrected to the one in its place, or struck, and what is
// more is new. The readings stay in the log as they were taken.
func (t *turn) rewriteReadings(numbers []int, text string) {
	now := t.typedAnew(numbers, text)
	if len(now) == 0 {
		return
	}
	was := slices.DeleteFunc(slices.Clone(numbers), func(n int) bool {
		r := t.s.reading(n)
		i := -1
		if r != nil && !r.Struck {
			i = slices.IndexFunc(now, func(f *ReadingFact) bool {
				return f.Indicated == r.Indicated && f.Reference == r.Reference && !f.Struck
			})
		}
		if i >= 0 {
			now = slices.Delete(now, i, i+1)
		}
		return r == nil || i >= 0
	})
	for i, n := range was {
		r := *t.s.reading(n)
		switch {
		case i >= len(now) || now[i].Struck:
			if !r.Struck {
				t.mark(&r, "struck", 0, 0)
			}
		default:
			if r.Struck {
				t.mark(&r, "kept", 0, 0)
			}
			t.markAs(&r, "corrected", now[i])
		}
	}
	if len(now) > len(was) {
		t.recordReadings(now[len(was):])
	}
}

// typedAnew reads an edited message as it was read: notes of a track, else
// pairs. None where it can't be read so.
func (t *turn) typedAnew(numbers []int, text string) []*ReadingFact {
	if len(numbers) == 0 {
		return nil
	}
	if first := t.s.reading(numbers[0]); first != nil && first.TrackMean {
		return t.notesAnew(numbers, text)
	}
	ms, _ := understand.Readings(text, t.context())
	if len(ms) == 0 || len(ms) > maxAtOnce {
		return nil
	}
	return t.pairs(ms)
}

// pairs makes readings of pairs, in the dash's unit.
func (t *turn) pairs(ms []understand.Match[understand.Reading]) []*ReadingFact {
	drive := t.openDrive().Drive
	dash := unit.Speed(t.speedUnit())
	facts := make([]*ReadingFact, 0, len(ms))
	for _, m := range ms {
		r := m.Value
		f := &ReadingFact{Indicated: r.Indicated, Reference: r.Reference, Unit: string(dash), Drive: drive, Decimals: r.Tenths}
		if from := unit.Speed(r.Unit); from != dash && from.Valid() {
			f.Indicated, f.Reference = round(from.To(r.Indicated, dash), 1), round(from.To(r.Reference, dash), 1)
			if !r.Tenths { // what was typed is no finer for being converted
				f.DashStep = round(from.To(1, dash), 4)
				f.GPSStep = f.DashStep
			}
		}
		f.Struck = unsteady(r.Conditions)
		facts = append(facts, f)
	}
	return facts
}

// readingsMoved decides anew after readings were put right.
func (t *turn) readingsMoved() {
	switch t.s.Phase {
	case PhaseReview:
		t.reviewAgain()
	case PhaseClose:
		if t.move(EvReopen) { // what was called done rests on them
			t.review()
		}
	case PhaseTarget, PhaseChange:
		switch {
		case t.s.inTheAir():
			t.understood("amend.waits", words.Args{"Value": t.toWrite()})
		case t.s.Target(t.s.mainName()) != nil:
			t.retargetNow()
		}
	}
	t.advance()
}
