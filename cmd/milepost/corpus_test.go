package main

import (
	"bufio"
	"bytes"
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// TestUnderstandCorpus reads the corpora through the command.
func TestUnderstandCorpus(t *testing.T) {
	for _, kind := range []string{"size", "reading"} {
		f, err := os.Open(filepath.Join("..", "..", "..", "shared", "corpus", kind+"s.jsonl"))
		if os.IsNotExist(err) {
			t.Skipf("the corpora are not beside the module: %v", err)
		}
		if err != nil {
			t.Fatal(err)
		}
		defer f.Close()
		n := 0
		for s := bufio.NewScanner(f); s.Scan(); n++ {
			var c struct {
				Text, Unit string
				Want       json.RawMessage
				WantUnit   string `json:"want_unit"`
			}
			if err := json.Unmarshal(s.Bytes(), &c); err != nil {
				t.Fatalf("%s: %v", s.Text(), err)
			}
			var out, errs bytes.Buffer
			args := []string{"understand", kind}
			if c.Unit != "" {
				args = append(args, "--unit", c.Unit)
			}
			if code := execute(append(args, "--", c.Text), &streams{in: strings.NewReader(""), out: &out, err: &errs}); code != exitDone {
				t.Errorf("%q: exit code %d: %s", c.Text, code, errs.String())
				continue
			}
			var got struct {
				Understood bool
				Ask        string
				Size       map[string]any
				Readings   []struct {
					Indicated, Reference float64
					Unit                 string
				}
			}
			if err := json.Unmarshal(out.Bytes(), &got); err != nil {
				t.Errorf("%q: %v", c.Text, err)
				continue
			}
			if string(c.Want) == `"ask"` {
				if got.Understood || got.Ask == "" {
					t.Errorf("%q: understood: %s", c.Text, out.String())
				}
				continue
			}
			if kind == "size" {
				checkSize(t, c.Text, c.Want, got.Size)
				continue
			}
			var want [][2]float64
			if err := json.Unmarshal(c.Want, &want); err != nil {
				t.Fatalf("%s: %v", c.Want, err)
			}
			if len(want) != len(got.Readings) {
				t.Errorf("%q: %s, want %s", c.Text, out.String(), c.Want)
				continue
			}
			for i, r := range got.Readings {
				if r.Indicated != want[i][0] || r.Reference != want[i][1] || c.WantUnit != "" && r.Unit != c.WantUnit {
					t.Errorf("%q: %s, want %s %s", c.Text, out.String(), c.Want, c.WantUnit)
				}
			}
		}
		if n == 0 {
			t.Errorf("%s: an empty corpus", kind)
		}
	}
}

// checkSize compares what the corpus says of a size; diameters to 0.1 mm.
func checkSize(t *testing.T, text string, raw json.RawMessage, got map[string]any) {
	t.Helper()
	var want map[string]any
	if err := json.Unmarshal(raw, &want); err != nil {
		t.Fatalf("%s: %v", raw, err)
	}
	for k, w := range want {
		if num, ok := w.(float64); ok {
			if g, ok := got[k].(float64); !ok || math.Abs(g-num) > 0.051 {
				t.Errorf("%q: %s is %v, want %v", text, k, got[k], w)
			}
		} else if got[k] != w {
			t.Errorf("%q: %s is %v, want %v", text, k, got[k], w)
		}
	}
}
