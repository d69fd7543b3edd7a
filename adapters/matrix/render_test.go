package matrix

import (
	"encoding/json"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"regexp"
	"slices"
	"strings"
	"testing"
	"unicode"

	"maunium.net/go/mautrix/event"
	"pgregory.net/rapid"

	"milepost/bot"
	"milepost/flow"
)

// said makes an outgoing message for one person.
func said(kind flow.ReplyKind, text string, choices ...string) bot.Outbound {
	out := bot.Outbound{Key: "k7mw2pd/9", Shop: bot.DefaultShop, Network: NetworkName, Thread: "!r:localhost/$e", Job: "k7mw2pd",
		Reply: flow.Reply{Seq: 9, Kind: kind, Role: flow.Technician, Text: text},
		Names: map[flow.Who]string{"w1": "Kim"}, Users: map[flow.Who]bot.Identity{"w1": "matrix:@kim:localhost"}}
	for _, c := range choices {
		out.Reply.Choices = append(out.Reply.Choices, flow.Choice{Label: c, Send: "k7mw2pd.4." + c})
	}
	return out
}

func to(out bot.Outbound, who ...flow.Who) bot.Outbound {
	out.Reply.To = who
	return out
}

func TestRender(t *testing.T) {
	checklist := "Before anything, all of these. \"all yes\", or a line's number.\n 1 no brake lamp\n 2 codes read: none\n 3 supply on; volts?"
	for _, c := range []struct {
		name string
		out  bot.Outbound
		kind event.MessageType
		body string
		html string
	}{
		{"a line", said(flow.Notice, "Noted."), event.MsgNotice, "Noted.", ""},
		{"a line with signs", said(flow.Result, "a < b & c > d: *not bold*"), event.MsgText, "a < b & c > d: *not bold*", ""},
		{"lines", said(flow.Result, "one\ntwo & two"), event.MsgText, "one\ntwo & two", "one<br>two &amp; two"},
		{"choices", said(flow.Prompt, "What does the tool say?", "took", "broke <off>"), event.MsgText,
			"What does the tool say?\n1. took\n2. broke <off>", "<p>What does the tool say?</p><ol><li>took</li><li>broke &lt;off&gt;</li></ol>"},
		{"called", to(said(flow.Prompt, "Odometer?", "not known"), "w1"), event.MsgText,
			"Kim: Odometer?\n1. not known", `<p><a href="https://matrix.to/#/@kim:localhost">Kim</a>: Odometer?</p><ol><li>not known</li></ol>`},
		{"checklist", said(flow.Prompt, checklist, "all yes"), event.MsgText, checklist + "\n[all yes]",
			"<p>Before anything, all of these. &#34;all yes&#34;, or a line&#39;s number.</p><ol><li>no brake lamp</li><li>codes read: none</li><li>supply on; volts?</li></ol><p>[all yes]</p>"},
		{"checklist with gaps", said(flow.Prompt, "Open still:\n 1 lamps\n 3 supply", "all yes"), event.MsgText, "Open still:\n 1 lamps\n 3 supply\n[all yes]",
			"<p>Open still:<br>1 lamps<br>3 supply</p><p>[all yes]</p>"},
		{"bullets", said(flow.Result, "Look at:\n- cruise\n- cameras\n\nThen drive."), event.MsgText, "Look at:\n- cruise\n- cameras\n\nThen drive.",
			"<p>Look at:</p><ul><li>cruise</li><li>cameras</li></ul><p>Then drive.</p>"},
		{"caution", said(flow.Caution, "Never write with a weak battery."), event.MsgText, "Never write with a weak battery.", "<strong>Never write with a weak battery.</strong>"},
		{"card", said(flow.Card, "unit 14 · job k7mw2pd\nbackup · waits for Kim"), event.MsgText, "unit 14 · job k7mw2pd\nbackup · waits for Kim",
			"<strong>unit 14 · job k7mw2pd</strong><br>backup · waits for Kim"},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := render(&c.out)
			if r.kind != c.kind || r.body != c.body || r.html != c.html {
				t.Errorf("got  %s %q\n     %s\nwant %s %q\n     %s", r.kind, r.body, r.html, c.kind, c.body, c.html)
			}
			sameWords(t, r)
		})
	}
}

// Who is called: those of whom an answer is due, and nobody else, whatever a
// text says.
func TestCalls(t *testing.T) {
	helper := func(o bot.Outbound) bot.Outbound { o.Reply.Role = flow.Helper; return o }
	by := func(o bot.Outbound, w flow.Who) bot.Outbound { o.By = w; return o }
	for _, c := range []struct {
		name   string
		out    bot.Outbound
		called bool
		kind   event.MessageType
	}{
		{"a question", to(said(flow.Prompt, "Odometer?"), "w1"), true, event.MsgText},
		{"a question to whoever is there", said(flow.Prompt, "Odometer?"), false, event.MsgText},
		{"a notice", to(said(flow.Notice, "@kim:localhost: @room noted, Kim."), "w1"), false, event.MsgNotice},
		{"a caution", to(said(flow.Caution, "Obey the limit, Kim."), "w1"), false, event.MsgText},
		{"a result", to(said(flow.Result, "Kim: done"), "w1"), false, event.MsgText},
		{"a card", to(said(flow.Card, "unit 14"), "w1"), false, event.MsgText},
		{"a call for help", by(helper(to(said(flow.Notice, "tech: the write broke off."), "w1")), "w2"), true, event.MsgText},
		{"a call by the clock", helper(to(said(flow.Notice, "the hold waits."), "w1")), true, event.MsgText},
		{"an answer to a helper", by(helper(to(said(flow.Notice, "Noted."), "w1")), "w1"), false, event.MsgNotice},
		{"a refusal", to(said(flow.Refusal, "That is for a supervisor."), "w1"), false, event.MsgText},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := render(&c.out)
			if r.kind != c.kind {
				t.Errorf("kind %s, want %s", r.kind, c.kind)
			}
			content := r.content(r.kind)
			if content.Mentions == nil {
				t.Fatal("m.mentions is missing: clients would look for names in the words")
			}
			if called := slices.Contains(content.Mentions.UserIDs, "@kim:localhost"); called != c.called || len(content.Mentions.UserIDs) > 1 || content.Mentions.Room {
				t.Errorf("mentions %v", content.Mentions)
			}
			if pill := strings.Contains(r.html, "matrix.to"); pill != c.called {
				t.Errorf("pill %v in %q", pill, r.html)
			}
		})
	}
}

// Someone on another network is named, as no mention reaches him; someone
// erased is not.
func TestCallsElsewhere(t *testing.T) {
	out := to(said(flow.Prompt, "Odometer?"), "w1", "w2", "w3")
	out.Names["w2"], out.Users["w2"] = "Noor", "slack:T1/U7"
	r := render(&out)
	if r.body != "Kim, Noor: Odometer?" || len(r.calls) != 1 {
		t.Errorf("body %q, calls %v", r.body, r.calls)
	}
	sameWords(t, r)
}

var hostile = []string{
	`<script>alert(1)</script>`, `"><img src=x onerror=alert(1)>`, `</p></ol><h1>`, `&lt;b&gt;`, `&#60;`, "a\u202eb\u202c", "\u2066x\u2069", "\u200b\u200e", "A\x00B\x1b[31m",
	"@room", "@kim:localhost", `<a href="https://matrix.to/#/@boss:localhost">boss</a>`, "javascript:alert(1)", "- item", "1. item", "12 x", "```", "\xff\xfe", "é\u0301", "👩‍👧", "line\u2028sep", "\r\n", "\n\n", " ", "'", `\`, "{{.}}", "$(x)",
}

// Whatever stands in texts, names and labels: it is escaped, nobody is called by
// it, and the plain body says the same.
func TestRenderHostile(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		piece := rapid.OneOf(rapid.SampledFrom(hostile), rapid.String())
		text := rapid.Map(rapid.SliceOfN(piece, 0, 6), func(p []string) string { return strings.Join(p, " ") })
		kind := rapid.SampledFrom([]flow.ReplyKind{flow.Prompt, flow.Notice, flow.Caution, flow.Result, flow.Card, flow.Refusal, "odd"}).Draw(t, "kind")
		out := said(kind, text.Draw(t, "text"), rapid.SliceOfN(text, 0, 5).Draw(t, "choices")...)
		if rapid.Bool().Draw(t, "to") {
			out = to(out, "w1")
			out.Names["w1"] = text.Draw(t, "name")
			out.Users["w1"] = bot.Identity("matrix:" + rapid.SampledFrom([]string{"@kim:localhost", `@a"b:x`, "@<b>:x", "nobody", "@x y:z", "@k&m'/?#:x"}).Draw(t, "user"))
		}
		r := render(&out)
		sameWords(t, r)
		for _, s := range []string{r.body, r.html} {
			if strings.ContainsFunc(s, func(c rune) bool {
				return c != '\n' && c != '\u200c' && c != '\u200d' && (unicode.IsControl(c) || unicode.Is(unicode.Cf, c))
			}) {
				t.Fatalf("unseen signs in %q", s)
			}
		}
		content := r.content(r.kind)
		for _, u := range content.Mentions.UserIDs {
			if bot.Identity("matrix:"+u) != out.Users["w1"] {
				t.Fatalf("%s is called", u)
			}
		}
		raw, err := json.Marshal(content)
		if err != nil || !json.Valid(raw) {
			t.Fatalf("%v", err)
		}
	})
}

// sameWords fails unless the HTML holds the elements we write and no others, and
// says what the body says.
func sameWords(t interface{ Fatalf(string, ...any) }, r *rendered) {
	if r.html == "" {
		if strings.Contains(r.body, "\n") && len(nonEmpty(r.body)) > 1 {
			t.Fatalf("lines without HTML: clients may join them: %q", r.body)
		}
		return
	}
	text, err := plainOf(r.html)
	if err != nil {
		t.Fatalf("%v in %s", err, r.html)
	}
	if got, want := nonEmpty(text), nonEmpty(r.body); !slices.Equal(got, want) {
		t.Fatalf("the HTML says\n%q\nthe body\n%q\n(%s)", got, want, r.html)
	}
}

// number is a line's own number, in whatever form.
var number = regexp.MustCompile(`^([0-9]{1,3})[.)]? +(\S)`)

func nonEmpty(text string) (lines []string) {
	for l := range strings.SplitSeq(text, "\n") {
		l = strings.Join(strings.Fields(l), " ")
		l = number.ReplaceAllString(l, "$1. $2")
		if l != "" {
			lines = append(lines, l)
		}
	}
	return lines
}

// plainOf reads HTML as a person sees it.
func plainOf(html string) (string, error) {
	d := xml.NewDecoder(strings.NewReader("<all>" + strings.ReplaceAll(html, "<br>", "<br/>") + "</all>"))
	var b strings.Builder
	var in []string
	n := 0
	for {
		tok, err := d.Token()
		if errors.Is(err, io.EOF) {
			return b.String(), nil
		}
		if err != nil {
			return "", err
		}
		switch tok := tok.(type) {
		case xml.StartElement:
			name := tok.Name.Local
			switch name {
			case "all", "strong", "em", "code":
			case "p", "br", "ul", "pre":
				b.WriteByte('\n')
			case "ol":
				n = 0
			case "li":
				b.WriteByte('\n')
				if n++; in[len(in)-1] == "ol" {
					fmt.Fprintf(&b, "%d. ", n)
				} else {
					b.WriteString("- ")
				}
			case "a":
				if len(tok.Attr) != 1 || tok.Attr[0].Name.Local != "href" || !strings.HasPrefix(tok.Attr[0].Value, "https://matrix.to/#/@") {
					return "", fmt.Errorf("a link elsewhere: %v", tok.Attr)
				}
			default:
				return "", fmt.Errorf("an element <%s>", name)
			}
			if name != "a" && len(tok.Attr) > 0 {
				return "", fmt.Errorf("attributes %v", tok.Attr)
			}
			in = append(in, name)
		case xml.EndElement:
			in = in[:len(in)-1]
			if tok.Name.Local == "p" || tok.Name.Local == "li" {
				b.WriteByte('\n')
			}
		case xml.CharData:
			b.Write(tok)
		case xml.Comment, xml.Directive, xml.ProcInst:
			return "", fmt.Errorf("%T", tok)
		}
	}
}

// A name that bends the reading order, or a user that is none, goes nowhere.
func TestIsUser(t *testing.T) {
	for user, want := range map[string]bool{
		"@kim:localhost": true, "@kim:[::1]:8448": true, "@Old/Name=x:host": true,
		"kim:localhost": false, "@kim": false, "@kim:": false, "@ki m:x": false, "@k\u202e:x": false, "@k\n:x": false, `@k"x:y`: false, "@<x>:y": false,
	} {
		if got := isUser(user); got != want {
			t.Errorf("isUser(%q) = %v", user, got)
		}
	}
}

func TestFileName(t *testing.T) {
	long := strings.Repeat("ä", 200) + ".bin"
	for in, want := range map[string]string{
		"sheet.pdf": "sheet.pdf", "../../etc/passwd": "passwd", `C:\x\y.bin`: "y.bin", "": "file", "..": "file", "a\u202egnp.exe": "agnp.exe", "a\nb.txt": "a b.txt",
	} {
		if got := fileName(in); got != want {
			t.Errorf("fileName(%q) = %q, want %q", in, got, want)
		}
	}
	if got := fileName(long); len(got) > maxFileName || !strings.HasSuffix(got, ".bin") {
		t.Errorf("a long name becomes %q, %d bytes", got, len(got))
	}
}

func TestTransaction(t *testing.T) {
	seen := map[string]bool{}
	for i := range 1000 {
		txn := transaction(fmt.Sprintf("main/k7mw2pd/%d", i))
		if seen[txn] || !regexp.MustCompile(`^[A-Za-z0-9_-]{10,60}$`).MatchString(txn) {
			t.Fatalf("transaction %q", txn)
		}
		seen[txn] = true
	}
	if a := transaction("main/k7mw2pd/1"); !seen[a] {
		t.Error("a key has one transaction")
	}
}
