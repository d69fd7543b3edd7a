package unit

import (
	"math"
	"strconv"
	"strings"
)

// Unknown is printed where there is no number to print.
const Unknown = "unknown"

// maxDecimals bounds the decimals of a figure and of a step.
const maxDecimals = 9

// RoundHalfUp rounds to the nearest whole number, halves upwards (444.5 to 445,
// -0.5 to 0), as the conventional rim diameters of UN R30 and R54 are rounded.
func RoundHalfUp(v float64) float64 {
	f := math.Floor(v)
	if v-f >= 0.5 {
		f++
	}
	return f + 0 // a negative zero becomes zero
}

// RoundTo rounds v to decimals places, halves upwards, on the digits that print:
// 1.005 is 1.01 though its binary value lies just below the half.
func RoundTo(v float64, decimals int) float64 {
	if !finite(v) {
		return v
	}
	r, err := strconv.ParseFloat(Figure(v, decimals), 64)
	if err != nil {
		return v
	}
	return r
}

// Figure prints v with exactly that many decimals (0 to 9), halves rounded up,
// a plain ASCII minus, no thousands mark and never a negative zero. What is not
// a number, or not finite, prints as Unknown.
func Figure(v float64, decimals int) string {
	if !finite(v) {
		return Unknown
	}
	decimals = min(max(decimals, 0), maxDecimals)
	whole, frac, _ := strings.Cut(strconv.FormatFloat(math.Abs(v), 'f', -1, 64), ".")
	digits := whole + frac
	if len(frac) <= decimals {
		digits += strings.Repeat("0", decimals-len(frac))
	} else {
		cut := len(whole) + decimals
		rest := digits[cut:]
		digits = digits[:cut]
		if roundsAway(rest, v < 0) {
			digits = increment(digits)
		}
	}
	text := digits
	if decimals > 0 {
		text = digits[:len(digits)-decimals] + "." + digits[len(digits)-decimals:]
	}
	if v < 0 && strings.Trim(digits, "0") != "" {
		text = "-" + text
	}
	return text
}

// Signed prints v as Figure does, with a plus before what is above zero.
func Signed(v float64, decimals int) string {
	text := Figure(v, decimals)
	if v > 0 && text != Unknown && strings.Trim(text, "0.") != "" {
		return "+" + text
	}
	return text
}

// Count prints a whole number with a comma between thousands: 48,210.
func Count(n int64) string {
	digits := strconv.FormatInt(n, 10)
	sign := ""
	if n < 0 {
		sign, digits = "-", digits[1:]
	}
	var b strings.Builder
	b.WriteString(sign)
	for i, d := range digits {
		if i > 0 && (len(digits)-i)%3 == 0 {
			b.WriteByte(',')
		}
		b.WriteRune(d)
	}
	return b.String()
}

// ForStep prints v with just the decimals that a multiple of step needs: 2609
// for step 1 or 5, 106.5 for step 0.1 or 0.5. A step that is not above zero
// counts as 1.
func ForStep(v, step float64) string { return Figure(v, Decimals(step)) }

// Decimals is the number of decimals a multiple of step needs, 0 to 9.
func Decimals(step float64) int {
	if !finite(step) || step <= 0 {
		return 0
	}
	_, frac, _ := strings.Cut(strconv.FormatFloat(step, 'f', -1, 64), ".")
	return min(len(frac), maxDecimals)
}

// Percent prints a fraction as a percentage: Percent(0.07, 1) is "7.0 %".
func Percent(fraction float64, decimals int) string {
	text := Figure(fraction*100, decimals)
	if text == Unknown {
		return text
	}
	return text + " %"
}

// roundsAway decides by the digits cut off whether the magnitude grows. A half
// goes up, that is towards zero below zero.
func roundsAway(rest string, negative bool) bool {
	if negative && strings.TrimRight(rest, "0") == "5" {
		return false
	}
	return rest[0] >= '5'
}

// increment adds one to a string of decimal digits.
func increment(digits string) string {
	b := []byte(digits)
	for i := len(b) - 1; i >= 0; i-- {
		if b[i] < '9' {
			b[i]++
			return string(b)
		}
		b[i] = '0'
	}
	return "1" + string(b)
}

func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }
