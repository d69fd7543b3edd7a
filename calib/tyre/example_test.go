package tyre_test

import (
	"fmt"

	"milepost/calib/tyre"
	"milepost/calib/unit"
)

func ExampleParse() {
	s, err := tyre.Parse("lt285/70r17 121/118s")
	fmt.Println(s.Text, unit.Figure(s.DiameterMM(), 1), s.LoadIndex, s.SpeedSymbol, err)
	_, err = tyre.Parse("33s")
	fmt.Println(tyre.AsAsk(err).Kind)
	// Output:
	// LT285/70R17 121/118S 830.8 121/118 S <nil>
	// overall_only
}

func ExampleFind() {
	text := "265/70R17 to LT285/70R17 121/118S 12/12 tread, 40 psi"
	for _, f := range tyre.Find(text) {
		fmt.Println(text[f.Start:f.End], unit.Figure(f.Size.DiameterMM(), 1))
	}
	// Output:
	// 265/70R17 802.8
	// LT285/70R17 121/118S 830.8
}

// A size without a formula is asked about; the table's figure is only offered.
func ExampleAsk() {
	_, err := tyre.Parse("7.50R16")
	a := tyre.AsAsk(err)
	fmt.Println(a.Kind, a.DiameterMM, a.Source)
	// Output: needs_table 802 UN R54 Annex 5, from memory
}
