package main

import (
	"bufio"
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"milepost/bot"
)

// kills is how often the program is killed.
const kills = 200

// TestKilled runs jobs through the program, kills it at random moments and gives
// it again what it has not said to be done, under the same ids: no input that
// was done is lost, none is acted on twice, a message has one id and one wording,
// and the jobs end as those of a program that nobody disturbed.
func TestKilled(t *testing.T) {
	if testing.Short() {
		t.Skip("runs the program some hundred times")
	}
	dir := t.TempDir()
	k := &killer{t: t, data: filepath.Join(dir, "killed"), random: rand.New(rand.NewPCG(14, 2609)), said: map[string]string{}}
	begun := time.Now()
	jobs := 0
	for ; k.kills < kills; jobs++ {
		for _, in := range jobInputs(t, dir, jobs) {
			k.put(in)
		}
	}
	t.Logf("%d kills, %d of them before a first line, %d inputs of %d jobs sent %d times, %d messages of which %d came again; %v",
		k.kills, k.early, k.inputs, jobs, k.sent, len(k.said), k.again, time.Since(begun).Round(time.Millisecond))
	if k.early == k.kills || k.again == 0 || k.sent == k.inputs {
		t.Errorf("the kills hit nothing worth hitting")
	}

	calm := &killer{t: t, data: filepath.Join(dir, "calm"), said: map[string]string{}}
	for n := range jobs {
		for _, in := range jobInputs(t, dir, n) {
			calm.put(in)
		}
	}
	calm.stop()
	k.stop()
	compareJobs(t, k.data, calm.data, jobs)
}

// killer is someone who feeds a program and kills it.
type killer struct {
	t      *testing.T
	data   string
	random *rand.Rand // nil: kills nobody
	r      *running
	timer  *time.Timer
	within time.Duration // it is killed so soon at the latest

	kills, early, inputs, sent, again int
	heard                             int // lines of the program that runs

	said map[string]string // message by id
	log  int64             // of the last idle line
}

// put has one input done, however often the program is killed meanwhile.
func (k *killer) put(in input) {
	k.inputs++
	for {
		if k.r == nil {
			k.start()
		}
		k.sent++
		if _, err := io.WriteString(k.r.in, in.line()+"\n"); err == nil && k.hear() {
			return
		}
		k.lost()
	}
}

// start starts the program, and a clock that will kill it.
func (k *killer) start() {
	r, err := startChat(k.data, filepath.Dir(k.data))
	if err != nil {
		k.t.Fatal(err)
	}
	k.r = r
	if k.random != nil && k.kills < kills {
		// From before its first step to a few inputs later.
		p := r.cmd.Process
		k.within = max(k.within, 45*time.Millisecond)
		k.timer = time.AfterFunc(time.Duration(k.random.Int64N(int64(k.within))), func() { _ = p.Kill() })
	}
}

// hear reads to the idle line; false if the program ended before.
func (k *killer) hear() bool {
	for k.r.out.Scan() {
		k.heard++
		line := k.r.out.Bytes()
		var m struct {
			ID   string
			Idle bool
			Log  int64
		}
		if err := json.Unmarshal(line, &m); err != nil {
			if k.random == nil {
				k.t.Fatalf("a line that is no JSON: %s", line)
			}
			return false // cut by the kill
		}
		if m.Idle {
			k.log = m.Log
			return true
		}
		before, seen := k.said[m.ID]
		switch {
		case !seen:
			k.said[m.ID] = string(line)
		case before != string(line):
			k.t.Errorf("message %s has two wordings:\n%s\n%s", m.ID, before, line)
		default:
			k.again++
		}
	}
	return false
}

// lost notes that the program is gone: killed, and nothing else.
func (k *killer) lost() {
	k.r.in.Close()
	for k.hear() {
	}
	err := k.r.cmd.Wait()
	var exit *exec.ExitError
	if k.timer == nil || !errors.As(err, &exit) || exit.Exited() {
		k.t.Fatalf("the program ended by itself: %v: %s", err, k.r.err.String())
	}
	if k.timer.Stop() {
		k.t.Fatalf("the program ended before it was killed: %v: %s", err, k.r.err.String())
	}
	k.kills++
	if k.heard == 0 { // a busy machine takes longer to come to anything
		k.early++
		k.within = min(k.within*5/4, 10*time.Second)
	} else {
		k.within = k.within * 4 / 5
	}
	k.r, k.timer, k.heard = nil, nil, 0 // what it left, its socket too, the next one must bear
}

// stop ends the program in peace.
func (k *killer) stop() {
	if k.timer != nil && !k.timer.Stop() || k.r == nil {
		if k.r != nil {
			k.lost()
		}
		return
	}
	if err := k.r.end(); err != nil {
		k.t.Error(err)
	}
}

// input is a line of the program's input.
type input struct {
	ID   string `json:"id,omitempty"`
	Text string `json:"text,omitempty"`
	File string `json:"file,omitempty"`
}

func (in input) line() string {
	b, _ := json.Marshal(in) // strings only
	return string(b)
}

// jobInputs are those of a whole job, of a vehicle of its own.
func jobInputs(t *testing.T, dir string, n int) []input {
	file := filepath.Join(dir, fmt.Sprintf("unit%d-original.bin", 100+n))
	if err := os.WriteFile(file, bytes.Repeat([]byte{byte(n >> 8), byte(n), 0x5a}, 4096), 0o600); err != nil {
		t.Fatal(err)
	}
	var ins []input
	for i, l := range wholeJob {
		in := input{ID: fmt.Sprintf("job%d-%d", n, i)}
		if in.Text = strings.ReplaceAll(l, "UNIT", fmt.Sprintf("unit %d", 100+n)); l == theFile {
			in.Text, in.File = "", file
		}
		ins = append(ins, in)
	}
	return ins
}

// compareJobs exports each job of two stores and compares them, but for what is
// random or the clock's.
func compareJobs(t *testing.T, a, b string, n int) {
	ja, jb := jobsOf(t, a), jobsOf(t, b)
	if len(ja) != n || len(jb) != n {
		t.Fatalf("%d and %d jobs, want %d", len(ja), len(jb), n)
	}
	for vehicle, jobA := range ja {
		ea, eb := exported(t, a, jobA), exported(t, b, jb[vehicle])
		for i := range min(len(ea), len(eb)) {
			if ea[i] != eb[i] {
				t.Errorf("%s: entry %d differs:\n%s\n%s", vehicle, i+1, ea[i], eb[i])
				break
			}
		}
		if len(ea) != len(eb) {
			t.Errorf("%s: %d entries, undisturbed %d", vehicle, len(ea), len(eb))
		}
		if !strings.Contains(strings.Join(ea, "\n"), `"do":"done"`) {
			t.Errorf("%s: the job did not come to its end", vehicle)
		}
	}
}

// jobsOf gives a store's jobs by the vehicle that the export names.
func jobsOf(t *testing.T, dir string) map[string]string {
	h, err := openToRead(t.Context(), &streams{err: io.Discard}, source{dir: dir})
	if err != nil {
		t.Fatal(err)
	}
	defer h.close()
	jobs, err := h.store.Jobs(t.Context(), "main")
	if err != nil {
		t.Fatal(err)
	}
	out := map[string]string{}
	for _, j := range jobs {
		s, err := bot.ReadState(t.Context(), h.store, bot.DefaultShop, j)
		if err != nil || s.Vehicle == "" {
			continue // the shop's own
		}
		if other := out[s.Vehicle]; other != "" {
			t.Errorf("%s has two jobs, %s and %s", s.Vehicle, other, j)
		}
		out[s.Vehicle] = j
	}
	return out
}

// exported gives a job's entries out of a verified export, in a form to compare.
func exported(t *testing.T, dir, job string) []string {
	file := filepath.Join(t.TempDir(), "job.jsonl")
	var out, errs bytes.Buffer
	s := &streams{in: strings.NewReader(""), out: &out, err: &errs}
	for _, args := range [][]string{{"export", job, "-o", file, "--data", dir}, {"verify", file, "--data", dir}} {
		if code := execute(args, s); code != exitDone {
			t.Fatalf("%v: exit code %d: %s", args, code, errs.String())
		}
	}
	f, err := os.Open(file)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	lines := bufio.NewScanner(f)
	lines.Buffer(nil, 16<<20)
	var entries []string
	for lines.Scan() {
		var l struct {
			Entry *struct {
				Leaf  string
				Items []exportedItem
			}
		}
		if err := json.Unmarshal(lines.Bytes(), &l); err != nil || l.Entry == nil {
			continue
		}
		entries = append(entries, comparable(t, l.Entry.Leaf, l.Entry.Items, job))
	}
	if len(entries) == 0 {
		t.Fatal("an export without entries")
	}
	return entries
}

var (
	randomWho  = regexp.MustCompile(`"[2-9b-df-hj-np-tv-z]{6}"`)
	randomCode = regexp.MustCompile(`[2-9A-Z]{4}(-[2-9A-Z]{4}){3}`)
)

type exportedItem struct{ Label, Text, Bytes string }

// comparable is an entry without times, random numbers, and salted hashes.
func comparable(t *testing.T, leaf string, items []exportedItem, job string) string {
	var l struct {
		Seq  int64
		Who  string
		Role string
		Kind string
		V    int
		Data json.RawMessage
	}
	if err := json.Unmarshal([]byte(leaf), &l); err != nil {
		t.Fatal(err)
	}
	who := "nobody"
	if l.Who != "" {
		who = "somebody"
	}
	text := fmt.Sprintf("%d %s %s %s %d %s %v", l.Seq, who, l.Role, l.Kind, l.V, l.Data, items)
	text = strings.ReplaceAll(text, job, "JOB")
	return randomCode.ReplaceAllString(randomWho.ReplaceAllString(text, `"WHO"`), "CODE")
}
