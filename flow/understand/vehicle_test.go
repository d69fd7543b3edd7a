package understand

import "testing"

func TestVehicleName(t *testing.T) {
	for text, want := range map[string]string{
		"new job unit A, at home":          "unit A",
		"new job Van A":                    "Van A",
		"new job unit 14, with a":          "unit 14",
		"it's a grey van, in the bay":      "grey van",
		"new job unit 14 with odo 48210mi": "unit 14",
	} {
		m, ask := Open(text, Context{})
		if ask != nil || m.Value.Vehicle != want {
			t.Errorf("%q: vehicle %q, %v, want %q", text, m.Value.Vehicle, ask, want)
		}
	}
}
