package unit_test

import (
	"fmt"

	"milepost/calib/unit"
)

func ExampleForStep() {
	fmt.Println(unit.ForStep(2609.2, 1), unit.ForStep(106.5, 0.1))
	// Output: 2609 106.5
}

func ExampleSpan() {
	target := unit.Span{Centre: 2596, Low: 2518, High: 2673, Confidence: 0.95}
	fmt.Println(unit.Figure(target.Centre, 0), "mm,", target.Range(1))
	// Output: 2596 mm, 2518 to 2673
}

func ExampleSpeed_To() {
	// 70 mph on a km/h dash.
	fmt.Println(unit.Figure(unit.MPH.To(70, unit.KMH), 1), unit.KMH)
	// Output: 112.7 km/h
}
