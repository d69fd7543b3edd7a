package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"regexp"
	"strings"
	"testing"
)

const deskCase = `{"id":"a1","known":{"value_kind":"circumference_mm","stored_factory_value":2438,"factory_size":"LT265/70R17","new_size":"LT305/70R17"},` +
	`"drives":[{"value":2438,"readings":[{"indicated":66,"reference":70},{"indicated":57,"reference":60},{"indicated":47,"reference":50},{"indicated":61,"reference":65},{"indicated":52,"reference":55}]}]}`

func run(t *testing.T, input string, lines bool) (out []string, err error) {
	t.Helper()
	var b bytes.Buffer
	err = runReview(strings.NewReader(input), &b, lines)
	text := strings.TrimSuffix(b.String(), "\n")
	if text == "" {
		return nil, err
	}
	return strings.Split(text, "\n"), err
}

func TestReviewSingle(t *testing.T) {
	spread := strings.ReplaceAll(deskCase, ",", ",\n ")
	out, err := run(t, spread, false)
	if err != nil || len(out) != 1 {
		t.Fatalf("%d lines, %v", len(out), err)
	}
	var a struct {
		ID       string
		Method   string
		Decision struct {
			Do    string
			Value float64
		}
		Errors   []map[string]any
		Readings []map[string]any
		Warnings []any
	}
	if err := json.Unmarshal([]byte(out[0]), &a); err != nil {
		t.Fatal(err)
	}
	if a.ID != "a1" || a.Method != "cal-1" || a.Decision.Do != "write" || a.Decision.Value != 2589 {
		t.Errorf("got %+v", a)
	}
	for _, key := range []string{"at", "unit", "before", "after", "plus_minus"} {
		if _, ok := a.Errors[0][key]; !ok {
			t.Errorf("errors have no %q", key)
		}
	}
	for _, key := range []string{"drive", "index", "indicated", "reference", "weight", "z", "questioned"} {
		if _, ok := a.Readings[0][key]; !ok {
			t.Errorf("readings have no %q", key)
		}
	}
	if a.Warnings == nil {
		t.Error("warnings are null, want a list")
	}
	if exponent := regexp.MustCompile(`\d[eE][+-]?\d`); exponent.MatchString(out[0]) {
		t.Errorf("a figure with an exponent in %s", out[0])
	}
}

func TestSingleUnusable(t *testing.T) {
	out, err := run(t, `{"id":7,"known":{}}`, false)
	if !errors.Is(err, errUnusable) {
		t.Errorf("error %v", err)
	}
	if len(out) != 1 || !strings.HasPrefix(out[0], `{"id":7,"error":{"field":"known.`) {
		t.Errorf("got %q", out)
	}
}

// TestLinesGoOn: a line that can't be used gives the error object and the run goes on with the next.
func TestLinesGoOn(t *testing.T) {
	long := `{"id":"` + strings.Repeat("x", maxCase) + `"}`
	input := strings.Join([]string{deskCase, "no json", long, "", `{"id":"b","known":{"dash_unit":3}}`,
		strings.Replace(deskCase, `"LT305/70R17"`, `"33s"`, 1), `[1]`, strings.Replace(deskCase, `"a1"`, `{"x":1}`, 1), deskCase}, "\n")
	out, err := run(t, input, true)
	if err != nil {
		t.Fatal(err)
	}
	want := []string{`{"id":"a1","method":`, `{"id":null,"error":{"field":"",`, `{"id":null,"error":{"field":"",`,
		`{"id":"b","error":{"field":"known.dash_unit",`, `{"id":"a1","error":{"field":"known.new_size",`, `{"id":null,"error":{`,
		`{"id":null,"error":{"field":"id",`, `{"id":"a1","method":`}
	if len(out) != len(want) {
		t.Fatalf("%d lines, want %d", len(out), len(want))
	}
	for i := range want {
		if !strings.HasPrefix(out[i], want[i]) {
			t.Errorf("line %d: %.120s, want %s…", i, out[i], want[i])
		}
	}
}

func TestTargetLine(t *testing.T) {
	var b bytes.Buffer
	if err := runTarget(strings.NewReader(deskCase), &b, true); err != nil {
		t.Fatal(err)
	}
	for _, part := range []string{`"do":"write","value":2595`, `"quantity":"circumference"`, `"circumference_mm":2594.68`, `"readings":[]`} {
		if !strings.Contains(b.String(), part) {
			t.Errorf("no %s in %s", part, b.String())
		}
	}
}

func TestNothingIn(t *testing.T) {
	if out, err := run(t, "\n \n", true); err != nil || out != nil {
		t.Errorf("lines: %q, %v", out, err)
	}
	if out, err := run(t, "", false); !errors.Is(err, errUnusable) || len(out) != 1 {
		t.Errorf("single: %q, %v", out, err)
	}
}

type brokenPipe struct{}

func (brokenPipe) Write([]byte) (int, error) { return 0, fmt.Errorf("broken pipe") }

func TestWriteError(t *testing.T) {
	if err := runReview(strings.NewReader(deskCase+"\n"), brokenPipe{}, true); err == nil {
		t.Error("no error from a broken pipe")
	}
}

// BenchmarkReviewLines is the desk command with reading and printing of JSON: reviews/s on one core.
func BenchmarkReviewLines(b *testing.B) {
	line := deskCase + "\n"
	input := strings.Repeat(line, 1000)
	for b.Loop() {
		var out bytes.Buffer
		if err := runReview(strings.NewReader(input), &out, true); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(b.N)*1000/b.Elapsed().Seconds(), "reviews/s")
}
