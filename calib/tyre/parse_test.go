package tyre_test

import (
	"bufio"
	"encoding/json"
	"errors"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"milepost/calib/tyre"
	"milepost/calib/unit"
)

// corpusRow is one line of the shared corpus: what a text gives, or "ask".
type corpusRow struct {
	Text string
	Want json.RawMessage
}

type corpusWant struct {
	SectionMM   float64 `json:"section_mm"`
	Aspect      float64 `json:"aspect"`
	RimIn       float64 `json:"rim_in"`
	OverallIn   float64 `json:"overall_in"`
	SectionIn   float64 `json:"section_in"`
	DiameterMM  float64 `json:"diameter_mm"`
	LoadIndex   string  `json:"load_index"`
	SpeedSymbol string  `json:"speed_symbol"`
}

// shared/corpus/sizes.jsonl, the parser rows of check-values.md 1.6.
func TestCorpus(t *testing.T) {
	f, err := os.Open(filepath.Join("..", "..", "..", "shared", "corpus", "sizes.jsonl"))
	if err != nil {
		t.Skip("the shared corpus is not beside the module: ", err)
	}
	defer f.Close()
	n := 0
	for s := bufio.NewScanner(f); s.Scan(); n++ {
		var row corpusRow
		if err := json.Unmarshal(s.Bytes(), &row); err != nil {
			t.Fatal(err)
		}
		size, err := tyre.Parse(row.Text)
		if string(row.Want) == `"ask"` {
			if tyre.AsAsk(err) == nil {
				t.Errorf("%q: %+v %v, want a question", row.Text, size, err)
			}
			continue
		}
		var want corpusWant
		if err := json.Unmarshal(row.Want, &want); err != nil {
			t.Fatal(err)
		}
		got := corpusWant{size.SectionMM, size.Aspect, size.RimIn, size.OverallIn, size.SectionIn,
			unit.RoundTo(size.DiameterMM(), 1), want.LoadIndex, want.SpeedSymbol}
		if err != nil || got != want {
			t.Errorf("%q: %+v %v, want %+v", row.Text, got, err, want)
		}
		if size.LoadIndex != want.LoadIndex && want.LoadIndex != "" || size.SpeedSymbol != want.SpeedSymbol && want.SpeedSymbol != "" {
			t.Errorf("%q: load %s speed %s", row.Text, size.LoadIndex, size.SpeedSymbol)
		}
	}
	if n == 0 {
		t.Error("the corpus is empty")
	}
}

// Every size of the shared population, with the diameter and section height
// written beside it.
func TestPopulation(t *testing.T) {
	data, err := os.ReadFile(filepath.Join("..", "..", "..", "shared", "population.json"))
	if err != nil {
		t.Skip("the shared population is not beside the module: ", err)
	}
	var file struct {
		Vehicles []struct {
			Known struct {
				Factory populationSize `json:"factory_size"`
				New     populationSize `json:"new_size"`
			}
		}
	}
	if err := json.Unmarshal(data, &file); err != nil {
		t.Fatal(err)
	}
	if len(file.Vehicles) == 0 {
		t.Fatal("no vehicles")
	}
	for _, v := range file.Vehicles {
		for _, want := range []populationSize{v.Known.Factory, v.Known.New} {
			s, err := tyre.Parse(want.Text)
			got := populationSize{s.Text, unit.RoundTo(s.DiameterMM(), 2), unit.RoundTo(s.SectionHeightMM(), 2), s.Flotation}
			want.DiameterMM = unit.RoundTo(want.DiameterMM, 2)
			want.SectionHeightMM = unit.RoundTo(want.SectionHeightMM, 2)
			if err != nil || got != want {
				t.Fatalf("%s: %+v %v, want %+v", want.Text, got, err, want)
			}
		}
	}
}

type populationSize struct {
	Text            string
	DiameterMM      float64 `json:"od_mm"`
	SectionHeightMM float64 `json:"section_height_mm"`
	Flotation       bool
}

// The ways people type a size, each with its canonical spelling. Grammar:
// check-values.md 1.6 (owner's manuals, EU label register, makers' sheets); the
// loose spellings are common practice, no source.
func TestParseSpellings(t *testing.T) {
	for _, row := range []struct{ text, want string }{
		{"265/70R17", "265/70R17"},
		{"255 75 16", "255/75 16"}, // the construction is not said and not guessed
		{"265-70-17", "265/70 17"},
		{"265/70/17", "265/70 17"},
		{"265x70x17", "265/70 17"},
		{"265/70 r 17", "265/70R17"},
		{"265/70-R17", "265/70R17"},
		{"265/70R17.", "265/70R17"},
		{"(265/70R17)", "265/70R17"},
		{"lt285/70r17 121/118s", "LT285/70R17 121/118S"},
		{"LT285/70R17, 121/118S", "LT285/70R17 121/118S"},
		{"LT 235/85 R 16", "LT235/85R16"},
		{"295/80 R22.5 152/148 M", "295/80R22.5 152/148M"},
		{"295/80R22,5", "295/80R22.5"},
		{"225/75R16C 121/120R", "225/75R16C 121/120R"},
		{"225/75R16 C 121/120R", "225/75R16C 121/120R"},
		{"225/75r16c121/120r", "225/75R16C 121/120R"},
		{"225/75R16LT", "LT225/75R16"},
		{"P215/65SR15", "P215/65SR15"},
		{"185/70SR14", "185/70SR14"},
		{"185/70SR14 88S", "185/70R14 88S"},
		{"P165/80R14", "P165/80R14"},
		{"P165/80D14", "P165/80D14"},
		{"T135/80-14", "T135/80D14"},
		{"165/95-14LT", "LT165/95D14"},
		{"175/60-13.5LT", "LT175/60D13.5"},
		{"ST205/75R15", "ST205/75R15"},
		{"HL245/40R19 101Y", "HL245/40R19 101Y"},
		{"245/45ZR18 (95Y)", "245/45ZR18 (95Y)"},
		{"245/45ZR18 95(Y)", "245/45ZR18 (95Y)"},
		{"245/45R18 (96V)", "245/45R18 96V"},
		{"120/70ZR17 (58W)", "120/70ZR17 (58W)"},
		{"90/90-21 M/C 54S", "90/90D21 54S"},
		{"205/55RF16 91V", "205/55RF16 91V"},
		{"205/55R16 91V run-flat", "205/55RF16 91V"},
		{"255 75 16 runflat", "255/75 16 RFT"},
		{"225/45R17 94W XL", "225/45R17 94W XL"},
		{"225/45R17 XL 94W", "225/45R17 94W XL"},
		{"225/45R17 extra load", "225/45R17 XL"},
		{"LT265/70R17 LR E", "LT265/70R17 LR E"},
		{"LT265/70R17 LRE", "LT265/70R17 LR E"},
		{"LT265/70R17 load range e", "LT265/70R17 LR E"},
		{"LT265/70R17/E", "LT265/70R17 LR E"},
		{"LT265/70R17E 121/118S", "LT265/70R17 121/118S LR E"},
		{"LT265/70R17C", "LT265/70R17 LR C"},
		{"LT265/70R17 10 ply", "LT265/70R17 10PR"},
		{"LT265/70R17 M+S 121/118S", "LT265/70R17 121/118S"},
		{"265/70R17 115", "265/70R17 115"},
		{"33x12.50R15LT", "33x12.50R15LT"},
		{"33x12.5R15 LT", "33x12.50R15LT"},
		{"LT33x12.5R15", "33x12.50R15LT"},
		{"33/12.5r15", "33x12.50R15"},
		{"33 x 12,5 r15", "33x12.50R15"},
		{"33×12,50R15", "33x12.50R15"},
		{"33*12.5*15", "33x12.50 15"},
		{"35x12.5x20", "35x12.50 20"},
		{"33x1250r15", "33x12.50R15"},
		{"33 12.50 15", "33x12.50 15"},
		{"33-12.50-15", "33x12.50 15"},
		{"33x12.50-15LT", "33x12.50-15LT"},
		{"33.5x12.50R15", "33.5x12.50R15"},
		{`33"x12.5"R15`, "33x12.50R15"},
		{"33x12.50R15LT 108Q LR C", "33x12.50R15LT 108Q LR C"},
		{"２６５／７０Ｒ１７", "265/70R17"},
		{"٢٦٥/٧٠R١٧", "265/70R17"},
		{"265∕70R17", "265/70R17"},
		{"265\u00a0/\u00a070\u00a0R17", "265/70R17"},
		{"265–70–17", "265/70 17"},
		{"190/65R390", "190/65R390"},
		{"265/70r17s", "265/70R17"},
		{"they are 265/70R17 tyres", "265/70R17"},
		{"265\\70R17", "265/70R17"},
		{"33 by 12.5 by 15", "33x12.50 15"},
		{"35x12.50R20LT/E 121Q", "35x12.50R20LT 121Q LR E"},
		{"LT245/75R16 load E", "LT245/75R16 LR E"},
		{"265/70R17 load index 115 speed symbol T", "265/70R17 115T"},
		{"265/70R17 LI 115", "265/70R17 115"},
		{"265/70R17 (121/118S)", "265/70R17 121/118S"},
		{"265/70R17; 121/118S", "265/70R17 121/118S"},
		{"265/70R17 and 265/70R17", "265/70R17"},
	} {
		got, err := tyre.Parse(row.text)
		if err != nil || got.Text != row.want {
			t.Errorf("%q: %q %v, want %q", row.text, got.Text, err, row.want)
			continue
		}
		if again, err := tyre.Parse(got.Text); err != nil || again != got {
			t.Errorf("%q: canonical %q reads as %+v %v, not %+v", row.text, got.Text, again, err, got)
		}
	}
}

// The alternate names of check-values.md 1.6 [seen: a maker's sheet].
func TestParseAlternateName(t *testing.T) {
	for _, row := range []struct{ size, alternate, want string }{
		{"LT255/85R16", "33X10.00R16", "33x10.00R16"},
		{"LT285/75R16", "33X11.50R16", "33x11.50R16"},
		{"LT305/70R16", "33.0X12.00R16", "33x12.00R16"},
		{"LT315/75R16", "35X12.50R16", "35x12.50R16"},
		{"LT385/70R16", "38X14.50R16", "38x14.50R16"},
	} {
		plain, err := tyre.Parse(row.size)
		if err != nil {
			t.Fatal(err)
		}
		for _, text := range []string{row.size + " (" + row.alternate + ")", row.size + " = (" + row.alternate + ")"} {
			got, err := tyre.Parse(text)
			if err != nil || got.Alternate != row.want || got.DiameterMM() != plain.DiameterMM() {
				t.Errorf("%q: %+v %v", text, got, err)
			}
		}
	}
	if _, err := tyre.Parse("LT285/75R16 (33x12.50R15)"); tyre.AsAsk(err) == nil || tyre.AsAsk(err).Kind != tyre.SeveralSizes {
		t.Errorf("a bracket with another rim: %v, want a question", err)
	}
}

// What can't be computed is asked about. Kinds and offers by check-values.md
// G6, G7, 1.2, 1.5 and 1.6.
func TestParseAsks(t *testing.T) {
	for _, row := range []struct {
		text    string
		kind    tyre.Kind
		suggest string
		mm      float64
	}{
		{"33s", tyre.OverallOnly, "", 0},
		{"33", tyre.OverallOnly, "", 0},
		{"33\"", tyre.OverallOnly, "", 0},
		{"35 inch tyres", tyre.OverallOnly, "", 0},
		{"37's", tyre.OverallOnly, "", 0},
		{"265/70", tyre.NoRim, "", 0},
		{"LT265/70", tyre.NoRim, "", 0},
		{"265 70", tyre.NoRim, "", 0},
		{"265/70R", tyre.NoRim, "", 0},
		{"120/70", tyre.NoRim, "", 0},
		{"33x12.50", tyre.NoRim, "", 0},
		{"33x1250", tyre.NoRim, "", 0},
		{"155SR13", tyre.NoAspect, "", 578},
		{"145R13", tyre.NoAspect, "", 0},
		{"155R13LT", tyre.NoAspect, "", 578},
		{"7.50R16", tyre.NeedsTable, "", 802},
		{"7.5 R 16", tyre.NeedsTable, "", 802},
		{"7.50-16", tyre.NeedsTable, "", 0},
		{"8.00R16.5LT", tyre.NeedsTable, "", 0},
		{"9.5-16.5LT 121/117R", tyre.NeedsTable, "", 0},
		{"12-16.5", tyre.NeedsTable, "", 0},
		{"5.60-13", tyre.NeedsTable, "", 0},
		{"6.00-13LT", tyre.NeedsTable, "", 0},
		{"6.15-13", tyre.NeedsTable, "", 0},
		{"E78-14", tyre.NeedsTable, "", 0},
		{"G78-15", tyre.NeedsTable, "", 0},
		{"FR78-15", tyre.NeedsTable, "", 0},
		{"235/710R460A", tyre.Millimetres, "", 710},
		{"190/65R380", tyre.Millimetres, "", 0},
		{"1300x700-24", tyre.Millimetres, "", 0},
		{"16x35-16", tyre.Order, "35x16.00-16", 0},
		{"12.5x33R15LT", tyre.Order, "33x12.50R15LT", 0},
		{"20x12.5x35", tyre.Order, "35x12.50 20", 0},
		{"70/265R17 115T", tyre.Order, "265/70R17 115T", 0},
		{"265/70R71", tyre.Impossible, "", 0},
		{"267/70R17", tyre.Impossible, "", 0},
		{"2665/70R17", tyre.Impossible, "", 0},
		{"265/170R17", tyre.Impossible, "", 0},
		{"33x125R15", tyre.Impossible, "33x12.50R15", 0},
		{"33x12.5R32", tyre.Impossible, "", 0},
		{"2657017", tyre.RunTogether, "265/70R17", 0},
		{"LT2857017", tyre.RunTogether, "LT285/70R17", 0},
		{"265/70R17 or 285/70R17", tyre.SeveralSizes, "265/70R17", 0},
		{"265/70R17 12/12", tyre.MoreThanASize, "265/70R17", 0},
		{"265/70R17 2438 mm", tyre.MoreThanASize, "265/70R17", 0},
		{"", tyre.NotASize, "", 0},
		{"no idea", tyre.NotASize, "", 0},
		{"60/58", tyre.NotASize, "", 0},
		{"2446", tyre.NotASize, "", 0},
		{strings.Repeat("265/70R17 ", 500), tyre.TooLong, "", 0},
	} {
		size, err := tyre.Parse(row.text)
		a := tyre.AsAsk(err)
		if a == nil || !size.IsZero() {
			t.Errorf("%.40q: %+v %v, want %s", row.text, size, err, row.kind)
			continue
		}
		if a.Kind != row.kind || a.DiameterMM != row.mm || (a.DiameterMM > 0) != (a.Source != "") {
			t.Errorf("%.40q: %+v, want %s %v", row.text, *a, row.kind, row.mm)
		}
		if row.suggest != "" && !slices.Contains(a.Suggest, row.suggest) || row.suggest == "" && len(a.Suggest) > 0 {
			t.Errorf("%.40q: offers %q, want %q", row.text, a.Suggest, row.suggest)
		}
		if r := a.Reason(); r == "" || strings.HasPrefix(r, ";") || strings.Contains(r, string(a.Kind)) && strings.Contains(r, "_") {
			t.Errorf("%.40q: the reason reads %q", row.text, r)
		}
		for _, offer := range a.Suggest {
			if again, err := tyre.Parse(offer); err != nil || again.Text != offer {
				t.Errorf("%.40q: the offer %q reads as %q %v", row.text, offer, again.Text, err)
			}
		}
	}
}

// testdata/table.tsv: check-values.md 1.5. The table's figure is offered, never
// taken.
func TestTableSizesAreAsked(t *testing.T) {
	for _, row := range rows(t, "table.tsv", 2) {
		_, err := tyre.Parse(row[0])
		a := tyre.AsAsk(err)
		if a == nil || a.DiameterMM != number(t, row[1]) || !strings.Contains(a.Source, "from memory") {
			t.Errorf("%s: %v, want a question offering %s", row[0], err, row[1])
		}
	}
}

func TestAskIsAnError(t *testing.T) {
	_, err := tyre.Parse("33s")
	if err.Error() != `parse size: overall_only: "33s"` {
		t.Errorf("error reads %q", err)
	}
	if tyre.AsAsk(errors.New("other")) != nil || tyre.AsAsk(nil) != nil {
		t.Error("another error passes for a question")
	}
}
