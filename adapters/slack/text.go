package slack

import (
	"strings"
	"unicode/utf8"

	api "github.com/slack-go/slack"
)

// Slack's limits that we come near (slack-testing, 2; docs.slack.dev, Block Kit
// reference), in characters as length counts them.
const (
	maxText   = 4000 // of a message's text, after escaping
	maxLabel  = 75   // of a button
	seenLabel = 30   // of a button on a phone; the rest is cut off there
	maxHeader = 150
	maxView   = 100 // blocks of a view
	maxAlt    = 1000
)

var escaper = strings.NewReplacer("&", "&amp;", "<", "&lt;", ">", "&gt;")

// escape makes words safe where they enter text or a mrkdwn object. It is done
// once, there, and nowhere else.
func escape(s string) string { return escaper.Replace(s) }

// length counts as Slack may: in UTF-16, which is never less than code points.
func length(s string) int {
	n := 0
	for _, r := range s {
		n++
		if r > 0xffff {
			n++
		}
	}
	return n
}

// tidy makes text fit for any element: valid, and without NUL.
func tidy(s string) string {
	return strings.ReplaceAll(strings.ToValidUTF8(s, "\ufffd"), "\x00", "")
}

// clip cuts a text to at most n characters and shows that it did.
func clip(s string, n int) string {
	if length(s) <= n {
		return s
	}
	k, end := 0, 0
	for i, r := range s {
		w := 1
		if r > 0xffff {
			w = 2
		}
		if k+w > n-1 {
			break
		}
		k += w
		end = i + utf8.RuneLen(r)
	}
	return s[:end] + "…"
}

// weight is the most room a letter takes: escaped in text, or as JSON writes it in
// blocks, whose size in all is limited too.
func weight(r rune) int {
	switch {
	case r == '<', r == '>', r == '&', r < ' ' && r != '\n', r == '\u2028', r == '\u2029':
		return 6
	case r == '"', r == '\\', r == '\n', r > 0xffff:
		return 2
	}
	return 1
}

func weigh(s string) (n int) {
	for _, r := range s {
		n += weight(r)
	}
	return n
}

// short cuts words to a weight and shows that it did.
func short(s string, n int) string {
	if weigh(s) <= n {
		return s
	}
	k := 1
	for i, r := range s {
		if k += weight(r); k > n {
			return s[:i] + "…"
		}
	}
	return s
}

// pieces cuts a text into pieces of a weight: at lines where that can be, else at
// words, else anywhere.
func pieces(s string, n int) []string {
	var list []string
	for weigh(s) > n {
		k, line, word, end := 0, 0, 0, 0
		for i, r := range s {
			if k += weight(r); k > n {
				break
			}
			end = i + utf8.RuneLen(r)
			switch r {
			case '\n':
				line = end
			case ' ':
				word = end
			}
		}
		cut := end
		switch {
		case line > end/2:
			cut = line
		case word > end/2:
			cut = word
		}
		list = append(list, strings.TrimRight(s[:cut], "\n "))
		s = s[cut:]
	}
	if strings.TrimSpace(s) != "" || len(list) == 0 {
		list = append(list, s)
	}
	return list
}

// plain is a plain_text object: shown as it stands, smileys in colons included.
func plain(s string, n int) *api.TextBlockObject {
	return api.NewTextBlockObject(api.PlainTextType, clip(orDash(tidy(s)), n), false, false)
}

// asIs is a text element: nothing in it is interpreted.
func asIs(s string, style *api.RichTextSectionTextStyle) api.RichTextSectionElement {
	return api.NewRichTextSectionTextElement(s, style)
}

// orDash is for elements that may not be empty.
func orDash(s string) string {
	if strings.TrimSpace(s) == "" {
		return "–"
	}
	return s
}
