package understand

import (
	"encoding/json"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

type sizeLine struct {
	Text string          `json:"text"`
	Want json.RawMessage `json:"want"`
}

// TestSizeCorpus reads the shared corpus through the understand command's own answer.
func TestSizeCorpus(t *testing.T) {
	for _, l := range lines[sizeLine](t, shared(t, "corpus/sizes.jsonl")) {
		r, err := Understand("size", l.Text, "")
		if err != nil {
			t.Fatal(err)
		}
		if string(l.Want) == `"ask"` {
			if r.Understood || r.Ask == "" {
				t.Errorf("%q: %+v, want an ask", l.Text, r)
			}
			continue
		}
		var want, got map[string]any
		if err := json.Unmarshal(l.Want, &want); err != nil {
			t.Fatal(err)
		}
		b, err := json.Marshal(r.Size)
		if err != nil {
			t.Fatal(err)
		}
		if err := json.Unmarshal(b, &got); err != nil {
			t.Fatal(err)
		}
		for k, w := range want {
			if got[k] != w {
				t.Errorf("%q: %s is %v, want %v", l.Text, k, got[k], w)
			}
		}
	}
}

func TestUnderstand(t *testing.T) {
	for _, c := range []struct{ kind, text, unit, want string }{
		{"reading", "60/58", "", `{"understood":true,"readings":[{"indicated":60,"reference":58,"unit":"mph"}]}`},
		{"reading", "100/97", "km/h", `{"understood":true,"readings":[{"indicated":100,"reference":97,"unit":"km/h"}]}`},
		{"value", "2438 mm, step 1, 1800 to 3000", "", `{"understood":true,"stored":{"value":2438,"unit":"mm","quantity":"circumference","step":1,"min":1800,"max":3000}}`},
		{"value", "455", "rev/km", `{"understood":true,"stored":{"value":455,"unit":"rev/km","quantity":"revs_per_km"}}`},
		{"value", "243.8", "cm", `{"understood":true,"stored":{"value":2438,"unit":"mm","quantity":"circumference"}}`},
		{"value", "655 revs", "", `{"understood":false,"ask":"655 turns per mile or per km? Type 655 rev/mile or 655 rev/km.","code":"value_revs"}`},
		{"vin", "9aatyre06s0012345", "", `{"understood":true,"vin":{"text":"9AATYRE06S0012345","check":"holds"}}`},
	} {
		r, err := Understand(c.kind, c.text, c.unit)
		if err != nil {
			t.Fatal(err)
		}
		b, err := json.Marshal(r)
		if err != nil {
			t.Fatal(err)
		}
		if string(b) != c.want {
			t.Errorf("%s %q:\n got %s\nwant %s", c.kind, c.text, b, c.want)
		}
	}
	for _, c := range [][3]string{{"colour", "red", ""}, {"reading", "60/58", "knots"}, {"value", "2438", "parsec"}} {
		if _, err := Understand(c[0], c[1], c[2]); err == nil {
			t.Errorf("%v: no error", c)
		}
	}
	for _, bare := range []string{"2438", "3.73"} {
		if r, _ := Understand("value", bare, ""); r.Understood || !strings.Contains(r.Ask, "could be") {
			t.Errorf("bare %s: %+v", bare, r)
		}
	}
}

// TestMixedMessage is the message of the tone rules in the job description: all of it is taken, in the order doc.go gives.
func TestMixedMessage(t *testing.T) {
	text := "265/70R17 to 285/70R17, stored 2446 mm, 12/12 tread"
	sizes, ask := Sizes(text)
	if ask != nil || len(sizes) != 2 || sizes[0].Value.Which != "factory" || sizes[1].Value.Which != "fitted" {
		t.Fatalf("sizes %+v, %v", sizes, ask)
	}
	rest := MaskAll(text, sizes)
	if len(rest) != len(text) {
		t.Fatalf("mask changed the length: %q", rest)
	}
	tread, ok, ask := Treads(rest)
	if !ok || ask != nil || *tread.Value.New != 12 || *tread.Value.Now != 12 {
		t.Fatalf("tread %+v, %v, %v", tread, ok, ask)
	}
	rest = Mask(rest, tread.Start, tread.End)
	stored, ask := StoredValues(rest, Context{})
	if ask != nil || len(stored) != 1 || stored[0].Value.Value != 2446 {
		t.Fatalf("stored %+v, %v", stored, ask)
	}
}

func TestReadingExtras(t *testing.T) {
	ms, ask := Readings("needle about 60, gps 58.0, uphill in the rain", Context{})
	if ask != nil || len(ms) != 1 {
		t.Fatalf("%v, %v", ms, ask)
	}
	r := ms[0].Value
	if r.Source != "needle" || !r.Tenths || !r.Doubt || strings.Join(r.Conditions, " ") != "hill wet" {
		t.Errorf("%+v", r)
	}
	if _, ask := Readings("600/58", Context{}); ask == nil || ask.Offer != "60/58" {
		t.Errorf("a dropped point is offered: %+v", ask)
	}
	_, ask = Readings("dash 60 mph, gps 97 km/h", Context{})
	if ask == nil || ask.Offer != "60/60.3 mph" {
		t.Errorf("mixed units are offered in one: %+v", ask)
	}
	ms, ask = Readings("66/70 57/60 47", Context{})
	if ask == nil || len(ms) > 2 {
		t.Errorf("a figure left over: %v, %v", values(ms), ask)
	}
}

// TestAnyPairAnyForm: a plausible pair is read the same from every common form, and never turned round.
func TestAnyPairAnyForm(t *testing.T) {
	forms := []string{"D/G", "D G", "D, G", "D at G", "dash D gps G", "gps G dash D", "D on the dash, G on the gps", "gps: G\nspeedo: D", "G true D shown", "at G gps the dash says D",
		"dash D when gps G", "D (dash) G (gps)", "D dash / G phone", "D->G", "speedo says D and the phone says G", "dash;gps\nD;G"}
	rapid.Check(t, func(t *rapid.T) {
		g := rapid.IntRange(12, 150).Draw(t, "gps")
		d := rapid.IntRange(max(10, g*8/10), min(158, g*12/10)).Draw(t, "dash")
		form := rapid.SampledFrom(forms).Draw(t, "form")
		text := strings.NewReplacer("D", plain(float64(d)), "G", plain(float64(g))).Replace(form)
		ms, ask := Readings(text, Context{})
		if ask != nil || len(ms) != 1 || ms[0].Value.Indicated != float64(d) || ms[0].Value.Reference != float64(g) {
			t.Fatalf("%q: %v, %+v", text, values(ms), ask)
		}
	})
}

var digitWords = map[int]string{20: "twenty", 30: "thirty", 40: "forty", 50: "fifty", 60: "sixty", 70: "seventy", 80: "eighty", 90: "ninety"}

// TestSpokenNumbers: every whole number from 20 to 199 in words.
func TestSpokenNumbers(t *testing.T) {
	var small [100]string
	for w, v := range ones {
		if w != "nought" && w != "naught" && w != "niner" {
			small[v] = w
		}
	}
	for w, v := range teens {
		small[v] = w
	}
	for v := 20; v < 100; v++ {
		small[v] = digitWords[v/10*10]
		if v%10 > 0 {
			small[v] += " " + small[v%10]
		}
	}
	for v := 20; v < 200; v++ {
		forms := []string{small[v%100]}
		if v >= 100 {
			forms = []string{"one hundred and " + small[v%100], "a hundred " + small[v%100]}
			if v%100 == 0 {
				forms = []string{"one hundred", "a hundred"}
			} else if v%100 < 10 {
				forms = append(forms, "one oh "+small[v%100])
			} else {
				forms = append(forms, "one "+small[v%100])
			}
		}
		for _, f := range forms {
			for _, form := range []string{f, strings.ReplaceAll(f, "y ", "y-")} {
				ts := tokens(form)
				if len(ts) != 1 || ts[0].kind != number || ts[0].num.value != float64(v) {
					t.Errorf("%q: %+v, want %d", form, ts, v)
				}
			}
		}
	}
}

func TestClean(t *testing.T) {
	long := strings.Repeat("é", MaxRead)
	s, cut := Clean(long)
	if !cut || len(s) > MaxRead || strings.ToValidUTF8(s, "") != s {
		t.Errorf("cut %v, %d bytes", cut, len(s))
	}
	if _, cut := Clean("short"); cut {
		t.Error("short text cut")
	}
	rapid.Check(t, func(t *rapid.T) {
		in := rapid.String().Draw(t, "text")
		once, _ := Clean(in)
		twice, _ := Clean(once)
		if once != twice {
			t.Fatalf("%q: %q then %q", in, once, twice)
		}
		if strings.ContainsAny(once, "\u202e\u2066\x00\x1b\r\t\u200b") {
			t.Fatalf("%q kept a control", once)
		}
	})
}

// TestEveryAskHasWords: each code that a reader may give has a sentence, and the sentence has all its figures.
func TestEveryAskHasWords(t *testing.T) {
	for _, f := range lineFiles(t) {
		for _, l := range lines[testLine](t, f) {
			for _, a := range asks(l) {
				if _, ok := englishAsk[a.Code]; !ok {
					t.Errorf("no words for %s (%q)", a.Code, l.Text)
				}
				if s := a.Text(); strings.Contains(s, "{") && !strings.Contains(l.Text, "{") {
					t.Errorf("%s: a figure is missing: %s", a.Code, s)
				}
			}
		}
	}
}

// asks are the questions that the readers with a value of their own ask about a line.
func asks(l testLine) []*Ask {
	ctx := Context{SpeedUnit: l.Unit, Labels: l.Labels}
	var out []*Ask
	add := func(a *Ask) {
		if a != nil {
			out = append(out, a)
		}
	}
	_, a := Readings(l.Text, ctx)
	add(a)
	_, a = StoredValues(l.Text, ctx)
	add(a)
	_, a = Sizes(l.Text)
	add(a)
	_, _, a = Odometer(l.Text, ctx)
	add(a)
	_, _, a = Treads(l.Text)
	add(a)
	_, _, a = Checklist(l.Text, 4)
	add(a)
	_, _, a = FindGears(l.Text)
	add(a)
	_, _, a = VIN(l.Text)
	add(a)
	_, a = ToolSays(l.Text)
	add(a)
	return out
}

func TestPressureRatio(t *testing.T) {
	m, ok, ask := Pressures("40 psi, placard 36")
	if r, known := m.Value.Ratio(); !ok || ask != nil || !known || math.Abs(r-40./36) > 1e-12 {
		t.Errorf("%+v %v %v", m, ok, ask)
	}
	if r, known := (Pressure{Placard: true}).Ratio(); !known || r != 1 {
		t.Error("placard pressure is 1")
	}
	if _, known := (Pressure{Value: 40, Unit: psi}).Ratio(); known {
		t.Error("a pressure without the placard's has no ratio")
	}
}
