package journal

import (
	"fmt"
	"testing"

	"github.com/gowebpki/jcs"
	"pgregory.net/rapid"
)

// What is taken for canonical beyond doubt must be what the full way makes of it
// (RFC 8785; github.com/gowebpki/jcs is an implementation of its own).
func TestPlainNumbersAreCanonical(t *testing.T) {
	for _, c := range []struct {
		text string
		ok   bool
	}{
		{"0", true}, {"-0", false}, {"7", true}, {"-12", true}, {"007", false}, {"123456789012345", true}, {"1234567890123456", false},
		{"0.5", true}, {"-0.5", true}, {"2438.25", true}, {"1.0", false}, {"1.", false}, {"0.00001", true}, {"0.000001", false},
		{"12.34567890123456", false}, {"1e3", false}, {"1.5e3", false}, {"0.0", false}, {"-", false},
	} {
		n, ok := plain([]byte(c.text), 0)
		if ok = ok && n == len(c.text); ok != c.ok {
			t.Errorf("plain(%s) = %v", c.text, ok)
		}
	}
	rapid.Check(t, func(t *rapid.T) {
		text := fmt.Sprintf(`{"a":%s%d.%s}`, rapid.SampledFrom([]string{"", "-"}).Draw(t, "sign"),
			rapid.Uint64Max(1e15).Draw(t, "whole")%rapid.SampledFrom([]uint64{10, 1e4, 1e9, 1e15}).Draw(t, "size"),
			rapid.StringMatching(`[0-9]{1,12}`).Draw(t, "decimals"))
		if n, ok := plain([]byte(text), 0); !ok || n != len(text) {
			return
		}
		if want, err := jcs.Transform([]byte(text)); err != nil || string(want) != text {
			t.Fatalf("%s taken for canonical, which is %s (%v)", text, want, err)
		}
	})
}
