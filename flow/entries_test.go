package flow

import (
	"bytes"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
)

// stored is an entry of testdata/entries: what was written once and must be read
// for ever. The files are never edited; a new form is a new version and a new
// file, named KIND-vVERSION.json.
type stored struct {
	Kind Kind            `json:"kind"`
	V    int             `json:"v"`
	Data json.RawMessage `json:"data"`
	Line string          `json:"line"` // what the entry is read as, in one line
}

func TestStoredEntries(t *testing.T) {
	paths, err := filepath.Glob("../testdata/entries/*.json")
	if err != nil {
		t.Fatal(err)
	}
	seen := map[string]bool{}
	for _, p := range paths {
		b, err := os.ReadFile(p)
		if err != nil {
			t.Fatal(err)
		}
		var s stored
		if err := json.Unmarshal(b, &s); err != nil {
			t.Fatalf("%s: %v", p, err)
		}
		name := fmt.Sprintf("%s-v%d", s.Kind, s.V)
		if strings.TrimSuffix(filepath.Base(p), ".json") != name {
			t.Errorf("%s holds %s", p, name)
		}
		seen[name] = true
		e := Entry{Seq: 1, Kind: s.Kind, V: s.V}
		if err := Decode(&e, s.Data); err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		if _, unknown := e.Fact.(*Unknown); unknown || e.Fact.Kind() != s.Kind {
			t.Errorf("%s is not known any more", name)
			continue
		}
		var compact bytes.Buffer
		if err := json.Compact(&compact, s.Data); err != nil {
			t.Fatal(err)
		}
		again, err := Encode(&e)
		if err != nil {
			t.Fatal(err)
		}
		if s.V == version(s.Kind) && !bytes.Equal(again, compact.Bytes()) {
			t.Errorf("%s is written otherwise now:\n%s\n%s", name, again, compact.Bytes())
		}
		if got := Line(e); got != s.Line {
			t.Errorf("%s reads %q, was %q", name, got, s.Line)
		}
		if zero := unsaid(reflect.ValueOf(e.Fact).Elem(), ""); s.V == version(s.Kind) && len(zero) > 0 {
			t.Errorf("%s says nothing of %v: the file shows no whole entry", name, zero)
		}
		Fold("shop", "J1", []Entry{e}) // whatever came before it
	}
	for kind, versions := range decoders {
		for v := range versions {
			if name := fmt.Sprintf("%s-v%d", kind, v); !seen[name] {
				t.Errorf("testdata/entries has no %s.json", name)
			}
		}
	}
}

// mayBeUnsaid are fields that stand in no file since they exclude others, or
// came after the file was written.
var mayBeUnsaid = map[string]bool{
	"AlertFact.Room":       true,
	"AlertFact.Told":       true,
	"AmendedFact.Waits":    true,
	"ChangeFact.Of":        true,
	"CodesFact.NewLamps":   true,
	"CodesFact.Unread":     true,
	"DeviationFact.Own":    true,
	"PersonFact.Called":    true,
	"ReadingFact.DashStep": true,
	"ReadingFact.GPSStep":  true,
	"StruckFact.DashStep":  true,
	"StruckFact.GPSStep":   true,
	"WriteFact.Of":         true,
}

// unsaid lists the fields of a fact that a file leaves out.
func unsaid(v reflect.Value, at string) (names []string) {
	for i := range v.NumField() {
		f, name := v.Field(i), at+v.Type().Field(i).Name
		switch {
		case f.Kind() == reflect.Struct && f.Type() != reflect.TypeFor[Value]() && f.Type().PkgPath() == v.Type().PkgPath():
			names = append(names, unsaid(f, name+".")...)
		case f.IsZero() && !mayBeUnsaid[v.Type().Name()+"."+name]:
			names = append(names, name)
		}
	}
	return names
}
