package flow

import (
	"strings"
	"time"

	"milepost/flow/understand"
)

// answerFor is how long after a question was put a word beside the thread may
// be meant for it.
const answerFor = 10 * time.Minute

// Plainly says whether a text that somebody wrote elsewhere looks like an answer
// to the question that is open for him just now: a choice by number or words, yes
// or no, what the tool says, go or parked, and nothing else beside it. It is for
// asking whether it was meant so; nothing is taken by it.
func Plainly(s *State, who Who, text string, now time.Time) bool {
	a, p := s.Asked, s.People[who]
	if a == nil || who == "" || s.Paused || a.To == "" && who != s.Owner || a.To != "" && p.Role != a.To {
		return false
	}
	text = strings.Trim(text, " \t\n.!,")
	c, isCommand := understand.ReadCommand(text)
	if s.Driving() {
		return isCommand && c.Value.Name == understand.CmdParked
	}
	if now.Sub(s.AskedAt) > answerFor {
		return false
	}
	t := &turn{s: s, env: &Env{Now: now, Policy: Policy{}.Sound()}, m: &Message{Who: who, Role: p.Role}}
	q := t.open()
	if q == nil {
		return false
	}
	if t.named(q, text) != "" {
		return true
	}
	switch yes, ok := understand.YesNo(text); {
	case ok && len(a.Choices) > 0 && yes.Start == 0 && yes.End == len(text):
		return true
	case q.ID == QDrive:
		return isCommand && (c.Value.Name == understand.CmdGo || c.Value.Name == understand.CmdParked)
	case q.ID == QWritten:
		_, doubt := understand.ToolSays(text)
		return doubt == nil
	}
	return false
}
