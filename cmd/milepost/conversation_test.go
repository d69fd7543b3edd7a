package main

import (
	"encoding/json"
	"maps"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"milepost/bot/bottest"
	"milepost/bot/journal"
	"milepost/flow"
)

// The conversations by the built program, over a pipe. They go as by a bot in
// memory. Those that need time to pass are left out: the program has the clock.
func TestConversations(t *testing.T) {
	for _, s := range bottest.ReadScripts(t, "../../testdata/conversations") {
		if !s.Has(bottest.WayProgram) || slices.ContainsFunc(s.Inputs, func(in *bottest.ScriptInput) bool { return in.Wait > 0 }) {
			continue
		}
		t.Run(s.Name, func(t *testing.T) {
			t.Parallel()
			p := s.Play(t, newProgramWay(t, s))
			p.Same(t, s.Play(t, bottest.NewBotWay(t, s)))
			if n := p.Closings(); len(p.Heads) != n {
				t.Errorf("%d log heads were posted, %d times a job was closed", len(p.Heads), n)
			}
		})
	}
}

// programWay takes a script into `milepost chat --json`.
type programWay struct {
	t     testing.TB
	s     *bottest.Script
	dir   string
	r     *running
	ended bool
	at    map[string]int64
	last  string // job of the last message
}

func newProgramWay(t testing.TB, s *bottest.Script) *programWay {
	t.Helper()
	w := &programWay{t: t, s: s, dir: t.TempDir(), at: map[string]int64{}}
	r, err := startChat(filepath.Join(w.dir, "data"), w.dir)
	if err != nil {
		t.Fatal(err)
	}
	w.r = r
	t.Cleanup(w.end)
	for _, words := range policyWords(s.Policy) {
		w.tell(map[string]string{"text": "policy " + words, "from": "Policy", "role": "supervisor"})
	}
	return w
}

// policyWords are the words by which a supervisor decides a policy.
func policyWords(p flow.Policy) (ws []string) {
	add := func(name, value string) {
		if value != "" {
			ws = append(ws, name+" "+value)
		}
	}
	add("speed", p.Speed)
	add("length", p.Length)
	add("rule", p.Rule)
	add("aim", p.Calib)
	if p.WorkSpeed > 0 {
		add("cap", strconv.FormatFloat(p.WorkSpeed, 'f', -1, 64))
	}
	for name, on := range map[string]bool{"sign-off": p.SignOff, "self": p.Self, "quiet": p.Quiet} {
		if on {
			add(name, "yes")
		}
	}
	var holds []string
	for _, h := range p.Holds {
		holds = append(holds, h.What)
	}
	add("hold", strings.Join(holds, " and "))
	return ws
}

func (w *programWay) end() {
	if !w.ended {
		w.ended = true
		if err := w.r.end(); err != nil {
			w.t.Error(err)
		}
	}
}

// tell writes a line and reads the answers to it, and how far the log goes then.
func (w *programWay) tell(line map[string]string) (answers []string, log int64) {
	b, err := json.Marshal(line)
	if err != nil {
		w.t.Fatal(err)
	}
	if _, err := w.r.in.Write(append(b, '\n')); err != nil {
		w.t.Fatal(err)
	}
	for w.r.out.Scan() {
		var idle struct {
			Idle bool
			Log  int64
		}
		if err := json.Unmarshal(w.r.out.Bytes(), &idle); err != nil {
			w.t.Fatal(err)
		}
		if idle.Idle {
			return answers, idle.Log
		}
		answers = append(answers, w.r.out.Text())
	}
	w.t.Fatalf("the output ended: %v, %s", w.r.out.Err(), w.r.err.String())
	return nil, 0
}

// Give writes a message to the program.
func (w *programWay) Give(m bottest.ScriptMessage) ([]bottest.ScriptSaid, map[string]int64, error) {
	line := map[string]string{"id": m.ID, "from": m.Who.Name, "role": string(m.Who.Role)}
	if m.Who.Role == flow.Helper || m.Who.Role == flow.Supervisor {
		// Who looks in writes in the job's thread; the others have the job they are in.
		if line["job"] = w.last; w.last == "" || strings.HasPrefix(m.Text, "new job") {
			delete(line, "job")
		}
	}
	switch {
	case m.Tap != "":
		line["tap"] = m.Tap
	case m.File != "":
		path := filepath.Join(w.dir, m.File)
		if err := os.WriteFile(path, m.Bytes, 0o600); err != nil {
			return nil, nil, err
		}
		line["file"] = path
	case m.Delete != "":
		line["delete"] = m.Delete
	default:
		line["text"] = m.Text
	}
	if m.Edit != "" {
		line["edit"] = m.Edit
	}
	var said []bottest.ScriptSaid
	answers, log := w.tell(line)
	for _, a := range answers {
		var l struct {
			ID      string
			Job     string
			Kind    flow.ReplyKind
			To      []string
			Text    string
			Choices []flow.Choice
			Log     int64
		}
		if err := json.Unmarshal([]byte(a), &l); err != nil {
			return nil, nil, err
		}
		slices.Sort(l.To)
		x := bottest.ScriptSaid{Job: l.Job, Kind: l.Kind, To: l.To, Text: l.Text, Choices: l.Choices}
		if seq, ok := strings.CutPrefix(l.ID, l.Job+"/"); ok && l.Job != "" {
			x.Seq, _ = strconv.ParseInt(seq, 10, 64)
			w.last = l.Job
			w.at[l.Job] = max(w.at[l.Job], l.Log)
		}
		if l.Kind == flow.Card && len(l.To) == 0 {
			continue
		}
		said = append(said, x)
	}
	if w.last != "" {
		w.at[w.last] = max(w.at[w.last], log)
	}
	return said, maps.Clone(w.at), nil
}

// Log exports a job beside the running program, verifies the export, and reads
// it.
func (w *programWay) Log(job string) ([]flow.Entry, error) {
	path := filepath.Join(w.dir, "export.jsonl")
	for _, args := range [][]string{
		{"export", job, "-o", path, "--force", "--data", filepath.Join(w.dir, "data")},
		{"verify", path, "--data", filepath.Join(w.dir, "data")},
	} {
		out, err := exec.Command("milepost", args...).CombinedOutput()
		if err != nil {
			return nil, &journal.Fault{What: string(out)}
		}
	}
	b, err := os.ReadFile(path)
	if err != nil {
		return nil, err
	}
	return bottest.ExportedEntries(b)
}
