package vin_test

import (
	"fmt"
	"strings"
	"testing"

	"milepost/calib/vin"
)

// check-values.md section 6: 49 CFR 565.15 Tables III to V with its worked
// sample (seen in a reproduction); the other numbers are made up, their sums
// recomputed.
func TestCheck(t *testing.T) {
	for _, row := range []struct {
		text    string
		sum     int
		digit   byte
		check   vin.Verdict
		problem vin.Problem
	}{
		{"1G4AH59H45G118341", 411, '4', vin.Holds, vin.NoProblem}, // the regulation's own sample
		{"11111111111111111", 89, '1', vin.Holds, vin.AllSame},    // the arithmetic holds and proves nothing
		{"00000000000000000", 0, '0', vin.Holds, vin.AllSame},
		{"9AATYRE06S0012345", 237, '6', vin.Holds, vin.NoProblem},
		{"9AATYRE07S0012354", 238, '7', vin.Holds, vin.NoProblem},
		{"ZZZTEST1XR0000001", 329, 'X', vin.Holds, vin.NoProblem},
		{"1ZZTEST49V0271828", 372, '9', vin.Holds, vin.NoProblem},
		{"1ZZTEST49V0281828", 378, '4', vin.Fails, vin.CheckMismatch}, // 7 typed as 8, first character 1: an error
		{"3ZZTEST09W0161803", 328, '9', vin.Holds, vin.NoProblem},
		{"5ZZTEST2XY0112358", 362, 'X', vin.Holds, vin.NoProblem},
		{"ZZZTEST72P0314159", 453, '2', vin.Holds, vin.NoProblem},
		{"9AATYRE06S0012354", 238, '7', vin.NotRequired, vin.NoProblem}, // outside North America: a question
		{"9AATYRE06S0021345", 238, '7', vin.NotRequired, vin.NoProblem},
		{"9AATYR0E6S0012345", 277, '2', vin.NotRequired, vin.NoProblem},
		{"9AATYRE03S0012345", 237, '6', vin.NotRequired, vin.NoProblem},
		{"9JATYRE06S0012345", 237, '6', vin.Holds, vin.NoProblem}, // A typed as J: the blind spot
		{"9AATYRE06S00I2345", 0, 0, "", vin.LetterIOQ},
		{"ZZZTESTIXRQ000001", 0, 0, "", vin.LetterIOQ},
		{"9AATYRE06S001234", 0, 0, "", vin.WrongLength},
	} {
		got := vin.Check(row.text)
		if got.Sum != row.sum || got.Digit != row.digit || got.Check != row.check || got.Problem != row.problem {
			t.Errorf("%s: got sum %d digit %q %s %s, want %d %q %s %s", row.text,
				got.Sum, got.Digit, got.Check, got.Problem, row.sum, row.digit, row.check, row.problem)
		}
		if got.OK() != (row.problem == vin.NoProblem) || got.Question != (row.check == vin.NotRequired) {
			t.Errorf("%s: OK %v, Question %v", row.text, got.OK(), got.Question)
		}
	}
}

func TestCheckFoldsAndOffers(t *testing.T) {
	for _, row := range []struct{ name, text, folded, offer string }{
		{"lower case, spaces", " 1g4 ah59h4 5g118341\n", "1G4AH59H45G118341", ""},
		{"hyphens", "1G4-AH59H45-G118341", "1G4AH59H45G118341", ""},
		{"as printed between stars", "*1G4AH59H45G118341*", "1G4AH59H45G118341", ""},
		{"full-width", "１ｇ４AH59H45G118341", "1G4AH59H45G118341", ""},
		{"I for 1", "9AATYRE06S00I2345", "9AATYRE06S00I2345", "9AATYRE06S0012345"},
		{"I and Q", "ZZZTESTIXRQ000001", "ZZZTESTIXRQ000001", "ZZZTEST1XR0000001"},
		{"O for 0", "9aatyreo6s0012345", "9AATYREO6S0012345", "9AATYRE06S0012345"},
	} {
		got := vin.Check(row.text)
		if got.Text != row.folded || got.Offer != row.offer {
			t.Errorf("%s: got %q offering %q, want %q offering %q", row.name, got.Text, got.Offer, row.folded, row.offer)
		}
		if row.offer != "" && vin.Check(row.offer).Check != vin.Holds {
			t.Errorf("%s: the offer %q does not hold", row.name, row.offer)
		}
	}
	if got := vin.Check("9AATYRE06S00Ä2345"); got.Problem != vin.BadCharacter {
		t.Errorf("a letter outside A to Z: %q", got.Problem)
	}
	if got := vin.Check(""); got.Problem != vin.WrongLength {
		t.Errorf("no text: %q", got.Problem)
	}
	if got := vin.Check(strings.Repeat("1G4AH59H45G118341 ", 1<<16)); got.Problem != vin.WrongLength || len(got.Text) > 256 {
		t.Errorf("a very long text: %q, %d bytes kept", got.Problem, len(got.Text))
	}
}

// The North American rule goes by the first character, 1 to 5 (check-values.md
// section 6; codes from memory of ISO 3780).
func TestCheckRequiredByFirstCharacter(t *testing.T) {
	for _, first := range "0123456789ABCDEFGHJKLMNPRSTUVWXYZ" {
		text := string(first) + "ZZTEST4#V0281828"
		// Position 9 has weight 0, so it can be anything while asking for the digit.
		digit := vin.Check(strings.Replace(text, "#", "0", 1)).Digit
		other := byte('1')
		if digit == other {
			other = '2'
		}
		got := vin.Check(strings.Replace(text, "#", string(other), 1))
		want := vin.NotRequired
		if first >= '1' && first <= '5' {
			want = vin.Fails
		}
		if got.Check != want {
			t.Errorf("first character %c: %s, want %s", first, got.Check, want)
		}
	}
}

// The equal-value groups of check-values.md section 6 are what the check can't
// tell apart; across groups a single slip always shows.
func TestBlindSpots(t *testing.T) {
	groups := []string{"1AJ", "2BKS", "3CLT", "4DMU", "5ENV", "6FW", "7GPX", "8HY", "9RZ", "0"}
	at := 11
	base := "9AATYRE06S0012345"
	digit := func(c byte) byte {
		return vin.Check(base[:at] + string(c) + base[at+1:]).Digit
	}
	for i, g := range groups {
		for _, c := range []byte(g) {
			if digit(c) != digit(g[0]) {
				t.Errorf("%c and %c give different digits", c, g[0])
			}
		}
		for _, other := range groups[i+1:] {
			if digit(g[0]) == digit(other[0]) {
				t.Errorf("%c and %c give the same digit", g[0], other[0])
			}
		}
	}
}

func FuzzCheck(f *testing.F) {
	for _, seed := range []string{"", "1G4AH59H45G118341", "ZZZTESTIXRQ000001", "9aatyre0 6s0012345", "１G4", "\xff\xfe", "－", "\xa5" + strings.Repeat("I", 254) + "\xa4"} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, text string) {
		r := vin.Check(text)
		if (r.Check == "") != (r.Digit == 0) {
			t.Fatalf("%q: check %q with digit %q", text, r.Check, r.Digit)
		}
		if r.OK() && (len(r.Text) != vin.Length || strings.ContainsAny(r.Text, "IOQ")) {
			t.Fatalf("%q taken as %q", text, r.Text)
		}
		if again := vin.Check(r.Text); again != r {
			t.Fatalf("%q: %+v, read again %+v", text, r, again)
		}
	})
}

func ExampleCheck() {
	r := vin.Check("zzztestixrq000001")
	fmt.Println(r.Problem, r.Offer)
	fmt.Println(vin.Check(r.Offer).Check)
	// Output:
	// letter ZZZTEST1XR0000001
	// holds
}
