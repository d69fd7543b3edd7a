package bot

import (
	"encoding/json"
	"reflect"
	"testing"

	"pgregory.net/rapid"

	"milepost/flow"
)

// Ordering the keys must change nothing but their order.
func TestOrderedKeepsTheContent(t *testing.T) {
	lo := 1.5
	for _, f := range []any{
		&flow.StoredFact{Value: flow.Value{Label: "LT265/70R17 \"x\" \\ {"}, Unit: "mm", Min: &lo, List: []flow.ListEntry{{Label: "b", CircumferenceMM: 2.25}, {Label: "a"}}},
		&flow.SaidFact{Key: "k", To: []flow.Who{"a", "b"}}, &flow.NoteFact{}, map[string]any{}, []any{}, "text", 1e-7, nil, true,
	} {
		same(t, f)
	}
	value := rapid.OneOf(
		rapid.Custom(func(t *rapid.T) any { return rapid.String().Draw(t, "text") }),
		rapid.Custom(func(t *rapid.T) any { return rapid.Float64Range(-1e30, 1e30).Draw(t, "number") }),
		rapid.Custom(func(t *rapid.T) any { return rapid.SliceOfN(rapid.Float64(), 0, 3).Draw(t, "list") }),
		rapid.Custom(func(t *rapid.T) any { return rapid.MapOfN(rapid.String(), rapid.Bool(), 0, 3).Draw(t, "inner") }),
	)
	rapid.Check(t, func(t *rapid.T) {
		same(t, struct {
			Z, A any
			M    any `json:"m"`
			B    any `json:"b<>&"`
		}{value.Draw(t, "z"), value.Draw(t, "a"), value.Draw(t, "m"), value.Draw(t, "b")})
	})
}

func same(t fataler, v any) {
	t.Helper()
	b, err := json.Marshal(v)
	if err != nil || len(b) == 0 || b[0] != '{' {
		return // NaN has no JSON; the leaf's data is an object
	}
	got := ordered(b)
	var want, have any
	err1, err2 := json.Unmarshal(b, &want), json.Unmarshal(got, &have)
	if err1 != nil || err2 != nil || !reflect.DeepEqual(want, have) || len(got) != len(b) {
		t.Fatalf("%s ordered is %s (%v, %v)", b, got, err1, err2)
	}
}

type fataler interface {
	Helper()
	Fatalf(string, ...any)
}
