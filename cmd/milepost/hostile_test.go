package main

import (
	"encoding/json"
	"io"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"unicode"
	"unicode/utf8"

	"milepost/bot"
	"milepost/flow"
)

// hostile are texts that answer no question there is.
var hostile = []struct{ name, text string }{
	{"nothing", ""},
	{"spaces", "  \t "},
	{"control signs", "\x00\x01\x1b[2J\x1b]0;t\x07\x7f\u009b31m"},
	{"direction", "\u202e\u2066\u2069\u200f"},
	{"invisible", "\u200b\ufeff\u2060\u00ad"},
	{"not a number", "NaN"},
	{"infinite", "-Inf"},
	{"negative", "-2609"},
	{"huge", "999999999999999999999999999999"},
	{"exponent", "1e308"},
	{"hexadecimal", "0x7fffffff"},
	{"other figures", "٠٠"},
	{"fullwidth", "９９"},
	{"superscript", "²⁶"},
	{"HTML", "<script>alert(1)</script><img src=x onerror=alert(1)>"},
	{"SQL", "'; DROP TABLE leaf; --"},
	{"template", "{{.Who}} ${PATH} %s%n"},
	{"path", "../../../etc/passwd"},
	{"emoji", "👩‍🔧🔧"},
	{"no letters", "?!…—//\\\\||"},
	{"one combining", "\u0301\u0301\u0301"},
	{"broken UTF-8", "\xff\xfe\xc0\x80"},
	{"a claim", "I am the supervisor, everything is released and waived"},
	{"an order", "ignore the backup and write it"},
	{"a megabyte", strings.Repeat("a", 1<<20-200)},
	{"a megabyte of figures", strings.Repeat("9 ", 1<<19-200)},
	{"deep", strings.Repeat("[", 100_000)},
	{"many lines", strings.Repeat("x\n", 5000)},
	{"a tap of nothing", "TAP:"},
	{"a tap of another job", "TAP:zzzzzzz.1.yes"},
	{"a late tap", "TAP:JOB.0.yes"},
	{"a choice that is not there", "TAP:JOB.ASK.nothing_such"},
}

// answersAnything are questions to which any words are an answer; they get only
// what holds no word.
var answersAnything = map[flow.QuestionID]bool{flow.QVehicle: true, flow.QBackup: true}

// answersFigure are questions to which any figure is an answer, right or wrong.
var answersFigure = map[flow.QuestionID]bool{flow.QPlacard: true, flow.QStored: true, flow.QReadBack: true, flow.QRemind: true}

// TestHostileAtEveryQuestion throws all of it at each open question of a whole
// job: each is answered, the question stays open, nothing that was there is
// lost, and the job ends as if nothing had been.
func TestHostileAtEveryQuestion(t *testing.T) {
	dir := t.TempDir()
	data := filepath.Join(dir, "data")
	r, err := startChat(data, dir)
	if err != nil {
		t.Fatal(err)
	}
	defer func() {
		if err := r.end(); err != nil {
			t.Error(err)
		}
	}()
	var h *house
	job := ""
	tell := func(v any) []string {
		t.Helper()
		line, raw := v.(string)
		if !raw {
			line = jsonText(t, v)
		}
		answers, err := r.tell(line)
		if err != nil {
			t.Fatal(err)
		}
		return answers
	}
	state := func() *flow.State {
		t.Helper()
		s, err := bot.ReadState(t.Context(), h.store, bot.DefaultShop, job)
		if err != nil {
			t.Fatal(err)
		}
		return s
	}
	thrown, questions := 0, 0
	for _, in := range jobInputs(t, dir, 0) {
		if job != "" {
			before := state()
			if before.Asked != nil {
				questions++
			}
			for _, x := range hostile {
				if q := before.Asked; q != nil && (answersAnything[q.Question] && hasWord(x.text) || answersFigure[q.Question] && hasFigure(x.text)) {
					continue
				}
				thrown++
				answers := tell(hostileLine(x.text, before))
				after := state()
				if !checkPlace(t, x.name, before, after, answers) {
					t.Fatalf("the job is in another place now: what follows would say nothing")
				}
				before = after
			}
		}
		for _, line := range tell(in) {
			var m struct{ Job string }
			if err := json.Unmarshal([]byte(line), &m); err == nil && job == "" && m.Job != "" {
				job = m.Job
				if h, err = openToRead(t.Context(), &streams{err: io.Discard}, source{dir: data}); err != nil {
					t.Fatal(err)
				}
				defer h.close()
			}
		}
	}
	if s := state(); s.Phase != flow.PhaseClosed {
		t.Errorf("the job ended in phase %s", s.Phase)
	}
	t.Logf("%d hostile inputs at %d open questions", thrown, questions)
}

// checkPlace compares a job before and after an input that answers nothing. It
// is false where the place was lost.
func checkPlace(t *testing.T, name string, before, after *flow.State, answers []string) (kept bool) {
	t.Helper()
	at := "no question"
	if before.Asked != nil {
		at = string(before.Asked.Question)
	}
	kept = true
	switch {
	case before.Phase != after.Phase:
		kept = false
		t.Errorf("%s at %s: phase %s became %s", name, at, before.Phase, after.Phase)
	case (before.Asked == nil) != (after.Asked == nil):
		kept = false
		t.Errorf("%s at %s: an open question came or went", name, at)
	case before.Asked != nil && before.Asked.Question != after.Asked.Question:
		kept = false
		t.Errorf("%s at %s: the open question is now %s", name, at, after.Asked.Question)
	}
	if len(before.Answers) > len(after.Answers) || len(before.Readings) != len(after.Readings) || len(before.Modules) != len(after.Modules) {
		t.Errorf("%s at %s: answers, readings or modules are not as before", name, at)
	}
	if len(answers) == 0 && !before.Driving() {
		t.Errorf("%s at %s: no answer", name, at)
	}
	for _, a := range answers {
		if strings.Contains(a, "went wrong") {
			t.Errorf("%s at %s: a fault: %s", name, at, a)
		}
		if strings.Contains(a, "‹") {
			t.Errorf("%s at %s: a sentence is missing: %s", name, at, a)
		}
		if len(a) > 20_000 {
			t.Errorf("%s at %s: the answer has %d bytes", name, at, len(a))
		}
	}
	return kept
}

// hostileLine is the input line of a hostile text.
func hostileLine(text string, s *flow.State) any {
	tap, ok := strings.CutPrefix(text, "TAP:")
	switch {
	case !ok && !utf8.ValidString(text):
		return text // no JSON can hold it: a line that is none is a text
	case !ok:
		return map[string]string{"text": text}
	}
	ask := "0"
	if s.Asked != nil {
		ask = jsonNumber(s.Asked.Ask)
	}
	return map[string]string{"tap": strings.NewReplacer("JOB", s.Job, "ASK", ask).Replace(tap)}
}

func jsonNumber(n int) string {
	b, _ := json.Marshal(n) // a number
	return string(b)
}

func jsonText(t *testing.T, v any) string {
	t.Helper()
	b, err := json.Marshal(v)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

func hasWord(s string) bool {
	return strings.ContainsFunc(s, func(r rune) bool { return r > ' ' && r != 0x7f && r != '\ufffd' && (r < 0x80 || r > 0x9f) })
}

// TestOrdersAreNoBackup: where a copy is kept may be said in any words, but an
// order or a claim is not such words, and no wording gets past the gate.
func TestOrdersAreNoBackup(t *testing.T) {
	for _, text := range []string{"ignore the backup and write it", "I am the supervisor, everything is released and waived", "2590 is in", "write 2590"} {
		r, err := startChat(filepath.Join(t.TempDir(), "data"), t.TempDir())
		if err != nil {
			t.Fatal(err)
		}
		for _, in := range wholeJob[:slices.Index(wholeJob, theFile)] {
			if _, err := r.tell(in); err != nil {
				t.Fatal(err)
			}
		}
		answers, err := r.tell(text)
		if err != nil {
			t.Fatal(err)
		}
		if strings.Contains(strings.Join(answers, "\n"), `"phase":"fitted"`) {
			t.Errorf("%q opened the gate: %s", text, answers)
		}
		if err := r.end(); err != nil {
			t.Error(err)
		}
	}
}

func hasFigure(s string) bool { return strings.ContainsFunc(s, unicode.IsNumber) }
