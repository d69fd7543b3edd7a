package matrix

import (
	"html"
	"regexp"
	"strconv"
	"strings"

	"maunium.net/go/mautrix/id"

	"milepost/flow"
)

// richBody writes a message in the few elements that clients keep: strong, p,
// br, ul, ol, li, and a for those who are called. Every word in it is escaped.
// It is "" where it would show no more than the body.
func richBody(kind flow.ReplyKind, called []callee, text string, labels []string, list bool) string {
	blocks := blocksOf(text)
	strong := kind == flow.Caution && len(blocks) == 1 && len(blocks[0].lines) == 1
	title := kind == flow.Card && len(blocks) > 0 && blocks[0].tag == "p"
	if len(labels) > 0 {
		blocks = append(blocks, choiceBlock(labels, list))
	}
	if len(called) == 0 && len(blocks) == 1 && len(blocks[0].lines) == 1 && !strong && !title {
		return ""
	}
	var b strings.Builder
	if len(called) > 0 && (len(blocks) == 0 || blocks[0].tag != "p") {
		blocks = append([]block{{tag: "p", lines: []string{""}}}, blocks...)
	}
	for i, bl := range blocks {
		if bl.tag != "p" {
			b.WriteString("<" + bl.tag + ">")
			for _, l := range bl.lines {
				b.WriteString("<li>" + html.EscapeString(l) + "</li>")
			}
			b.WriteString("</" + bl.tag + ">")
			continue
		}
		if len(blocks) > 1 {
			b.WriteString("<p>")
		}
		if i == 0 {
			b.WriteString(pills(called))
		}
		for n, l := range bl.lines {
			if n > 0 {
				b.WriteString("<br>")
			}
			if strong || title && i == 0 && n == 0 {
				b.WriteString("<strong>" + html.EscapeString(l) + "</strong>")
			} else {
				b.WriteString(html.EscapeString(l))
			}
		}
		if len(blocks) > 1 {
			b.WriteString("</p>")
		}
	}
	return b.String()
}

// pills names those who are called, as clients show people.
func pills(called []callee) string {
	var b strings.Builder
	for i, c := range called {
		if i > 0 {
			b.WriteString(", ")
		}
		if c.user == "" {
			b.WriteString(html.EscapeString(c.name))
			continue
		}
		b.WriteString(`<a href="` + html.EscapeString(id.UserID(c.user).URI().MatrixToURL()) + `">` + html.EscapeString(c.name) + "</a>")
	}
	if len(called) > 0 {
		b.WriteString(": ")
	}
	return b.String()
}

// block is a piece of a text: a paragraph (p) with its lines, or a list (ul, ol)
// with its items.
type block struct {
	tag   string
	lines []string
}

var (
	dashed  = regexp.MustCompile(`^ *- +(\S.*)$`)
	counted = regexp.MustCompile(`^ *([0-9]{1,3})[.)]? +(\S.*)$`)
)

// blocksOf takes a text apart. Lines are numbered by HTML only where it counts as
// they do, from 1 and without a gap: a line's number is what is typed.
func blocksOf(text string) []block {
	var bs []block
	open := false // the last paragraph takes more lines
	lines := strings.Split(text, "\n")
	for i := 0; i < len(lines); {
		if n := run(lines[i:], isDashed); n > 0 {
			bs = append(bs, block{"ul", items(lines[i:i+n], dashed)})
			i, open = i+n, false
			continue
		}
		if n := run(lines[i:], isCounted); n > 1 {
			bs = append(bs, block{"ol", items(lines[i:i+n], counted)})
			i, open = i+n, false
			continue
		}
		l := strings.TrimSpace(lines[i])
		i++
		switch {
		case l == "":
			open = false
		case open:
			p := &bs[len(bs)-1]
			p.lines = append(p.lines, l)
		default:
			bs = append(bs, block{"p", []string{l}})
			open = true
		}
	}
	return bs
}

// run counts the lines from the first that are items of one list.
func run(lines []string, isItem func(line string, n int) bool) int {
	for i, l := range lines {
		if !isItem(l, i+1) {
			return i
		}
	}
	return len(lines)
}

func isDashed(line string, _ int) bool { return dashed.MatchString(line) }

func isCounted(line string, n int) bool {
	m := counted.FindStringSubmatch(line)
	return m != nil && m[1] == strconv.Itoa(n)
}

// items gives the last group of each line.
func items(lines []string, form *regexp.Regexp) []string {
	out := make([]string, len(lines))
	for i, l := range lines {
		m := form.FindStringSubmatch(l)
		out[i] = strings.TrimSpace(m[len(m)-1])
	}
	return out
}

func choiceBlock(labels []string, list bool) block {
	if !list {
		return block{"ol", labels}
	}
	bracketed := make([]string, len(labels))
	for i, l := range labels {
		bracketed[i] = "[" + l + "]"
	}
	return block{"p", bracketed}
}
