package journal

import (
	"encoding/hex"
	"encoding/json"
	"math"
	"strconv"
	"strings"
	"testing"

	"github.com/gowebpki/jcs"
	"pgregory.net/rapid"
)

func goodLeaf() Leaf {
	return Leaf{Shop: "oakroad", Job: "7q3k9x", Seq: 2, Prev: strings.Repeat("ab", 32), Time: "2026-03-01T08:15:00.250Z",
		Who: "p4821", Role: "technician", Kind: "reading", V: 1, Data: json.RawMessage(`{"unit":"mph","reference":58,"indicated":60.5}`),
		Items: map[string]string{"text": strings.Repeat("0f", 32), "name": strings.Repeat("1e", 32)}}
}

const goodBytes = `{"data":{"indicated":60.5,"reference":58,"unit":"mph"},` +
	`"items":{"name":"1e1e1e1e1e1e1e1e1e1e1e1e1e1e1e1e1e1e1e1e1e1e1e1e1e1e1e1e1e1e1e1e","text":"0f0f0f0f0f0f0f0f0f0f0f0f0f0f0f0f0f0f0f0f0f0f0f0f0f0f0f0f0f0f0f0f"},` +
	`"job":"7q3k9x","kind":"reading","prev":"abababababababababababababababababababababababababababababababab","role":"technician",` +
	`"seq":2,"shop":"oakroad","time":"2026-03-01T08:15:00.250Z","v":1,"who":"p4821"}`

// The bytes of leaves are in papers others hold: this text may never change.
func TestLeafBytes(t *testing.T) {
	b := must(goodLeaf().Bytes())(t)
	if string(b) != goodBytes {
		t.Fatalf("leaf bytes\n%s\nwant\n%s", b, goodBytes)
	}
	first := Leaf{Shop: "s", Job: "j", Seq: 1, Time: "2026-03-01T08:15:00.250Z", Net: "2026-03-01T08:14:59.000Z", Clock: true, Kind: "opened", V: 3}
	if got := string(must(first.Bytes())(t)); got != `{"clock":true,"data":{},"job":"j","kind":"opened","net":"2026-03-01T08:14:59.000Z","prev":"","seq":1,"shop":"s","time":"2026-03-01T08:15:00.250Z","v":3}` {
		t.Errorf("first leaf is %s", got)
	}
}

// Whatever Bytes makes is what the reference transformation makes of it, and
// Parse gives the leaf back.
func TestLeafIsCanonical(t *testing.T) {
	name := rapid.StringMatching(`[A-Za-z0-9._-]{1,64}`)
	hash := rapid.StringMatching(`[0-9a-f]{64}`)
	rapid.Check(t, func(rt *rapid.T) {
		l := goodLeaf()
		l.Shop, l.Job, l.Kind, l.Who = name.Draw(rt, "shop"), name.Draw(rt, "job"), name.Draw(rt, "kind"), name.Draw(rt, "who")
		l.Seq, l.Prev, l.V = rapid.Int64Range(2, maxInt).Draw(rt, "seq"), hash.Draw(rt, "prev"), rapid.IntRange(1, 99).Draw(rt, "v")
		l.Clock = rapid.Bool().Draw(rt, "clock")
		data := map[string]any{rapid.String().Draw(rt, "key"): rapid.String().Draw(rt, "string"), "x": rapid.Float64().Draw(rt, "float"),
			"n": rapid.Int64Range(-maxInt, maxInt).Draw(rt, "int"), "list": []any{nil, true, map[string]int{"b": 1, "a": 2}}}
		raw, err := json.Marshal(data)
		if err != nil {
			rt.Skip(err)
		}
		l.Data = raw
		l.Items = map[string]string{}
		for _, label := range rapid.SliceOf(rapid.StringMatching(`[a-zé€😀דּ/"\\.]{1,20}`)).Draw(rt, "labels") {
			l.Items[label] = hash.Draw(rt, "sum")
		}
		b, err := l.Bytes()
		if err != nil {
			rt.Fatal(err)
		}
		again, err := jcs.Transform(b)
		if err != nil || string(again) != string(b) {
			rt.Fatalf("%s\nis not canonical, that would be\n%s (%v)", b, again, err)
		}
		back, err := Parse(b)
		if err != nil {
			rt.Fatal(err)
		}
		if b2, err := back.Bytes(); err != nil || string(b2) != string(b) {
			rt.Fatalf("read and written again: %s (%v)", b2, err)
		}
	})
}

// RFC 8785 sections 3.2.2 to 3.2.4 (the sample and its bytes) and 3.2.3 (the order
// of keys), as data of a leaf.
func TestRFC8785Samples(t *testing.T) {
	const sample = `{
     "numbers": [333333333.33333329, 1E30, 4.50, 2e-3, 0.000000000000000000000000001],
     "string": "\u20ac$\u000F\u000aA'\u0042\u0022\u005c\\\"\/",
     "literals": [null, true, false]
   }`
	const want = "7b226c69746572616c73223a5b6e756c6c2c747275652c66616c73655d2c226e756d62657273223a" +
		"5b3333333333333333332e333333333333332c31652b33302c342e352c302e3030322c31652d3237" +
		"5d2c22737472696e67223a22e282ac245c75303030665c6e4127425c225c5c5c5c5c222f227d"
	const order = `{"\u20ac":"Euro Sign","\r":"Carriage Return","\ufb33":"Hebrew Letter Dalet With Dagesh","1":"One","\ud83d\ude00":"Emoji: Grinning Face","\u0080":"Control","\u00f6":"Latin Small Letter O With Diaeresis"}`
	const ordered = "{\"\\r\":\"Carriage Return\",\"1\":\"One\",\"\u0080\":\"Control\",\"ö\":\"Latin Small Letter O With Diaeresis\",\"€\":\"Euro Sign\",\"😀\":\"Emoji: Grinning Face\",\"\ufb33\":\"Hebrew Letter Dalet With Dagesh\"}"
	bytes := must(hex.DecodeString(want))(t)
	for in, want := range map[string]string{sample: string(bytes), order: ordered} {
		l := goodLeaf()
		l.Data = json.RawMessage(in)
		b := string(must(l.Bytes())(t))
		if !strings.HasPrefix(b, `{"data":`+want+`,"items":`) {
			t.Errorf("data became\n%s\nwant\n%s", b, want)
		}
	}
	// The same order for labels, which this package sorts itself.
	items := map[string]string{}
	for _, label := range []string{"€", "\ufb33", "1", "😀", "ö"} {
		items[label] = ""
	}
	if got := strings.Join(sortedLabels(items), " "); got != "1 ö € 😀 \ufb33" {
		t.Errorf("labels in order %s", got)
	}
}

// RFC 8785 appendix B.
func TestRFC8785Numbers(t *testing.T) {
	table := map[uint64]string{
		0x0000000000000000: "0", 0x8000000000000000: "0", 0x0000000000000001: "5e-324", 0x8000000000000001: "-5e-324",
		0x7fefffffffffffff: "1.7976931348623157e+308", 0xffefffffffffffff: "-1.7976931348623157e+308",
		0x4340000000000000: "9007199254740992", 0xc340000000000000: "-9007199254740992", 0x4430000000000000: "295147905179352830000",
		0x44b52d02c7e14af5: "9.999999999999997e+22", 0x44b52d02c7e14af6: "1e+23", 0x44b52d02c7e14af7: "1.0000000000000001e+23",
		0x444b1ae4d6e2ef4e: "999999999999999700000", 0x444b1ae4d6e2ef4f: "999999999999999900000", 0x444b1ae4d6e2ef50: "1e+21",
		0x3eb0c6f7a0b5ed8c: "9.999999999999997e-7", 0x3eb0c6f7a0b5ed8d: "0.000001",
		0x41b3de4355555553: "333333333.3333332", 0x41b3de4355555554: "333333333.33333325", 0x41b3de4355555555: "333333333.3333333",
		0x41b3de4355555556: "333333333.3333334", 0x41b3de4355555557: "333333333.33333343",
		0xbecbf647612f3696: "-0.0000033333333333333333", 0x43143ff3c1cb0959: "1424953923781206.2",
	}
	for bits, want := range table {
		for _, format := range []byte{'e', 'f'} {
			text := strconv.FormatFloat(math.Float64frombits(bits), format, -1, 64)
			if got, err := canonical(json.RawMessage(text)); err != nil || string(got) != want {
				t.Errorf("%016x written %s is %s (%v), want %s", bits, text, got, err, want)
			}
		}
	}
}

func TestLeafRefused(t *testing.T) {
	for what, spoil := range map[string]func(*Leaf){
		"shop":        func(l *Leaf) { l.Shop = "oak road" },
		"job":         func(l *Leaf) { l.Job = "" },
		"kind":        func(l *Leaf) { l.Kind = "a/b" },
		"who":         func(l *Leaf) { l.Who = "Pat Smith" },
		"role":        func(l *Leaf) { l.Role = strings.Repeat("r", 65) },
		"sequence":    func(l *Leaf) { l.Seq = 0 },
		"version":     func(l *Leaf) { l.V = 0 },
		"first leaf":  func(l *Leaf) { l.Seq = 1 },
		"previous":    func(l *Leaf) { l.Prev = strings.ToUpper(l.Prev) },
		"time":        func(l *Leaf) { l.Time = "2026-03-01T08:15:00Z" },
		"network":     func(l *Leaf) { l.Net = "2026-02-30T08:15:00.000Z" },
		"not an obj":  func(l *Leaf) { l.Data = json.RawMessage(`[1]`) },
		"data":        func(l *Leaf) { l.Data = json.RawMessage(`{"a":1,"a":2}`) },
		"data: ":      func(l *Leaf) { l.Data = json.RawMessage(`{"a":"` + "\xff" + `"}`) },
		"control":     func(l *Leaf) { l.Items["a\x00b"] = l.Items["text"] },
		"hash":        func(l *Leaf) { l.Items["text"] = "" },
		"item label ": func(l *Leaf) { l.Items[""] = l.Items["text"] },
	} {
		l := goodLeaf()
		spoil(&l)
		if b, err := l.Bytes(); err == nil {
			t.Errorf("%s: made %s", what, b)
		}
	}
}

func TestParseIsStrict(t *testing.T) {
	if l := must(Parse([]byte(goodBytes)))(t); l.Kind != "reading" || l.Seq != 2 || l.Items["name"] == "" {
		t.Fatalf("parsed as %+v", l)
	}
	unknown := strings.Replace(goodBytes, `"reading"`, `"tidings_of_2031"`, 1)
	if l := must(Parse([]byte(unknown)))(t); l.Kind != "tidings_of_2031" {
		t.Error("unknown kind is not kept")
	}
	for what, b := range map[string]string{
		"space":         strings.Replace(goodBytes, `,"job"`, `, "job"`, 1),
		"key order":     strings.Replace(goodBytes, `"v":1,"who":"p4821"`, `"who":"p4821","v":1`, 1),
		"unknown field": strings.Replace(goodBytes, `,"v":1`, `,"u":0,"v":1`, 1),
		"key case":      strings.Replace(goodBytes, `"job"`, `"Job"`, 1),
		"key twice":     strings.Replace(goodBytes, `"v":1`, `"v":1,"v":1`, 1),
		"number form":   strings.Replace(goodBytes, `60.5`, `60.50`, 1),
		"escape":        strings.Replace(goodBytes, `mph`, `\u006dph`, 1),
		"after":         goodBytes + " ",
		"two":           goodBytes + goodBytes,
		"cut":           goodBytes[:len(goodBytes)-1],
		"null data":     strings.Replace(goodBytes, `{"indicated":60.5,"reference":58,"unit":"mph"}`, "null", 1),
		"empty field":   strings.Replace(goodBytes, `,"role":"technician"`, `,"role":""`, 1),
		"false clock":   strings.Replace(goodBytes, `{"data"`, `{"clock":false,"data"`, 1),
		"nothing":       "",
		"long":          `{"data":{"a":"` + strings.Repeat("x", MaxLeaf) + `"}}`,
	} {
		if _, err := Parse([]byte(b)); err == nil {
			t.Errorf("%s: taken", what)
		}
	}
}

func FuzzParseLeaf(f *testing.F) {
	f.Add([]byte(goodBytes))
	f.Add([]byte(`{"data":{},"job":"j","kind":"k","prev":"","seq":1,"shop":"s","time":"2026-03-01T08:15:00.250Z","v":1}`))
	f.Fuzz(func(t *testing.T, b []byte) {
		l, err := Parse(b)
		if err != nil {
			return
		}
		if again, err := l.Bytes(); err != nil || string(again) != string(b) {
			t.Fatalf("parsed %q, written %q (%v)", b, again, err)
		}
		if again, err := jcs.Transform(b); err != nil || string(again) != string(b) {
			t.Fatalf("parsed %q, canonical would be %q (%v)", b, again, err)
		}
	})
}

// What the short way takes for canonical must be so by the long way.
func FuzzPlain(f *testing.F) {
	for _, s := range []string{`{"a":1,"b":[true,null,"x"],"c":{}}`, `{"b":1,"a":2}`, `-0`, `01`, `1e3`, `123456789012345`, `{"a":1,"a":1}`, `[]`, `"\n"`} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		n, ok := plain(b, 0)
		if !ok || n != len(b) {
			return
		}
		if again, err := jcs.Transform(b); err != nil || string(again) != string(b) {
			t.Fatalf("%q taken for canonical, that would be %q (%v)", b, again, err)
		}
	})
}

func BenchmarkLeafBytes(b *testing.B) {
	l := goodLeaf()
	sorted := l
	sorted.Data = json.RawMessage(`{"drive":1,"indicated":60,"reference":58,"unit":"mph"}`)
	for name, l := range map[string]Leaf{"transformed": l, "plain": sorted} {
		b.Run(name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if _, err := l.Bytes(); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

func BenchmarkParseLeaf(b *testing.B) {
	b.ReportAllocs()
	for b.Loop() {
		if _, err := Parse([]byte(goodBytes)); err != nil {
			b.Fatal(err)
		}
	}
}
