package slack

import (
	"encoding/json"
	"fmt"
	"strings"
	"testing"

	api "github.com/slack-go/slack"
	"pgregory.net/rapid"

	"milepost/adapters/slack/workspace"
	"milepost/bot"
	"milepost/flow"
)

// asSent is a post as chat.postMessage gets it, for the validator.
func asSent(t interface{ Fatal(...any) }, m message) json.RawMessage {
	o := map[string]any{"text": m.text, "unfurl_links": false, "unfurl_media": false, "mrkdwn": false,
		"metadata": metadata(rowID("k7mw2pd/1"), aim{channel: "C0SHOP", job: "k7mw2pd", card: true})}
	if m.blocks != nil {
		o["blocks"] = m.blocks
	}
	b, err := json.Marshal(o)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// hostile are words that a network could take for more than words.
var hostile = []string{"<!channel>", "<!here|x>", "<!everyone>", "<!subteam^S0X>", "<@U0KIM>", "@channel", "<https://x.example|y>", "https://x.example",
	"<mailto:a@b.example|m>", "&lt;!here&gt;", "&amp;", "*bold*", "_it_", "~no~", "`code`", "```", ":skull:", "a & b < c > d", "\u202edlrow\u202c", "\u200b\u200d",
	"<#C0SHOP>", "> quoted", "• list", "\x00", "\xff\xfe", "🛞🛞", "\n\n\n", "<", ">", "|", "<!date^1^x|y>", strings.Repeat("long ", 900), strings.Repeat("<", 4000)}

func hostileText(t *rapid.T, label string) string {
	parts := rapid.SliceOfN(rapid.OneOf(rapid.SampledFrom(hostile), rapid.String(), rapid.StringMatching(`[0-9]{1,4}/[0-9]{2}`)), 0, 6).Draw(t, label)
	return strings.Join(parts, rapid.SampledFrom([]string{"", " ", "\n"}).Draw(t, label+" between"))
}

func drawPost(t *rapid.T) *post {
	kinds := []flow.ReplyKind{flow.Prompt, flow.Notice, flow.Caution, flow.Result, flow.Card, flow.Refusal}
	p := &post{Kind: rapid.SampledFrom(kinds).Draw(t, "kind"), Text: hostileText(t, "text"), Name: clip(hostileText(t, "name"), 200)}
	for i := range rapid.IntRange(0, 12).Draw(t, "choices") {
		p.Choices = append(p.Choices, flow.Choice{Label: hostileText(t, "label"), Send: fmt.Sprintf("k7mw2pd.4.c%d", i)})
	}
	p.Form = rapid.SampledFrom([]string{"", formReadings}).Draw(t, "form")
	if rapid.Bool().Draw(t, "done") {
		p.Done, p.Picked, p.By = true, hostileText(t, "picked"), hostileText(t, "by")
	}
	if rapid.Bool().Draw(t, "called") {
		p.Calls = []string{"U0KIM", "U0SAM"}
	}
	return p
}

// Whatever people write, it is shown as they wrote it: within every limit of
// Slack's (docs.slack.dev, Block Kit reference, as the workspace checks them),
// without a mention, a link or a style that was not ours.
func TestHostileWords(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		p := drawPost(rt)
		for _, one := range split(p) {
			m := render(one)
			raw := asSent(rt, m)
			if faults := workspace.ValidateMessage(raw); len(faults) > 0 {
				rt.Fatalf("%s\n%s", strings.Join(faults, "\n"), raw)
			}
			if n := blockLetters(m.blocks); n > 13000 {
				rt.Fatalf("%d characters in all blocks", n)
			}
			for _, mark := range strings.Split(m.text, "<")[1:] {
				if to, _, ok := strings.Cut(mark, ">"); !ok || to != "@U0KIM" && to != "@U0SAM" || len(one.Calls) == 0 {
					rt.Fatalf("markup in the text: <%.60s", mark)
				}
			}
			checkElements(rt, m.blocks, one)
		}
	})
}

// checkElements holds every element of the blocks against what we put there.
func checkElements(t *rapid.T, blocks []api.Block, p *post) {
	b, err := json.Marshal(blocks)
	if err != nil {
		t.Fatal(err)
	}
	var all []any
	if err := json.Unmarshal(b, &all); err != nil {
		t.Fatal(err)
	}
	users := 0
	var walk func(any)
	walk = func(v any) {
		switch x := v.(type) {
		case []any:
			for _, e := range x {
				walk(e)
			}
		case map[string]any:
			switch x["type"] {
			case "user":
				users++
			case "link", "broadcast", "usergroup", "channel", "emoji", "color", "mrkdwn", "image":
				t.Fatalf("an element of type %v", x["type"])
			case "plain_text":
				if x["emoji"] != false {
					t.Fatal("words in colons would become pictures")
				}
			}
			if x["style"] != nil && x["style"] != "primary" {
				t.Fatalf("style %v", x["style"])
			}
			for _, e := range x {
				walk(e)
			}
		}
	}
	walk(all)
	if users != len(p.Calls) && p.Kind != flow.Card {
		t.Fatalf("%d people are called, want %d", users, len(p.Calls))
	}
}

func blockLetters(blocks []api.Block) int {
	n := 0
	b, _ := json.Marshal(blocks)
	var all any
	_ = json.Unmarshal(b, &all)
	var walk func(any)
	walk = func(v any) {
		switch x := v.(type) {
		case []any:
			for _, e := range x {
				walk(e)
			}
		case map[string]any:
			for k, e := range x {
				if s, ok := e.(string); ok && k == "text" {
					n += length(s)
				}
				walk(e)
			}
		}
	}
	walk(all)
	return n
}

// The pieces of a text are the text: nothing of it is lost but the blanks it was
// cut at.
func TestPiecesAreTheWhole(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		s, n := hostileText(rt, "text"), rapid.IntRange(20, 3000).Draw(rt, "n")
		squeeze := func(s string) string { return strings.Join(strings.Fields(s), "") }
		list := pieces(s, n)
		if squeeze(strings.Join(list, "")) != squeeze(s) {
			rt.Fatalf("%q became %q", s, list)
		}
		for _, p := range list {
			if length(escape(p)) > n || weigh(p) > n {
				rt.Fatalf("a piece of %d characters, want %d at most", length(escape(p)), n)
			}
		}
	})
}

// At most five buttons, the first in colour, and what has none is spelt out.
func TestButtons(t *testing.T) {
	choice := func(labels ...string) (cs []flow.Choice) {
		for i, l := range labels {
			cs = append(cs, flow.Choice{Label: l, Send: fmt.Sprintf("k7mw2pd.4.c%d", i)})
		}
		return cs
	}
	long := "the value that was in the module when the vehicle came in"
	for _, c := range []struct {
		name    string
		choices []flow.Choice
		form    string
		buttons int
		spelt   string
	}{
		{"none", nil, "", 0, ""},
		{"one", choice("go"), "", 1, ""},
		{"two", choice("yes", "no"), "", 2, ""},
		{"five", choice("a", "b", "c", "d", "e"), "", 5, ""},
		{"seven", choice("a", "b", "c", "d", "e", "f", "g"), "", 5, "6  f\n7  g"},
		{"five and a form", choice("a", "b", "c", "d", "e"), formReadings, 5, "5  e"},
		{"one too long for a phone", choice("yes", long), "", 2, "1  yes\n2  " + long},
	} {
		t.Run(c.name, func(t *testing.T) {
			p := &post{Kind: flow.Prompt, Text: "Which?", Choices: c.choices, Form: c.form}
			m := render(p)
			var got []*api.ButtonBlockElement
			spelt := ""
			for _, b := range m.blocks {
				switch x := b.(type) {
				case *api.ActionBlock:
					for _, e := range x.Elements.ElementSet {
						got = append(got, e.(*api.ButtonBlockElement))
					}
				case *api.RichTextBlock:
					if x.BlockID == blockMore {
						spelt = x.Elements[0].(*api.RichTextSection).Elements[0].(*api.RichTextSectionTextElement).Text
					}
				}
			}
			if len(got) != c.buttons {
				t.Fatalf("%d buttons, want %d", len(got), c.buttons)
			}
			for i, b := range got {
				if (b.Style == api.StylePrimary) != (i == 0) {
					t.Errorf("button %d has style %q", i+1, b.Style)
				}
			}
			if spelt != c.spelt {
				t.Errorf("spelt out %q, want %q", spelt, c.spelt)
			}
			for i, ch := range c.choices {
				if want := fmt.Sprintf("\n%d %s", i+1, ch.Label); !strings.Contains(m.text, want) {
					t.Errorf("the text alone does not offer %q", want)
				}
			}
		})
	}
}

// Every form, and the home view with the longest values, is within the limits.
func TestViewsAreValid(t *testing.T) {
	check := func(v any) {
		t.Helper()
		b, err := json.Marshal(v)
		if err != nil {
			t.Fatal(err)
		}
		if f := workspace.ValidateView(b); len(f) > 0 {
			t.Errorf("%s\n%s", strings.Join(f, "\n"), b)
		}
		if len(b) > 250<<10 {
			t.Errorf("%d bytes", len(b))
		}
	}
	for name := range forms("mph") {
		v, err := formView(formMeta{Form: name, Thread: "T0SHOP/C0123456789/1764000000.000000", Job: "k7mw2pd", Ask: 999, Channel: "C0123456789", Post: "1764000000.000000"})
		if err != nil {
			t.Fatal(err)
		}
		check(v)
	}
	rapid.Check(t, func(rt *rapid.T) {
		home := bot.Home{Whole: rapid.Bool().Draw(rt, "whole")}
		links := map[string]string{}
		for i := range rapid.IntRange(0, 130).Draw(rt, "rows") {
			job := fmt.Sprintf("job%04d", i)
			home.Rows = append(home.Rows, bot.Row{Job: job, Vehicle: rapid.SampledFrom(hostile).Draw(rt, "vehicle"), Phase: flow.PhaseDrive,
				Name: rapid.SampledFrom(hostile).Draw(rt, "name"), Value: "2438 mm", Flags: []string{"new_codes", "deviation"}})
			links[job] = "https://shop.example/archives/C0SHOP/p1764000000000000"
		}
		v := homeView(home, links)
		b, _ := json.Marshal(v)
		if f := workspace.ValidateView(b); len(f) > 0 {
			rt.Fatalf("%s", strings.Join(f, "\n"))
		}
	})
}
