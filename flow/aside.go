package flow

import (
	"milepost/flow/understand"
	"milepost/flow/words"
)

// aside handles what may be said at any moment in any phase: it never loses
// the place. It says whether the message was one.
func (t *turn) aside(in *input) bool {
	if t.photo(in) {
		return true
	}
	c, ok := t.command(in.Text)
	if !ok {
		return false
	}
	if c.Name == understand.CmdGoOn && t.s.Paused {
		c.Name = understand.CmdResume
	}
	f, ok := asides[c.Name]
	if !ok {
		return false // a command of the open question, such as "drive first"
	}
	if !May(t.m.Role, f.act) {
		t.answerTo(Refusal, "refuse.act", words.Args{"Role": string(t.m.Role), "Act": string(f.act)})
		t.again()
		return true
	}
	return f.do(t, c, in)
}

// asideRule is a digression, who may use it, and what it does. Do says false
// where the words turn out to be an answer after all.
type asideRule struct {
	act Act
	do  func(*turn, command, *input) bool
}

// asides is the table of digressions.
var asides = map[string]asideRule{
	understand.CmdWhy:        {ActAnswer, (*turn).why},
	understand.CmdHelp:       {ActAnswer, (*turn).help},
	understand.CmdWhere:      {ActAnswer, (*turn).where},
	understand.CmdBack:       {ActAnswer, (*turn).back},
	understand.CmdChange:     {ActAnswer, (*turn).changeAnswer},
	understand.CmdSkip:       {ActAnswer, (*turn).skip},
	understand.CmdNote:       {ActAnswer, (*turn).note},
	understand.CmdPause:      {ActPause, (*turn).pause},
	understand.CmdResume:     {ActPause, (*turn).resume},
	understand.CmdHandOver:   {ActHandOver, (*turn).handOver},
	understand.CmdStop:       {ActStop, (*turn).stop},
	understand.CmdSupervisor: {ActAnswer, (*turn).callSupervisor},
	understand.CmdHelper:     {ActAnswer, (*turn).callHelper},
	understand.CmdTakeOver:   {ActRelease, (*turn).takeOver},
	understand.CmdHandBack:   {ActRelease, (*turn).handBack},
	understand.CmdRecover:    {ActRecover, (*turn).recover},
	understand.CmdWaive:      {ActWaive, (*turn).waive},
	understand.CmdSignOff:    {ActSignOff, (*turn).signOff},
	understand.CmdReassign:   {ActReassign, (*turn).reassign},
	understand.CmdInvite:     {ActInvite, (*turn).invite},
}

// why says the reason of the open question in one line, then asks it again.
func (t *turn) why(command, *input) bool {
	key := "why.general"
	if q := t.open(); q != nil && q.Why != "" {
		key = q.Why
	}
	t.digress(key, nil)
	return true
}

// help says what can be typed here.
func (t *turn) help(command, *input) bool {
	key := "help.general"
	if q := t.open(); q != nil && q.Help != "" {
		key = q.Help
	}
	t.digress(key, words.Args{"Unit": t.speedUnit()})
	return true
}

// where shows the job's card.
func (t *turn) where(command, *input) bool {
	t.card(t.m.Role, []Who{t.m.Who})
	t.again()
	return true
}

// digress answers the one who asked and repeats the open question.
func (t *turn) digress(key string, args words.Args) {
	t.answerTo(Result, key, args)
	t.again()
}

// skip passes over the open question where that is allowed.
func (t *turn) skip(_ command, _ *input) bool {
	q := t.open()
	if q == nil || !q.Skip {
		t.answerTo(Notice, "skip.no", nil)
		t.again()
		return true
	}
	t.record(&AnswerFact{Question: q.ID, About: t.s.Asked.About, Skipped: true})
	t.advance()
	return true
}

// note keeps words beside the job.
func (t *turn) note(c command, _ *input) bool {
	if c.Arg == "" {
		t.answerTo(Notice, "note.empty", nil)
	} else {
		t.record(&NoteFact{}, Item{ItemText, c.Arg})
		t.answerTo(Notice, "note.kept", words.Args{"Open": t.stands()})
	}
	if !t.s.Driving() && t.open() == nil {
		t.advance()
	}
	return true
}

// stands says whether a question is open that need not be put again: it was not
// touched, and to put it calls somebody, for sixty notes sixty times.
func (t *turn) stands() bool { return t.open() != nil && !t.s.Driving() }

// pause stops the questions until someone goes on.
func (t *turn) pause(command, *input) bool {
	t.record(&PauseFact{Paused: true})
	t.answerTo(Notice, "pause.on", nil)
	return true
}

// resume goes on where the job was.
func (t *turn) resume(command, *input) bool {
	if t.s.Paused {
		t.record(&PauseFact{Paused: false})
	}
	t.again()
	return true
}

// handOver passes the work to another person.
func (t *turn) handOver(c command, _ *input) bool {
	return t.giveTo(c.Arg, false)
}

// reassign is a supervisor's hand-over.
func (t *turn) reassign(c command, _ *input) bool {
	return t.giveTo(c.Arg, true)
}

func (t *turn) giveTo(name string, reassigned bool) bool {
	if name == "" {
		t.answerTo(Notice, "handover.whom", nil)
		t.again()
		return true
	}
	to := t.person(name)
	t.record(&HandOverFact{To: to, Sup: reassigned}, Item{ItemName, name})
	key := "handover.done"
	if to == "" {
		key = "handover.absent"
	}
	if to != "" {
		name = t.nameOf(to)
	}
	t.answerTo(Notice, key, words.Args{"Name": name})
	t.again()
	return true
}

// takeOver lets a helper answer in the place of whoever does the work.
func (t *turn) takeOver(command, *input) bool {
	t.record(&HandOverFact{To: t.m.Who}, Item{ItemName, t.nameOf(t.m.Who)})
	t.answerTo(Notice, "handover.done", words.Args{"Name": t.nameOf(t.m.Who)})
	t.again()
	return true
}

// handBack gives the work back to whoever did it before a helper took over.
func (t *turn) handBack(command, *input) bool {
	var to []Who
	for _, p := range t.s.People {
		if p.Role == Technician || p.Role == Customer {
			to = append(to, p.Who)
		}
	}
	if len(to) == 0 || t.s.Owner != t.m.Who {
		t.answerTo(Notice, "handover.whom", nil)
		t.again()
		return true
	}
	sortWho(to)
	t.record(&HandOverFact{To: to[0]}, Item{ItemName, t.nameOf(to[0])})
	t.answerTo(Notice, "handover.done", words.Args{"Name": t.nameOf(to[0])})
	t.again()
	return true
}

// photo keeps a file that no question asks for as evidence.
func (t *turn) photo(in *input) bool {
	if in.File == nil || in.Text != "" {
		return false
	}
	if q := t.open(); q != nil && takesFiles[q.ID] {
		return false
	}
	if t.upgrades(in.File) {
		t.again()
		return true
	}
	t.keepFile(in.File, "other")
	args := fileArgs(in.File)
	args["Open"] = t.stands()
	t.answerTo(Notice, "file.kept", args)
	if !t.s.Driving() && t.open() == nil {
		t.advance()
	}
	return true
}

// takesFiles are the questions that a file can answer.
var takesFiles = map[QuestionID]bool{QBackup: true, QDrive: true, QOdoCheck: true}

// keepFile records evidence.
func (t *turn) keepFile(f *File, use string) {
	t.record(&FileFact{Type: f.Type, Bytes: f.Bytes, Use: use}, Item{ItemFile, f.Name}, Item{ItemSHA256, f.SHA256})
}

// fileArgs are the figures of a file as they are said.
func fileArgs(f *File) words.Args {
	return words.Args{"Name": f.Name, "Bytes": count(f.Bytes), "Hash": hashEnd(f.SHA256)}
}
