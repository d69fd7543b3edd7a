// Package vin checks a vehicle identification number: its length, its
// characters and, where the law asks for one, its check digit.
//
// The check digit is law in North America only (49 CFR 565.15, Tables III to V,
// seen in a reproduction). Elsewhere position 9 belongs to the maker (ISO 3779,
// from memory), so a check that does not hold is then no error but a question.
//
// Blind spots: characters of equal value are interchangeable to the check
// (1AJ, 2BKS, 3CLT, 4DMU, 5ENV, 6FW, 7GPX, 8HY, 9RZ), so an A typed as J is not
// caught; position 9 itself has weight 0. A number that holds is not thereby a
// real vehicle's.
package vin

import "strings"

// Length is the number of characters of a vehicle identification number
// (49 CFR 565.13, from memory; ISO 3779).
const Length = 17

// Verdict says what the check digit proves.
type Verdict string

// The outcomes of the check digit, spelled as the contract spells them.
const (
	Holds       Verdict = "holds"
	Fails       Verdict = "fails"        // North American: the number is wrong
	NotRequired Verdict = "not_required" // made elsewhere, position 9 does not match and need not
)

// Problem says why a text is not a vehicle identification number at all. Empty
// means there is none.
type Problem string

// The problems a text can have.
const (
	NoProblem     Problem = ""
	WrongLength   Problem = "length"    // not 17 characters
	BadCharacter  Problem = "character" // something other than A to Z and 0 to 9
	LetterIOQ     Problem = "letter"    // I, O or Q, which no number contains
	AllSame       Problem = "all_same"  // one character 17 times; passes the sum, means nothing
	CheckMismatch Problem = "check"     // North American and the check digit fails
)

// Result is what can be said of one text.
type Result struct {
	Text     string  // folded: upper case, no spaces, dots or hyphens
	Check    Verdict // empty when the digit could not be worked out
	Problem  Problem // empty when the number can be used
	Question bool    // usable, but position 9 does not match: worth asking whether it was copied right
	Offer    string  // Text with I to 1, O and Q to 0, where that may be meant; never applied by itself
	Sum      int     // sum of the products; 0 when not worked out
	Digit    byte    // the digit or X that position 9 should hold; 0 when not worked out
}

// OK reports whether the number can be used. A result that is OK may still
// carry a Question.
func (r Result) OK() bool { return r.Problem == NoProblem }

// weights by position, 49 CFR 565.15 Table IV (seen in a reproduction).
var weights = [Length]int{8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2}

// values of A to Z, 49 CFR 565.15 Table III (seen in a reproduction); 0 marks
// the letters that do not occur.
var values = [26]int{
	1, 2, 3, 4, 5, 6, 7, 8, 0, // A to I
	1, 2, 3, 4, 5, 0, 7, 0, 9, // J to R
	2, 3, 4, 5, 6, 7, 8, 9, // S to Z
}

// maxInput bounds the text looked at; longer texts have the wrong length anyway.
const maxInput = 256

// Check folds text (case, spaces, dots, hyphens) and checks it. It never
// changes a character by itself: a likely slip is only offered.
func Check(text string) Result {
	r := Result{Text: fold(text)}
	if len([]rune(r.Text)) != Length {
		r.Problem = WrongLength
		return r
	}
	for _, c := range r.Text {
		if !(c >= '0' && c <= '9' || c >= 'A' && c <= 'Z') {
			r.Problem = BadCharacter
			return r
		}
	}
	if strings.ContainsAny(r.Text, "IOQ") {
		r.Problem = LetterIOQ
		r.Offer = strings.NewReplacer("I", "1", "O", "0", "Q", "0").Replace(r.Text)
		return r
	}
	r.Sum, r.Digit = digit(r.Text)
	r.Check = Holds
	if r.Text[8] != r.Digit {
		r.Check = NotRequired
		if northAmerican(r.Text) {
			r.Check = Fails
		}
	}
	switch {
	case strings.Count(r.Text, r.Text[:1]) == Length:
		r.Problem = AllSame
	case r.Check == Fails:
		r.Problem = CheckMismatch
	case r.Check == NotRequired:
		r.Question = true
	}
	return r
}

// digit works out the sum of products and the digit that position 9 should
// hold, for 17 characters without I, O and Q (49 CFR 565.15 Tables III to V).
func digit(text string) (sum int, want byte) {
	for i, c := range []byte(text) {
		v := int(c - '0')
		if c >= 'A' {
			v = values[c-'A']
		}
		sum += v * weights[i]
	}
	if sum%11 == 10 {
		return sum, 'X'
	}
	return sum, byte('0' + sum%11)
}

// northAmerican reports whether the first character is one of the codes 1 to 5,
// for which the check digit is law (ISO 3780 codes from memory).
func northAmerican(text string) bool { return text[0] >= '1' && text[0] <= '5' }

// fold drops the marks people group the characters with, and upper-cases.
func fold(text string) string {
	if len(text) > maxInput {
		text = text[:maxInput]
	}
	text = strings.ToValidUTF8(text, "?") // one bad byte stays one bad character
	return strings.Map(func(r rune) rune {
		if r >= '！' && r <= '～' { // full-width forms, as some keyboards type them
			r -= '！' - '!'
		}
		switch r {
		case ' ', '\t', '\n', '\r', '-', '.', '*', '\u00a0', '\u2009', '\u202f', '\u3000':
			return -1
		}
		if r >= 'a' && r <= 'z' {
			r -= 'a' - 'A'
		}
		return r
	}, text)
}
