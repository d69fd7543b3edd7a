package flow

import (
	"errors"
	"fmt"
	"strconv"
	"strings"
	"time"

	"milepost/flow/understand"
	"milepost/flow/words"
)

// Outcome is what a message leads to: entries to be stored and replies to be
// sent, both or neither, and the state they lead to.
type Outcome struct {
	Entries []Entry
	Replies []Reply
	State   *State
	Wake    time.Time // when the job wants to be woken, zero: never
	Took    string    // id of the choice that answered the question that was open, "" none
}

// Step runs one message through a job. The state is not changed; the
// outcome's state is the state with the outcome's entries applied. An error
// means that the log cannot be gone on with; a closed gate, a refusal or a
// text not understood is an outcome, not an error.
func Step(s *State, m Message, env Env) (Outcome, error) {
	env.Policy = env.Policy.Sound()
	t := &turn{s: s.Clone(), env: &env, m: &m}
	t.join()
	t.hear()
	if err := t.answer(); err != nil {
		return Outcome{}, err
	}
	return Outcome{Entries: t.entries, Replies: t.replies, State: t.s, Wake: t.wake(), Took: t.took}, nil
}

// turn is one message on its way through the flow.
type turn struct {
	s       *State
	env     *Env
	m       *Message
	entries []Entry
	replies []Reply
	echo    []string       // what was understood, said before the next question
	facts   map[string]any // new facts, shown with the next reply
	asked   *askedFor      // the text last read for a command
	took    string         // choice that the open question was answered by
	err     error          // first fault in recording, returned by Step
}

// input is what is left to read of a message.
type input struct {
	Text   string // cleaned; what was taken is masked by spaces
	Choice string // id of a choice that was tapped, named or numbered
	File   *File
	ask    *understand.Ask // what the open question's reader was not certain of
}

// take masks a span of the text that was understood.
func (in *input) take(start, end int) { in.Text = understand.Mask(in.Text, start, end) }

// rest is what nobody has understood yet.
func (in *input) rest() string { return strings.Trim(in.Text, " \t\r\n,;.") }

// join records who speaks, the first time.
func (t *turn) join() {
	if p := t.m.Join; p != nil {
		t.record(&PersonFact{Who: p.Who, Role: p.Role, Stated: p.Stated, ByCode: p.ByCode},
			Item{ItemIdentity, p.Identity}, Item{ItemName, p.Name})
		if same(p.Name, t.s.Awaits) && p.Role != Stranger { // the job was handed over to this name
			t.record(&HandOverFact{To: p.Who}, Item{ItemName, p.Name})
			t.understood("handover.done", words.Args{"Name": p.Name})
		}
	}
}

// hear records that the message came in.
func (t *turn) hear() {
	m := t.m
	f := &HeardFact{What: "text", ID: m.ID, Ask: t.s.Asks, Trust: m.Trust}
	var items []Item
	switch {
	case m.Wake:
		return
	case m.Fault != "":
		f.What = "unread"
	case m.Tap != "":
		f.What, f.Choice = "tap", TapChoice(m.Tap)
	case m.File != nil:
		f.What = "file"
	case m.Edit != "":
		f.What, f.Target = "edit", m.Edit
	case m.Delete != "":
		f.What, f.Target = "delete", m.Delete
	}
	if m.Text != "" {
		items = append(items, Item{ItemText, m.Text})
	}
	t.record(f, items...)
}

// record adds an entry to the log and to the state: the one way forward.
func (t *turn) record(f Fact, items ...Item) {
	e := Entry{
		Seq: t.s.Seq + 1, At: t.env.Now, Clock: t.env.Clock && len(t.entries) == 0,
		Kind: f.Kind(), V: version(f.Kind()), Fact: f,
	}
	for _, it := range items {
		if it.Content != "" {
			e.Items = append(e.Items, it)
		}
	}
	if t.byPerson(f) {
		e.Who, e.Role, e.Net = t.m.Who, t.m.Role, t.m.SentAt
	}
	t.entries = append(t.entries, e)
	t.s.apply(&e)
	t.show(&e)
}

// byPerson says whether an entry is the person's doing or the assistant's.
func (t *turn) byPerson(f Fact) bool {
	if t.m.Wake {
		return false
	}
	switch f.Kind() {
	case KindSaid, KindAsked, KindPhase, KindTarget, KindErrors, KindDecision, KindGate, KindAlert, KindCaution:
		return false
	}
	return true
}

// move fires an event. A closed gate is recorded and said; then it is false.
func (t *turn) move(ev Event) bool {
	to, err := move(t.s, ev)
	var shut *GateError
	if errors.As(err, &shut) {
		t.record(&GateFact{Name: shut.Gate, Open: false, Needs: shut.Needs})
		t.say(Refusal, shut.Needs, nil)
		return false
	}
	if err != nil {
		t.fail(err)
		return false
	}
	for _, g := range guards[ev] {
		if !t.s.Gates[g] {
			t.record(&GateFact{Name: g, Open: true})
		}
	}
	t.record(&PhaseFact{Phase: to, Event: ev})
	return true
}

func (t *turn) fail(err error) {
	if t.err == nil {
		t.err = err
	}
}

// maxMoves bounds the moves that one message can lead to.
const maxMoves = 24

// advance asks the next question that is due, moving on through the phases
// whose questions are all answered.
func (t *turn) advance() {
	for range maxMoves {
		if t.err != nil {
			return
		}
		p := phases()[t.s.Phase]
		if q := t.due(p); q != nil {
			q.Ask(t)
			return
		}
		if p.Next == nil {
			return
		}
		asks := t.s.Asks
		ev := p.Next(t)
		if ev == "" {
			if t.s.Asks == asks && t.s.Asked != nil {
				t.again()
			}
			return
		}
		if !t.move(ev) {
			return
		}
		if enter := phases()[t.s.Phase].Enter; enter != nil {
			enter(t)
		}
	}
	t.fail(fmt.Errorf("job %s: no end of moves in phase %s", t.s.Job, t.s.Phase))
}

// due gives the question that is due in a phase: one that has come open again
// first.
func (t *turn) due(p phaseOf) *question {
	if len(t.s.Edits) > 0 && !t.s.Driving() && t.s.Phase != PhaseClosed {
		return find(QAmend)
	}
	if q := t.fallen(); q != nil {
		return q
	}
	if t.s.asksBack() {
		return find(QPutBack)
	}
	if t.s.lateCodes() != nil {
		return find(QNewCodes)
	}
	return p.due(t.s)
}

// find gives the question with an id, wherever it stands.
func find(id QuestionID) *question {
	q, _ := lookup(id)
	return q
}

// phaseAsking is the phase that asks a question.
func phaseAsking(id QuestionID) Phase {
	_, ph := lookup(id)
	return ph
}

func lookup(id QuestionID) (*question, Phase) {
	for _, ph := range Phases {
		qs := phases()[ph].Questions
		for i := range qs {
			if qs[i].ID == id {
				return &qs[i], ph
			}
		}
	}
	return nil, ""
}

// open gives the open question, nil if none.
func (t *turn) open() *question {
	if t.s.Asked == nil {
		return nil
	}
	return find(t.s.Asked.Question)
}

// send is what a tap on a choice brings back: the job, the question's count
// and the choice, so that a late or double tap is known for what it is.
func send(job string, ask int, choice string) string {
	return job + "." + strconv.Itoa(ask) + "." + choice
}

// TapJob gives the job a tap belongs to, "" if it is not of that form.
func TapJob(tap string) string {
	job, _, _ := strings.Cut(tap, ".")
	return job
}

// TapChoice gives the id of the choice that a tap makes, "" if it is not of that
// form.
func TapChoice(tap string) string {
	parts := strings.SplitN(tap, ".", 3)
	if len(parts) != 3 {
		return ""
	}
	return parts[2]
}

func tapAsk(tap string) int {
	parts := strings.SplitN(tap, ".", 3)
	if len(parts) != 3 {
		return -1
	}
	n, err := strconv.Atoi(parts[1])
	if err != nil {
		return -1
	}
	return n
}

// catalogue holds every sentence.
func catalogue() *words.Catalogue { return words.Default() }
