package flow

import (
	"strings"

	"milepost/flow/understand"
	"milepost/flow/words"
)

// again repeats the open question: a digression never loses the place.
func (t *turn) again() {
	if q := t.open(); q != nil {
		if !t.s.Driving() {
			q.Ask(t)
		}
		return
	}
	t.advance()
}

// lost says that the answer was not understood and what would be.
func (t *turn) lost(q *question, in *input) {
	if in.ask != nil {
		t.askBack(in.ask)
		return
	}
	hint := q.Hint
	if hint == "" {
		hint = "hint.general"
	}
	t.hint(hint, words.Args{"Said": t.inOwnWords(short(in.Text)), "Unit": t.speedUnit()})
}

// hint says what was wrong with an answer and keeps the question open.
func (t *turn) hint(key string, args words.Args) {
	a := t.s.Asked
	if a == nil {
		t.say(Notice, key, args)
		return
	}
	echo := t.flush()
	r := t.worker()
	if a.To != "" {
		r = a.To
	}
	text := t.text(r, key, args)
	if echo != "" {
		text = echo + " " + text
	}
	t.post(Prompt, r, t.addressed(a.To), text, key, a.Choices, a.Ask)
}

// askBack asks something back in the words of a reader that was not certain:
// the desk command says the same.
func (t *turn) askBack(a *understand.Ask) {
	b := *a
	b.Said = t.inOwnWords(a.Said)
	t.hint("ask.text", words.Args{"Text": b.Text()})
}

// inOwnWords is what of a message is quoted, as it was typed: where a part of
// it has been taken, and so masked, the whole message.
func (t *turn) inOwnWords(said string) string {
	typed := strings.Join(strings.Fields(t.m.Text), " ")
	if typed == "" || !strings.Contains(said, ";") || strings.Contains(typed, strings.TrimSuffix(said, "…")) {
		return said
	}
	return short(typed)
}

// nothingFound are the doubts that only say that a reader found nothing: once
// the message has answered something else they need not be said.
var nothingFound = map[string]bool{understand.AskSize: true, understand.AskValueNone: true, understand.AskListChosen: true, understand.AskReadingNone: true}
