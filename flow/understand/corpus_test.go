package understand

import (
	"bufio"
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"testing"
)

// shared finds a file of the shared folder beside the module.
func shared(t testing.TB, name string) string {
	t.Helper()
	dir, err := os.Getwd()
	if err != nil {
		t.Fatal(err)
	}
	for {
		if _, err := os.Stat(filepath.Join(dir, "go.mod")); err == nil {
			break
		}
		up := filepath.Dir(dir)
		if up == dir {
			t.Fatal("no module root above the test")
		}
		dir = up
	}
	path := filepath.Join(dir, "..", "shared", name)
	if _, err := os.Stat(path); err != nil {
		t.Skipf("shared data is not beside the module: %v", err)
	}
	return path
}

// lines decodes a file of one JSON object a line.
func lines[T any](t testing.TB, path string) []T {
	t.Helper()
	f, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	var out []T
	s := bufio.NewScanner(f)
	for s.Scan() {
		if len(s.Bytes()) == 0 {
			continue
		}
		var v T
		if err := json.Unmarshal(s.Bytes(), &v); err != nil {
			t.Fatalf("%s: %v: %s", filepath.Base(path), err, s.Text())
		}
		out = append(out, v)
	}
	if err := s.Err(); err != nil {
		t.Fatal(err)
	}
	return out
}

type readingLine struct {
	Text     string          `json:"text"`
	Unit     string          `json:"unit"`
	Want     json.RawMessage `json:"want"`
	WantUnit string          `json:"want_unit"`
	Code     string          `json:"code"` // of the ask, where it matters
}

func checkReadings(t *testing.T, path string) {
	ls := lines[readingLine](t, path)
	if len(ls) == 0 {
		t.Fatal("empty corpus")
	}
	for _, l := range ls {
		got, ask := Readings(l.Text, Context{SpeedUnit: l.Unit})
		if string(l.Want) == `"ask"` {
			if ask == nil {
				t.Errorf("%q: took %v, want an ask", l.Text, values(got))
			} else if l.Code != "" && ask.Code != l.Code {
				t.Errorf("%q: asked %s, want %s", l.Text, ask.Code, l.Code)
			}
			continue
		}
		var want [][2]float64
		if err := json.Unmarshal(l.Want, &want); err != nil {
			t.Fatal(err)
		}
		unit := l.Unit
		if l.WantUnit != "" {
			unit = l.WantUnit
		}
		if ask != nil {
			t.Errorf("%q: asked %s: %s", l.Text, ask.Code, ask.Text())
			continue
		}
		ok := len(got) == len(want)
		for i := 0; ok && i < len(want); i++ {
			r := got[i].Value
			ok = math.Abs(r.Indicated-want[i][0]) < 1e-9 && math.Abs(r.Reference-want[i][1]) < 1e-9 && r.Unit == unit
		}
		if !ok {
			t.Errorf("%q: took %v, want %v %s", l.Text, values(got), want, unit)
		}
	}
}

func values[T any](ms []Match[T]) []T {
	var out []T
	for _, m := range ms {
		out = append(out, m.Value)
	}
	return out
}

func TestReadingCorpus(t *testing.T) { checkReadings(t, shared(t, "corpus/readings.jsonl")) }
