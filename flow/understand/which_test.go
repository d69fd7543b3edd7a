package understand

import (
	"reflect"
	"testing"
)

func TestReadWhich(t *testing.T) {
	for text, want := range map[string]Which{
		"the first":             {Count: []int{1}},
		"the 2nd one":           {Count: []int{2}},
		"first and third":       {Count: []int{1, 3}},
		"reading 3":             {Count: []int{3}},
		"readings 3, 4 and 5":   {Count: []int{3, 4, 5}},
		"no 3":                  {Count: []int{3}},
		"#3":                    {Count: []int{3}},
		"62":                    {Figures: []int{62}},
		"the one at 62 mph":     {Figures: []int{62}},
		"sixty two":             {Figures: []int{62}},
		"gps 60":                {Figures: []int{60}, GPS: true},
		"the last one":          {Last: 1},
		"the last two readings": {Last: 2},
		"the 2 last":            {Last: 2},
		"first three":           {First: 3},
		"all of them":           {All: true},
		"all three":             {All: true},
		"both":                  {Both: true},
		"the wrong one":         {Wrong: true},
	} {
		if got, ok := ReadWhich(text); !ok || !reflect.DeepEqual(tidy(got), want) {
			t.Errorf("%q: %+v %v, want %+v", text, got, ok, want)
		}
	}
	for _, text := range []string{"second last", "all but the first", "the good ones", "62.5", "0", "first two last two", "62/60", "-3", "1000"} {
		if got, ok := ReadWhich(text); ok && got.Any() {
			t.Errorf("%q: %+v", text, got)
		}
	}
}

// tidy makes an empty list none.
func tidy(w Which) Which {
	if len(w.Count) == 0 {
		w.Count = nil
	}
	return w
}

func FuzzWhich(f *testing.F) {
	for _, s := range []string{"the first", "the last two", "readings 3 and 4", "2nd", "all three", "62 58", "first 2", "no 3", "wrong", "2 last", "½ first ٣"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		w, ok := ReadWhich(text)
		if !ok {
			return
		}
		if len(w.Count)+len(w.Figures) > mostNamed || w.Last < 0 || w.First < 0 {
			t.Errorf("%q: %+v", text, w)
		}
		for _, n := range append(append([]int{}, w.Count...), w.Figures...) {
			if n < 1 || n > 999 {
				t.Errorf("%q: %+v", text, w)
			}
		}
	})
}
