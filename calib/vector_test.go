package calib

import (
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"testing"
)

// vector is one row of testdata/vectors/method.json: the two tables of the method page, section 13.
type vector struct {
	Name   string `json:"name"`
	Target bool   `json:"target"` // Target, not Review
	Case   Case   `json:"case"`
	Want   struct {
		Cp        *float64   `json:"cp"`
		SpPercent *float64   `json:"sp_percent"`
		U         *float64   `json:"u"`
		B         *float64   `json:"b"`
		Star      *float64   `json:"s_star"`
		PlusMinus *float64   `json:"plus_minus_at_w"` // belongs to S*
		Speeds    []float64  `json:"speeds"`
		Errors    []float64  `json:"errors"` // with the value of ErrorsOf
		ErrorsOf  float64    `json:"errors_of"`
		Do        Action     `json:"do"`
		Value     *Value     `json:"value"`
		Near      *float64   `json:"near"`
		Codes     []Code     `json:"codes"`
		NoTarget  bool       `json:"no_target"`
		TrueStar  *float64   `json:"s_star_true"` // S* under policy true
		LeftAt    []float64  `json:"left_at"`     // speed, error left with the answer's errors
		Doubtful  []doubtful `json:"doubtful"`
	} `json:"want"`
}

type doubtful struct {
	Index  int     `json:"index"`
	Z      float64 `json:"z"`
	Weight float64 `json:"weight"`
}

// TestMethodVectors: method page, section 13, both tables; tolerances 0.1 mm and 0.01 mph as stated there, other
// figures half a unit of the last digit printed.
func TestMethodVectors(t *testing.T) {
	data, err := os.ReadFile(filepath.Join("..", "testdata", "vectors", "method.json"))
	if err != nil {
		t.Fatal(err)
	}
	var vectors []vector
	if err := json.Unmarshal(data, &vectors); err != nil {
		t.Fatal(err)
	}
	if len(vectors) < 17 {
		t.Fatalf("%d vectors, the page has 17", len(vectors))
	}
	for _, v := range vectors {
		t.Run(v.Name, func(t *testing.T) { v.check(t) })
	}
}

func (v vector) check(t *testing.T) {
	near := func(what string, got float64, want *float64, tolerance float64) {
		t.Helper()
		if want != nil && !(math.Abs(got-*want) <= tolerance) {
			t.Errorf("%s = %.6g, want %.6g ± %g", what, got, *want, tolerance)
		}
	}
	m, err := newModel(&v.Case, !v.Target)
	if err != nil {
		t.Fatal(err)
	}
	var a Answer
	if v.Target {
		a, err = Target(v.Case)
	} else {
		a, err = Review(v.Case)
	}
	if err != nil {
		t.Fatal(err)
	}
	w := v.Want
	near("Cp", a.Prior.CircumferenceMM, w.Cp, 0.1)
	near("sp", a.Prior.SDPercent, w.SpPercent, 0.005)
	near("u", a.Estimate.U, w.U, 0.00001)
	near("b", a.Estimate.Offset, w.B, 0.001)
	near("S* of policy true", m.j.aimTrue(m.f), w.TrueStar, 0.1)
	if w.NoTarget {
		if a.Target != nil {
			t.Errorf("a target of %v, want none", a.Target.Value)
		}
	} else {
		near("S*", a.Target.CircumferenceMM, w.Star, 0.1)
		_, sd := m.f.errorAt(setting{S: m.choice.star}, m.j.W)
		near("± at W", m.f.kappa*sd, w.PlusMinus, 0.01)
	}
	for i, at := range w.Speeds {
		mean, _, err := m.ErrorAt(Number(w.ErrorsOf), at)
		if err != nil {
			t.Fatal(err)
		}
		near("error", mean, &w.Errors[i], 0.01)
	}
	for _, d := range w.Doubtful {
		n := a.Readings[d.Index]
		near("|r|/s", n.Z, &d.Z, 0.05)
		near("weight", n.Weight, &d.Weight, 0.005)
		if !n.Questioned {
			t.Errorf("reading %d is not questioned", d.Index)
		}
	}
	if w.Do != "" && a.Decision.Do != w.Do {
		t.Errorf("decision %s (%s), want %s", a.Decision.Do, a.Decision.Because, w.Do)
	}
	if w.Value != nil && (a.Decision.Value == nil || *a.Decision.Value != *w.Value) {
		t.Errorf("value %v, want %v", a.Decision.Value, *w.Value)
	}
	if w.Near != nil && (a.Decision.Near == nil || *a.Decision.Near != *w.Near) {
		t.Errorf("near %v, want %v", a.Decision.Near, *w.Near)
	}
	for _, c := range w.Codes {
		if !a.Has(c) {
			t.Errorf("no warning %s in %v", c, a.Warnings)
		}
	}
	if len(w.LeftAt) == 2 {
		for _, e := range a.Errors {
			if e.At == w.LeftAt[0] {
				near("error left", e.After, &w.LeftAt[1], 0.01)
			}
		}
	}
}
