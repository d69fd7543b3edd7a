package matrix

import (
	"context"
	"encoding/json"
	"strings"
	"testing"
	"unicode"
)

// heardAs gives what is heard of a text, and whether it calls us.
func heardAs(t testing.TB, m *stint, body, more string) (string, bool) {
	t.Helper()
	evt := parse(t, text(body, more))
	evt.RoomID = "!work:shop.example"
	ins, err := m.hear(context.Background(), evt, relation(evt))
	if err != nil || len(ins) != 1 {
		t.Fatalf("%q: %v, %v", body, ins, err)
	}
	return ins[0].Text, ins[0].Called
}

const (
	mentionsUs   = `,"m.mentions":{"user_ids":["@milepost:shop.example"]}`
	mentionsBody = `,"m.mentions":{}`
)

// pilled is a text in HTML beside the plain one.
func pilled(formatted string) string {
	b, _ := json.Marshal(formatted)
	return `,"format":"org.matrix.custom.html","formatted_body":` + string(b)
}

// Clients write a mention in many forms. None of it is a word of the person's. The
// first is that of github.com/element-hq/element-x-android, 5729.
func TestMentionForms(t *testing.T) {
	m := quiet(t)
	for _, c := range []struct{ name, body, more, want string }{
		{"Markdown link", "[@milepost:shop.example](https://matrix.to/#/@milepost:shop.example) new job unit 14", mentionsUs, "new job unit 14"},
		{"without m.mentions", "[@milepost:shop.example](https://matrix.to/#/@milepost:shop.example) new job unit 14", "", "new job unit 14"},
		{"Markdown link with the name", "[Workshop helper](https://matrix.to/#/@milepost:shop.example): new job unit 14", mentionsUs, "new job unit 14"},
		{"another name", "[Mile [the] post](https://matrix.to/#/@milepost:shop.example) new job", "", "new job"},
		{"escaped", `[Mile \[the\] post](https://matrix.to/#/%40milepost%3Ashop.example) new job`, "", "new job"},
		{"with a way", "[Workshop helper](https://matrix.to/#/%40milepost%3Ashop.example?via=shop.example&via=partner.example) new job", "", "new job"},
		{"as a URI", "[Workshop helper](matrix:u/milepost:shop.example?action=chat) new job", "", "new job"},
		{"in the middle", "please [Workshop helper](https://matrix.to/#/@milepost:shop.example) new job unit 14", "", "please new job unit 14"},
		{"between commas", "please, [Workshop helper](https://matrix.to/#/@milepost:shop.example), new job unit 14", "", "please, new job unit 14"},
		{"at the end", "no [Workshop helper](https://matrix.to/#/@milepost:shop.example)", "", "no"},
		{"of a question", "is that right, [Workshop helper](https://matrix.to/#/@milepost:shop.example)?", "", "is that right?"},
		{"twice", "@milepost:shop.example 225/45 @milepost:shop.example R17", "", "225/45 R17"},
		{"on a line of its own", "yes\n[Workshop helper](https://matrix.to/#/@milepost:shop.example)\n13.4", "", "yes\n\n13.4"},
		{"in brackets", "@[Workshop helper] new job", "", "new job"},
		{"in brackets with a number", "no @[Workshop Helper]", "", "no"},
		{"bare link", "https://matrix.to/#/@milepost:shop.example: new job", "", "new job"},
		{"bare link in angles", "new job <https://matrix.to/#/%40milepost%3Ashop.example>", "", "new job"},
		{"link of another place", "https://chat.shop.example/#/user/@milepost:shop.example new job", "", "new job"},
		{"bare address at the end", "new job unit 14, @milepost:shop.example.", "", "new job unit 14."},
		{"bare address with a colon", "hi @milepost:shop.example: new job unit 14", "", "hi, new job unit 14"},
		{"name at the end", "no Workshop helper", mentionsUs, "no"},
		{"name at the end of a question", "is it on the door, workshop helper?", mentionsUs, "is it on the door?"},
		{"name behind a greeting", "Hi Workshop helper, new job unit 14", mentionsUs, "Hi, new job unit 14"},
		{"name behind a longer one", "good morning, Workshop helper! new job", mentionsUs, "good morning! new job"},
		{"name with the sign", "new job @Workshop helper unit 14", mentionsUs, "new job unit 14"},
		{"nothing else", "Workshop helper", mentionsUs, ""},

		{"pill in the middle", "it is Workshop helper 225", pilled(`it is <a href="https://matrix.to/#/@milepost:shop.example">Workshop helper</a> 225`), "it is 225"},
		{"escaped pill", "it is Workshop helper 225", pilled(`it is <a class="x" href="https://matrix.to/#/%40milepost%3Ashop.example?via=a&amp;via=b">Workshop helper</a> 225`), "it is 225"},
		{"pill in single quotes", "it is Workshop helper 225", pilled(`it is <a href='https://matrix.to/#/@milepost:shop.example'>Workshop helper</a> 225`), "it is 225"},
		{"pill as a URI", "it is Bodge 225", pilled(`it is <A HREF="matrix:u/milepost:shop.example"><b>@Bodge</b></A> 225`), "it is 225"},
		{"pill without quotes", "it is Workshop helper 225", pilled(`it is <a href=https://matrix.to/#/@milepost:shop.example>Workshop helper</a> 225`), "it is 225"},
		{"pill of a word that stands twice", "mile for mile 225", pilled(`mile for <a href="https://matrix.to/#/@milepost:shop.example">mile</a> 225`), "for mile 225"},
	} {
		if got, called := heardAs(t, m, c.body, c.more); got != c.want || !called {
			t.Errorf("%s: %q is heard as %q, called %t; want %q", c.name, c.body, got, called, c.want)
		}
	}
}

// What is no mention of us stays as it was typed, and does not call us.
func TestNoMention(t *testing.T) {
	m := quiet(t)
	for _, c := range []struct{ body, more string }{
		{"[@bob:partner.example](https://matrix.to/#/@bob:partner.example) new job", ""},
		{"[Workshop helper](https://shop.example/helper) is new", ""},
		{"see [1] (https://matrix.to/#/!work:shop.example)", ""},
		{"write to x@milepost:shop.example", ""},
		{"@milepost:shop.example.org new job", ""},
		{"@milepost:shop.example:8448 new job", ""},
		{"@milepost:shop.examples new job", ""},
		{"@[Bob] new job", ""},
		{"@[Workshop", ""},
		{"no Workshop helper", ""},
		{"Hi Workshop helper, good to see you", ""},
		{"no Workshop helper", mentionsBody},
		{"hello", pilled(`<a href="https://matrix.to/#/@milepost:shop.example.org">x</a>`)},
		{"hello", pilled(`<a href="https://matrix.to/#/@bob:partner.example">x</a>`)},
		{"hello", pilled(`<a href="matrix:r/milepost:shop.example">x</a>`)},
		{"hello", pilled(`<a href="https://matrix.to/#/%zzmilepost">x</a>`)},
		{"hello", pilled(`https://matrix.to/#/@milepost:shop.example"`)},
		{"hello", pilled(`<mx-reply><blockquote>Bob: <a href="https://matrix.to/#/@milepost:shop.example">Workshop helper</a> 225</blockquote></mx-reply>hello`)},
	} {
		if got, called := heardAs(t, m, c.body, c.more); got != c.body || called {
			t.Errorf("%q is heard as %q, called %t", c.body, got, called)
		}
	}
	// In the middle of what mentions us otherwise, the name may be a word.
	for _, body := range []string{"the Workshop helper said 225", "ask the Workshop helpers"} {
		if got, called := heardAs(t, m, body, mentionsUs); got != body || !called {
			t.Errorf("%q is heard as %q, called %t", body, got, called)
		}
	}
}

// kept is the letters and figures of a text.
func kept(text string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsLetter(r) || unicode.IsDigit(r) {
			return r
		}
		return -1
	}, text)
}

// FuzzMentions: a text without a mention of us stays as it is; one put into it
// goes again, and takes no word with it.
func FuzzMentions(f *testing.F) {
	for _, s := range []string{"new job unit 14", "[a](b) @[c] https://matrix.to/#/@bob:partner.example", "no, ", "\n: ,", "@milepost:shop.example.org", "[[[", "<a href=", "K\u0130M", "@[Workshop"} {
		for form := range uint8(6) {
			f.Add(s, s, form)
		}
	}
	u := us{user: "@milepost:shop.example", names: []string{"Workshop helper", "milepost", "milepost"}}
	forms := []string{"@milepost:shop.example", "[x](https://matrix.to/#/@milepost:shop.example)", "@[Workshop helper]",
		"https://matrix.to/#/%40milepost%3Ashop.example", "[Workshop helper](matrix:u/milepost:shop.example?action=chat)", "<https://matrix.to/#/@milepost:shop.example>"}
	f.Fuzz(func(t *testing.T, before, after string, form uint8) {
		if len(before)+len(after) > 2000 {
			return // what is longer is only slower
		}
		before, after = strings.ToValidUTF8(before, ""), strings.ToValidUTF8(after, "")
		for _, s := range []string{before, after} {
			if strings.Contains(strings.ToLower(s), "milepost") || strings.Contains(strings.ToLower(s), "workshop helper") {
				return
			}
			if got := without(s, u.mentions(s)); got != s {
				t.Errorf("%q becomes %q", s, got)
			}
		}
		whole := before + " " + forms[int(form)%len(forms)] + " " + after
		found := u.mentions(whole)
		if strings.ContainsAny(before+after, "[]()<>\\") {
			return // may be half of something that holds the mention
		}
		if len(found) == 0 {
			t.Fatalf("%q: no mention", whole)
		}
		if got := without(whole, found); kept(got) != kept(before+after) {
			t.Errorf("%q becomes %q", whole, got)
		}
	})
}
