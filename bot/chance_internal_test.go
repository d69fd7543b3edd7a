package bot

import (
	"crypto/rand"
	"strings"
	"testing"

	"milepost/flow/understand"
)

// Every code that is given out is read again, however it is typed.
func TestGuestCodesAreRead(t *testing.T) {
	for range 5000 {
		code, err := guestCode(rand.Reader)
		if err != nil {
			t.Fatal(err)
		}
		for _, typed := range []string{code, strings.ToLower(code), "my code is " + strings.ToLower(strings.ReplaceAll(code, "-", " "))} {
			if m, ok := understand.GuestCode(typed); !ok || m.Value != code {
				t.Fatalf("%q is read as %q", typed, m.Value)
			}
		}
	}
}
