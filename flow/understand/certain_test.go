package understand

import "testing"

// The pairs that are certain come beside the ask for the rest.
func TestReadingsCertain(t *testing.T) {
	for _, c := range []struct{ text, want, ask string }{
		{"65/66 60/60 dash 70 gps 71", "65/66 mph; 60/60 mph; 70/71 mph", ""},
		{"dash 66 gps 70 and 57 gps 60", "66/70 mph; 57/60 mph", ""},
		{"65/66 60/60 70 gps 71", "65/66 mph; 60/60 mph", AskReadingWhich},
		{"66/70, 57/60, 60 or 61", "66/70 mph; 57/60 mph", AskReadingRangeOf},
		{"66/70, 57/60, 4750", "66/70 mph; 57/60 mph", AskReadingSingle},
		{"66 or 67/70", "", AskReadingRangeOf},
		{"66/60/70 57", "", AskReadingWhich},
	} {
		ms, ask := Readings(c.text, Context{})
		code := ""
		if ask != nil {
			code = ask.Code
		}
		if got := echoes(ms, nil).echo; got != c.want && !(got == "none" && c.want == "") || code != c.ask {
			t.Errorf("%q: %s, ask %q; want %s, ask %q", c.text, got, code, c.want, c.ask)
		}
	}
}
