package unit

import "math"

// Span is an estimate with its interval. Low and High are the ends of the
// interval in the unit of Centre, and Confidence (0 to 1) is the confidence
// really reached, not the one wished for. The interval need not be symmetric.
type Span struct {
	Centre     float64
	Low        float64
	High       float64
	Confidence float64
}

// Around returns the symmetric span centre ± half.
func Around(centre, half, confidence float64) Span {
	half = math.Abs(half)
	return Span{Centre: centre, Low: centre - half, High: centre + half, Confidence: confidence}
}

// Half is half the width of the interval.
func (s Span) Half() float64 { return (s.High - s.Low) / 2 }

// Contains reports whether v lies in the interval, ends included.
func (s Span) Contains(v float64) bool { return s.Low <= v && v <= s.High }

// Scale multiplies the span by f; a negative f swaps the ends.
func (s Span) Scale(f float64) Span {
	low, high := s.Low*f, s.High*f
	if f < 0 {
		low, high = high, low
	}
	return Span{Centre: s.Centre * f, Low: low, High: high, Confidence: s.Confidence}
}

// Range prints the ends to the decimals of step: "2518 to 2673".
func (s Span) Range(step float64) string {
	return ForStep(s.Low, step) + " to " + ForStep(s.High, step)
}

// PlusMinus prints the centre and half the width: "0.0 ± 0.6".
func (s Span) PlusMinus(decimals int) string {
	return Figure(s.Centre, decimals) + " ± " + Figure(s.Half(), decimals)
}
