package bottest

import (
	"fmt"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"milepost/flow"
)

// ScriptMessage is an input as it is handed in: with its delivery identifier,
// and with what a tap sends.
type ScriptMessage struct {
	ID     string
	Who    ScriptPerson
	Text   string
	Tap    string
	File   string
	Bytes  []byte
	Edit   string
	Delete string
	Wait   time.Duration
	Ago    time.Duration // how long before it came it was sent; 0: no time
	Unread bool
}

// ScriptSaid is a message of the assistant as it was shown.
type ScriptSaid struct {
	Job     string
	Seq     int64 // of the entry that records it; 0 outside a job
	Kind    flow.ReplyKind
	To      []string
	Text    string
	Choices []flow.Choice
}

// A ScriptWay takes messages in and shows what is said. After has the sequence
// of each job's last entry once the message is dealt with. Log gives the whole
// log of a job.
type ScriptWay interface {
	Give(m ScriptMessage) (said []ScriptSaid, after map[string]int64, err error)
	Log(job string) ([]flow.Entry, error)
}

// ScriptTurn is what one input led to.
type ScriptTurn struct {
	Said    []string // as written in a script
	Entries []flow.Entry
	job     string
}

// ScriptPlay is a script as it went by one way.
type ScriptPlay struct {
	Turns []ScriptTurn
	Logs  map[string][]flow.Entry
	Heads []string // log heads posted, which no script can foretell
	jobs  []string // in the order they began
	codes []string
}

// stage is a script on its way in.
type stage struct {
	t     testing.TB
	s     *Script
	way   ScriptWay
	taps  []flow.Choice // every choice offered so far
	last  ScriptMessage
	at    map[string]int64
	play  *ScriptPlay
	heard [][]ScriptSaid
	ends  []map[string]int64
}

// Play takes a script in by a way: every message twice. It checks what holds
// for every conversation; what this one says is checked by Check.
func (s *Script) Play(t testing.TB, way ScriptWay) *ScriptPlay {
	t.Helper()
	g := &stage{t: t, s: s, way: way, at: map[string]int64{}, play: &ScriptPlay{Logs: map[string][]flow.Entry{}}}
	for _, in := range s.Inputs {
		g.give(in)
	}
	g.read()
	g.hold()
	return g.play
}

var (
	guestCode = regexp.MustCompile(`\b[2-9A-Z]{4}(-[2-9A-Z]{4}){3}\b`)
	guestWord = regexp.MustCompile(`\bCODE\b`)
	headLine  = regexp.MustCompile(`^Log head \d+ [0-9a-f-]+\.`)
)

// give hands in one input, and the same again.
func (g *stage) give(in *ScriptInput) {
	m := ScriptMessage{ID: fmt.Sprintf("m%d", in.N), Who: in.Who, File: in.File, Bytes: g.s.Files[in.File], Wait: in.Wait, Ago: in.Ago, Unread: in.Unread}
	m.Text = in.Text
	if n := len(g.play.codes); n > 0 {
		m.Text = strings.ReplaceAll(m.Text, "CODE", g.play.codes[n-1])
	}
	if in.Edit > 0 {
		m.Edit = fmt.Sprintf("m%d", in.Edit)
	}
	if in.Delete > 0 {
		m.Delete = fmt.Sprintf("m%d", in.Delete)
	}
	if in.Tap != "" {
		m.Tap = g.send(in.Tap)
		if m.Tap == "" {
			g.t.Fatalf("input %d: nothing offers %q", in.N, in.Tap)
		}
	}
	if in.Again {
		m = g.last
	}
	g.last = m
	said, after, err := g.way.Give(m)
	if err != nil {
		g.t.Fatalf("input %d, %q: %v", in.N, strings.Join(in.raw, " "), err)
	}
	said = slices.DeleteFunc(said, func(w ScriptSaid) bool {
		if w.Seq == 0 && headLine.MatchString(w.Text) {
			g.play.Heads = append(g.play.Heads, w.Text)
			return true
		}
		return false
	})
	for job := range after {
		if !slices.Contains(g.play.jobs, job) {
			g.play.jobs = append(g.play.jobs, job)
		}
	}
	for _, w := range said {
		g.taps = append(g.taps, w.Choices...)
		if c := guestCode.FindString(w.Text); c != "" {
			g.play.codes = append(g.play.codes, c)
		}
	}
	g.heard, g.ends = append(g.heard, said), append(g.ends, after)
	if m.Wait > 0 {
		return
	}
	again, then, err := g.way.Give(m)
	if err != nil {
		g.t.Fatalf("input %d delivered again: %v", in.N, err)
	}
	if len(again) > 0 {
		g.t.Errorf("input %d delivered again is answered again: %q", in.N, again[0].Text)
	}
	for job, n := range then {
		if after[job] != n {
			g.t.Errorf("input %d delivered again makes entries", in.N)
		}
	}
}

// send is what the choice last offered under this id sends.
func (g *stage) send(choice string) string {
	for i := len(g.taps) - 1; i >= 0; i-- {
		if parts := strings.SplitN(g.taps[i].Send, ".", 3); len(parts) == 3 && parts[2] == choice {
			return g.taps[i].Send
		}
	}
	return ""
}

// read takes the logs, divides them by inputs and writes what was said as
// scripts do.
func (g *stage) read() {
	for _, job := range g.play.jobs {
		log, err := g.way.Log(job)
		if err != nil {
			g.t.Fatalf("log of job %s: %v", job, err)
		}
		g.play.Logs[job] = log
	}
	for i := range g.heard {
		var turn ScriptTurn
		for _, job := range g.play.jobs {
			from, to := g.at[job], max(g.at[job], g.ends[i][job])
			if to > int64(len(g.play.Logs[job])) {
				g.t.Fatalf("input %d: entry %d of %d", i+1, to, len(g.play.Logs[job]))
			}
			if to > from {
				turn.job = job
			}
			turn.Entries = append(turn.Entries, g.play.Logs[job][from:to]...)
			g.at[job] = to
		}
		for _, w := range g.heard[i] {
			turn.Said = append(turn.Said, g.written(w))
		}
		g.play.Turns = append(g.play.Turns, turn)
	}
	for job, n := range g.at {
		if int(n) != len(g.play.Logs[job]) {
			g.t.Errorf("job %s: %d entries, %d after the last input", job, len(g.play.Logs[job]), n)
		}
	}
}

// written is a message as a script has it: for whom, if not for who does the
// work, its text and its choices.
func (g *stage) written(w ScriptSaid) string {
	text := w.Text
	if log := g.play.Logs[w.Job]; w.Job != "" && w.Seq > 0 && w.Seq <= int64(len(log)) {
		s := flow.Fold("", w.Job, log[:w.Seq])
		if len(w.To) > 0 && !slices.Equal(w.To, []string{s.People[s.Owner].Name}) {
			text = "(to " + strings.Join(w.To, ", ") + ") " + text
		}
		text = g.play.unnamed(w.Job, text)
	} else if len(w.To) > 0 {
		text = "(to " + strings.Join(w.To, ", ") + ") " + text
	}
	for i, c := range w.Choices {
		if i > 0 || !strings.HasSuffix(text, "\n") {
			text += " "
		}
		text += "[" + c.Label + "]"
	}
	return guestCode.ReplaceAllString(text, "CODE")
}

// unnamed puts JOB in the place of the job's number, and JOB1, JOB2 … in that
// of the others'.
func (p *ScriptPlay) unnamed(own, text string) string {
	text = strings.ReplaceAll(text, own, "JOB")
	for i, job := range p.jobs {
		text = strings.ReplaceAll(text, job, fmt.Sprintf("JOB%d", i+1))
	}
	return text
}

// hold checks what holds for every conversation.
func (g *stage) hold() {
	for job, log := range g.play.Logs {
		checkLog(g.t, job, log)
	}
	for i, said := range g.heard {
		n := 0
		for _, w := range said {
			log := g.play.Logs[w.Job]
			if w.Job == "" || w.Seq == 0 {
				continue
			}
			if w.Seq > int64(len(log)) {
				g.t.Errorf("input %d: %q is said of an entry that is not there", i+1, w.Text)
				continue
			}
			if strings.Contains(w.Text, "‹") || strings.Contains(w.Text, "<no value>") || strings.ContainsRune(w.Text, '!') {
				g.t.Errorf("input %d: %q", i+1, w.Text)
			}
			for _, c := range w.Choices {
				if strings.Contains(c.Label, "‹") || strings.Contains(c.Label, "<no value>") {
					g.t.Errorf("input %d: choice %q", i+1, c.Label)
				}
			}
			e := &log[w.Seq-1]
			f, ok := e.Fact.(*flow.SaidFact)
			if !ok || clean(e.Item(flow.ItemText)) != clean(w.Text) && guestCode.FindString(w.Text) == "" {
				g.t.Errorf("input %d: said %q, logged %s %q", i+1, w.Text, flow.Line(*e), e.Item(flow.ItemText))
				continue
			}
			if words := len(strings.Fields(w.Text)); words > 60 && !mayBeLong(f.Key, w.Kind) {
				g.t.Errorf("input %d: %s has %d words: %s", i+1, f.Key, words, w.Text)
			}
			if len(w.Choices) > 5 {
				g.t.Errorf("input %d: %s offers %d choices", i+1, f.Key, len(w.Choices))
			}
			if s := flow.Fold("", w.Job, log[:g.ends[i][w.Job]]); w.Kind == flow.Prompt && s.Driving() {
				g.t.Errorf("input %d: asked while driving: %s", i+1, w.Text)
			}
			if w.Kind == flow.Prompt {
				n++
			}
		}
		if n > 2 {
			g.t.Errorf("input %d: %d questions at once", i+1, n)
		}
	}
}

// Closings counts how often a job was closed: each posts a log head.
func (p *ScriptPlay) Closings() (n int) {
	for _, log := range p.Logs {
		for _, e := range log {
			if f, ok := e.Fact.(*flow.PhaseFact); ok && f.Phase == flow.PhaseClosed {
				n++
			}
		}
	}
	return n
}

func clean(s string) string { return strings.Join(strings.Fields(s), " ") }

// mayBeLong: checklists, reasons and help.
func mayBeLong(key string, kind flow.ReplyKind) bool {
	return strings.HasPrefix(key, "why.") || strings.HasPrefix(key, "help.") || key == "close.list" || key == "before.list" ||
		key == "track.ask" || kind == flow.Card
}
