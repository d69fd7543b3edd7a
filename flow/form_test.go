package flow

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"milepost/flow/understand"
)

// wrongs are the fields with what is wrong, for comparing.
func wrongs(wrong map[string]string) string {
	var list []string
	for _, f := range []string{FieldDash, FieldGPS, FieldValue, FieldStep, FieldLowest, FieldHighest, FieldNew, FieldNow} {
		if w, ok := wrong[f]; ok {
			list = append(list, f+": "+w)
		}
	}
	return strings.Join(list, "\n")
}

func TestFormPair(t *testing.T) {
	const no = ` is no number I can read. Type dash, then GPS: 60/58.`
	for _, c := range []struct{ dash, gps, speed, text, wrong string }{
		{"61", "65", "mph", "61 65", ""},
		{"61.5", "65.25", "mph", "61.5 65.25", ""},
		{"61,5", "65,0", "km/h", "61.5 65", ""},
		{"61 mph", "65", "km/h", "61 mph 65", ""},
		{"100", "104 km/h", "mph", "100 104 km/h", ""},
		{"60", "97", "mph", "60 97", ""}, // of two units, it seems: asked about when parked
		{"300", "290", "mph", "", "dash: \"300 290\": one of them is no road speed (up to 160 mph). Type dash, then GPS again: 60/58."},
		{"250", "240", "km/h", "250 240", ""},
		{"250", "240", "", "250 240", ""}, // the unit is not known: it may be km/h
		{"300", "290", "", "", "both"},
		{"60", "2", "mph", "", "gps"},
		{"60", "40", "mph", "60 40", ""},
		{"90", "50", "mph", "", "dash: 90/50 are too far apart to be one reading. Type dash, then GPS again: 60/58."},
		{"-30", "28", "mph", "", `dash: "-30"` + no},
		{"61 or 62", "28x", "mph", "", `dash: "61 or 62"` + no + "\ngps: \"28x\"" + no},
		{"61 mm", "65", "mph", "", "dash"},
		{"61 mph", "104 km/h", "mph", "61 mph 104 km/h", ""},
		{"1e2", "65", "mph", "", "dash"}, {"0x3d", "65", "mph", "", "dash"}, {"inf", "65", "mph", "", "dash"},
		{"sixty", "65", "mph", "", "dash"}, {"60\n58", "65", "mph", "", "dash"}, {strings.Repeat("1", 60), "65", "mph", "", "dash"},
	} {
		text, wrong := FormPair(c.dash, c.gps, c.speed)
		got := wrongs(wrong)
		switch c.wrong {
		case "both":
			c.wrong, got = "dash gps", strings.Join(keysOf(wrong), " ")
		case "dash", "gps":
			got = strings.Join(keysOf(wrong), " ")
		default:
			got, c.wrong = strings.ReplaceAll(got, `"300 290"`, "300/290"), strings.ReplaceAll(c.wrong, `"300 290"`, "300/290")
			if i := strings.Index(got, "\ngps: 300/290"); i > 0 {
				got = got[:i]
			}
		}
		if text != c.text || got != c.wrong {
			t.Errorf("%q %q %s: %q\n%s\nwant %q\n%s", c.dash, c.gps, c.speed, text, got, c.text, c.wrong)
		}
	}
}

func keysOf(wrong map[string]string) (keys []string) {
	for _, f := range []string{FieldDash, FieldGPS} {
		if wrong[f] != "" {
			keys = append(keys, f)
		}
	}
	return keys
}

func TestFormValue(t *testing.T) {
	const limits = "Lowest 3000 is not below highest 1800. Type them again: 1800 to 3000."
	for _, c := range []struct{ value, what, step, low, high, text, wrong string }{
		{"2438", "mm circumference", "1", "1800", "3000", "2438 mm circumference, step 1, 1800 to 3000", ""},
		{"2438", "mm circumference", "1", "3000", "1800", "", "lowest: " + limits + "\nhighest: " + limits},
		{"2438", "mm circumference", "", "1800", "1800", "", "both"},
		{"2438,5", "mm circumference", "0,5", "", "", "2438.5 mm circumference, step 0.5", ""},
		{"2 438", "mm circumference", "", "", "", "2438 mm circumference", ""},
		{"2,438", "mm circumference", "", "", "", "2,438 mm circumference", ""}, // read as 2438
		{"2438 mm", "mm circumference", "1 mm", "1800 mm", "3000 mm", "2438 mm circumference, step 1, 1800 to 3000", ""},
		{"96 in", "mm circumference", "", "", "", "", `value: Is "96 in" a circumference, diameter, radius, or something else? Type it with its unit: 2438 mm circumference.`},
		{"96", "inch circumference", "0.1", "60", "120", "96 inch circumference, step 0.1, 60 to 120", ""},
		{"3.73", "axle ratio", "0.01", "2", "5", "3.73 axle ratio, step 0.01, 2 to 5", ""},
		{"3.73:1", "axle ratio", "", "", "", "3.73 axle ratio", ""},
		{"3.73 mm", "axle ratio", "", "", "", "", "value"},
		{"655.125", "rev/mile", "", "", "", "655.1250 rev/mile", ""}, // a point of the field is none of thousands
		{"0", "rev/mile", "", "", "", "", `value: "0" is no value I can read. Type the number and unit as the tool shows them: 2438 mm.`},
		{"", "rev/mile", "", "", "", "", "value"},
		{"660", "rev/mile", "0", "", "", "", `step: A step of "0" can't be. Type the smallest step: step 1.`},
		{"660", "rev/mile", "", "0", "900", "660 rev/mile, 0 to 900", ""},
		{"660", "rev/mile", "", "-1", "900", "", "lowest"},
		{"20000000", "pulses/km", "", "", "", "", "value"},
		{"660", "", "1", "", "", "660, step 1", ""},
	} {
		text, wrong := FormValue(c.value, c.what, c.step, c.low, c.high)
		got := wrongs(wrong)
		switch c.wrong {
		case "both":
			if len(wrong) == 2 {
				got = "both"
			}
		case "value", "lowest":
			got, _, _ = strings.Cut(got, ":")
		}
		if text != c.text || got != c.wrong {
			t.Errorf("%+v: %q\n%s", c, text, got)
		}
	}
}

func TestFormTread(t *testing.T) {
	for _, c := range []struct{ whenNew, now, text, wrong string }{
		{"12", "11.5", "12 mm new, 11.5 mm now", ""},
		{"12", "11,5", "12 mm new, 11.5 mm now", ""},
		{"12/32", "10/32", "12 /32 new, 10 /32 now", ""},
		{"8", "9", "", "now: More tread now (9 mm) than new (8 mm)? Type new, then now: new 8 mm now 7 mm."},
		{"80", "9", "", `new: I can't read the tread in "80". Type it new and now: new 8 mm now 7 mm.`},
		{"8", "0", "", `now: I can't read the tread in "0". Type it new and now: new 8 mm now 7 mm.`},
		{"a", "b", "", "new: I can't read the tread in \"a\". Type it new and now: new 8 mm now 7 mm.\nnow: I can't read the tread in \"b\". Type it new and now: new 8 mm now 7 mm."},
	} {
		text, wrong := FormTread(c.whenNew, c.now)
		if got := wrongs(wrong); text != c.text || got != c.wrong {
			t.Errorf("%q %q: %q\n%s", c.whenNew, c.now, text, got)
		}
	}
	if w := FormSize("LT265/70R17 121/118S"); w != "" {
		t.Error(w)
	}
	for _, text := range []string{"265/70", "265/70R17, 31x10.50R15", "265/70R17 2500 mm circumference", "265/70R17 took"} {
		if w := FormSize(text); w == "" {
			t.Errorf("%q is taken", text)
		}
	}
}

// Whatever a form takes is read again as what was entered: alone, and beside
// others in one message.
func TestFormsReadBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		speed := rapid.SampledFrom([]string{"mph", "km/h"}).Draw(t, "unit")
		var texts []string
		var want [][2]float64
		for range rapid.IntRange(1, 5).Draw(t, "pairs") {
			a, b := float64(rapid.IntRange(10, 3000).Draw(t, "dash"))/10, float64(rapid.IntRange(10, 3000).Draw(t, "gps"))/10
			text, wrong := FormPair(fmt.Sprint(a), fmt.Sprint(b), speed)
			if len(wrong) > 0 {
				continue
			}
			if _, ask := understand.Readings(text, understand.Context{SpeedUnit: speed}); ask != nil {
				continue // of two units, it seems
			}
			texts, want = append(texts, text), append(want, [2]float64{a, b})
		}
		ms, ask := understand.Readings(strings.Join(texts, ", "), understand.Context{SpeedUnit: speed})
		if len(texts) > 0 && ask != nil || len(ms) != len(texts) {
			t.Fatalf("%q: %v, %d pairs", texts, ask, len(ms))
		}
		for i, m := range ms {
			if m.Value.Indicated != want[i][0] || m.Value.Reference != want[i][1] {
				t.Fatalf("%q is read %v", texts, m.Value)
			}
		}
	})
	kinds := []string{"mm circumference", "inch circumference", "mm diameter", "inch diameter", "rev/mile", "rev/km", "pulses/mile", "pulses/km", "axle ratio"}
	rapid.Check(t, func(t *rapid.T) {
		figure := func(name string) float64 {
			return float64(rapid.IntRange(1, 9_999_999).Draw(t, name)) / math.Pow10(rapid.IntRange(0, 3).Draw(t, name+" decimals"))
		}
		v, step, low, high := figure("value"), figure("step"), figure("low"), figure("high")
		what := rapid.SampledFrom(kinds).Draw(t, "what")
		plain := func(v float64) string { return strings.TrimSuffix(fmt.Sprintf("%f", v), "000") }
		text, wrong := FormValue(plain(v), what, plain(step), plain(low), plain(high))
		if low >= high {
			if wrong[FieldLowest] == "" || text != "" {
				t.Fatalf("%q %v", text, wrong)
			}
			return
		}
		if wrong[FieldValue] != "" && strings.HasPrefix(what, "inch") && v*25.4 > 1e7 {
			return // no value in mm
		}
		if v < low || v > high || step > high-low {
			if text != "" || len(wrong) != 1 || wrong[FieldValue]+wrong[FieldStep] == "" {
				t.Fatalf("%v %s, step %v, %v to %v contradicts itself: %q %v", v, what, step, low, high, text, wrong)
			}
			return
		}
		if len(wrong) > 0 {
			t.Fatalf("%v %s, step %v, %v to %v: %v", v, what, step, low, high, wrong)
		}
		ms, ask := understand.StoredValues("LT265/70R17 121/118S, "+text, understand.Context{})
		if ask != nil || len(ms) != 1 || math.Abs(ms[0].Value.Typed-v) > 1e-9 || ms[0].Value.Limits.Step == nil || ms[0].Value.Limits.Min == nil || ms[0].Value.Limits.Max == nil {
			t.Fatalf("%q: %v %+v", text, ask, ms)
		}
	})
}

// Anything at all in a field is a figure or a fault there.
func TestFormsOfAnything(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a, b := rapid.String().Draw(t, "a"), rapid.StringMatching(`[0-9.,' /a-z"%-]{0,12}`).Draw(t, "b")
		if text, wrong := FormPair(a, b, ""); (text == "") == (len(wrong) == 0) {
			t.Fatalf("%q %v", text, wrong)
		}
		if text, wrong := FormValue(b, "mm circumference", a, b, a); (text == "") == (len(wrong) == 0) {
			t.Fatalf("%q %v", text, wrong)
		}
		if text, wrong := FormTread(a, b); (text == "") == (len(wrong) == 0) {
			t.Fatalf("%q %v", text, wrong)
		}
		FormSize(a)
	})
}
