package flow

import (
	"strings"

	"milepost/flow/words"
)

// choiceArgs are the figures in the labels of choices: those of the value that
// is to be written.
func (t *turn) choiceArgs(id string) words.Args {
	args := words.Args{}
	if strings.HasPrefix(id, "write") {
		args["Value"] = t.toWrite()
	}
	return args
}

// worker is the role the work is done in: prompts are worded for it.
func (t *turn) worker() Role {
	if p, ok := t.s.People[t.s.Owner]; ok {
		return p.Role
	}
	if t.m.Role != "" {
		return t.m.Role
	}
	return Technician
}

// text finds a sentence in the register of a role.
func (t *turn) text(r Role, key string, args words.Args) string {
	return catalogue().Say(key, RegisterOf(r) == Plain, args)
}

// understood adds a fragment to the line that echoes what was taken.
func (t *turn) understood(key string, args words.Args) {
	if s := t.text(t.worker(), key, args); s != "" {
		t.echo = append(t.echo, s)
	}
}

// flush takes the echoed fragments as a line.
func (t *turn) flush() string {
	s := strings.Join(t.echo, " ")
	t.echo = nil
	return s
}

// say sends a message to whoever does the work, with what was understood
// before it.
func (t *turn) say(kind ReplyKind, key string, args words.Args) {
	text := t.text(t.worker(), key, args)
	if e := t.flush(); e != "" {
		text = e + " " + text
	}
	t.post(kind, t.worker(), t.addressed(""), text, key, nil, 0)
}

// answerTo sends a message to the one who wrote this one: the reply to a
// digression goes to who asked.
func (t *turn) answerTo(kind ReplyKind, key string, args words.Args) {
	t.post(kind, t.m.Role, []Who{t.m.Who}, t.text(t.m.Role, key, args), key, nil, 0)
}

// tell sends a message to everyone in the job who holds a role. It says
// whether there is anyone.
func (t *turn) tell(r Role, kind ReplyKind, key string, args words.Args) bool {
	to := t.addressed(r)
	if len(to) == 0 {
		return false
	}
	t.post(kind, r, to, t.text(r, key, args), key, nil, 0)
	return true
}

// ask puts a question to whoever does the work, with what was understood
// before it.
func (t *turn) ask(q QuestionID, about, key string, args words.Args, choices ...string) {
	t.askRole(q, about, "", key, args, choices...)
}

// askRole puts a question to a role; "" is whoever does the work.
func (t *turn) askRole(q QuestionID, about string, to Role, key string, args words.Args, choices ...string) {
	f := &AskedFact{Ask: t.s.Asks + 1, Question: q, About: about, Choices: choices, To: to}
	role := t.worker()
	if to != "" {
		role = to
	}
	t.record(f)
	text := t.text(role, key, args)
	if e := t.flush(); e != "" && role == t.worker() {
		text = e + " " + text
	}
	t.post(Prompt, role, t.addressed(to), text, key, choices, f.Ask)
}

// addressed lists whom a message for a role is for; "" is whoever does the
// work.
func (t *turn) addressed(r Role) []Who {
	if r == "" {
		if t.s.Owner == "" {
			return nil
		}
		return []Who{t.s.Owner}
	}
	var to []Who
	for _, p := range t.s.People {
		if p.Role == r {
			to = append(to, p.Who)
		}
	}
	sortWho(to)
	return to
}

// post records what is said and queues it.
func (t *turn) post(kind ReplyKind, r Role, to []Who, text, key string, choices []string, ask int) {
	t.record(&SaidFact{Key: key, What: kind, To: to, Ask: ask}, Item{ItemText, text})
	rep := Reply{Seq: t.s.Seq, Kind: kind, To: to, Role: r, Phase: t.s.Phase, Text: text, Facts: t.facts}
	t.facts = nil
	for _, id := range choices {
		rep.Choices = append(rep.Choices, Choice{
			Label: t.text(r, "choice."+id, t.choiceArgs(id)),
			Send:  send(t.s.Job, ask, id),
		})
	}
	t.replies = append(t.replies, rep)
}

// caution shows a caution the first time it applies in a job, one line. Those
// that concern safety can't be silenced by policy.
func (t *turn) caution(key string, safety bool) {
	if t.s.Cautions[key] || (t.env.Policy.Quiet && !safety) {
		return
	}
	t.record(&CautionFact{Key: key})
	t.say(Caution, "caution."+key, nil)
}
