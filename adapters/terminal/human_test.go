package terminal

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"unicode"

	"github.com/rivo/uniseg"
	"pgregory.net/rapid"

	"milepost/bot"
	"milepost/flow"
)

func shown(t *testing.T, c Config, out bot.Outbound) string {
	t.Helper()
	var b bytes.Buffer
	c.Out = &b
	tm, err := New(c)
	if err != nil {
		t.Fatal(err)
	}
	if err := tm.Send(t.Context(), out); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

func at(n int) func() int { return func() int { return n } }

func TestHumanMessages(t *testing.T) {
	kim := map[flow.Who]string{"w": "Kim"}
	for _, c := range []struct {
		name string
		cfg  Config
		out  bot.Outbound
		want string
	}{
		{"prompt with choices", Config{}, bot.Outbound{Reply: flow.Reply{Kind: flow.Prompt, Text: "What does the tool say?",
			Choices: []flow.Choice{{Label: "took"}, {Label: "broke off"}}}},
			"? What does the tool say?\n    1  took\n    2  broke off\n"},
		{"checklist", Config{Width: at(40)}, bot.Outbound{Reply: flow.Reply{Kind: flow.Prompt,
			Text:    "All of these?\n 1 no brake, stability, steering or airbag lamp\n 2 codes read",
			Choices: []flow.Choice{{Label: "all yes"}}}},
			"? All of these?\n   1 no brake, stability, steering or\n     airbag lamp\n   2 codes read\n    [all yes]\n"},
		{"caution of two lines", Config{Width: at(40)}, bot.Outbound{Reply: flow.Reply{Kind: flow.Caution,
			Text: "Never write with a weak battery or an unsteady supply."}},
			"! Never write with a weak battery or an\n! unsteady supply.\n"},
		{"for me", Config{Name: "Kim"}, bot.Outbound{Names: kim, Reply: flow.Reply{Kind: flow.Notice, To: []flow.Who{"w"}, Text: "Kept."}}, "- Kept.\n"},
		{"for another", Config{}, bot.Outbound{Names: kim, Reply: flow.Reply{Kind: flow.Notice, To: []flow.Who{"w"}, Text: "Hold."}}, "- (to Kim) Hold.\n"},
		{"colour", Config{Colour: true}, bot.Outbound{Reply: flow.Reply{Kind: flow.Refusal, Text: "No."}}, "\x1b[31mx No.\x1b[0m\n"},
		{"nothing a terminal acts on", Config{}, bot.Outbound{Reply: flow.Reply{Kind: flow.Result,
			Text: "a\x1b]0;t\x07b\u202ec\u009bd\u2066e\tf", Choices: []flow.Choice{{Label: "x\ny\x1b[2J"}}}},
			"= a]0;tbcde f\n    1  x y[2J\n"},
		{"file", Config{Path: func(s string) string { return "here/" + s }}, bot.Outbound{Reply: flow.Reply{Kind: flow.Result, Text: "The sheet.",
			Files: []flow.FileRef{{Name: "sheet.html", SHA256: "ab"}}}}, "= The sheet.\n  file: sheet.html in here/ab\n"},
	} {
		c.out.Key = c.name
		if got := shown(t, c.cfg, c.out); got != c.want {
			t.Errorf("%s:\n got %q\nwant %q", c.name, got, c.want)
		}
	}
}

// Without colour each kind is told by its sign.
func TestSignsDiffer(t *testing.T) {
	seen := map[string]flow.ReplyKind{}
	for kind, s := range signs {
		if other, twice := seen[s.first]; twice {
			t.Errorf("%s and %s both begin with %q", kind, other, s.first)
		}
		seen[s.first] = kind
	}
}

func TestWrapKeepsWidthAndWords(t *testing.T) {
	letters := []rune("ab c 1.)é日本👩‍🔧-\n ")
	rapid.Check(t, func(t *rapid.T) {
		text := string(rapid.SliceOfN(rapid.SampledFrom(letters), 0, 200).Draw(t, "text"))
		width := rapid.IntRange(narrowest, 100).Draw(t, "width")
		lines := wrap(text, width)
		for _, l := range lines {
			if w := uniseg.StringWidth(l); w > width {
				t.Fatalf("%q is %d wide, over %d", l, w, width)
			}
		}
		if a, b := squeeze(text), squeeze(strings.Join(lines, "\n")); a != b {
			t.Fatalf("wrapped, the text is another:\n%q\n%q", a, b)
		}
	})
}

func squeeze(s string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsSpace(r) {
			return -1
		}
		return r
	}, s)
}

func TestCleanLeavesNothingToActOn(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := string(rapid.SliceOf(rapid.Byte()).Draw(t, "s")) + rapid.String().Draw(t, "u")
		got := bot.Printable(s)
		if bot.Printable(got) != got {
			t.Fatalf("%q is not clean at once", s)
		}
		for _, r := range got {
			if r != '\n' && (unicode.IsControl(r) || unicode.Is(unicode.Bidi_Control, r)) {
				t.Fatalf("%q keeps %U", s, r)
			}
		}
	})
}

func TestFilePath(t *testing.T) {
	dir := t.TempDir()
	spaced := filepath.Join(dir, "unit 14.bin")
	if err := os.WriteFile(spaced, []byte("x"), 0o600); err != nil {
		t.Fatal(err)
	}
	t.Setenv("HOME", dir)
	for _, c := range []struct {
		line, want string
		ok         bool
	}{
		{"file " + spaced, spaced, true},
		{`file "` + spaced + `"`, spaced, true},
		{"'" + spaced + "'", spaced, true},
		{strings.ReplaceAll(spaced, " ", `\ `), spaced, true},
		{"file://" + strings.ReplaceAll(spaced, " ", "%20"), spaced, true},
		{"file ~/unit\\ 14.bin", spaced, true},
		{"FILE missing.bin", "missing.bin", true},
		{"file", "", false},
		{"file kept on the laptop", "", false},
		{"/no/such/thing", "", false},
		{dir, "", false},
		{"60/58", "", false},
		{"unit 14.bin", "", false},
	} {
		got, ok := filePath(c.line)
		if ok != c.ok || ok && got != c.want {
			t.Errorf("filePath(%q) = %q, %v; want %q, %v", c.line, got, ok, c.want, c.ok)
		}
	}
}
