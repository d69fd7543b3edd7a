package terminal

import (
	"strings"

	"github.com/rivo/uniseg"
)

// narrowest is the width below which nothing is wrapped: no terminal is so.
const narrowest = 20

// wrap breaks a text into lines no wider than width, as far as its words allow;
// a word that is wider is broken too. Line ends of the text stay. What follows
// in a broken line stands under where its words began, behind a number or a
// leading space. Width below narrowest: nothing is broken.
func wrap(text string, width int) []string {
	var out []string
	for _, line := range strings.Split(text, "\n") {
		if width < narrowest || uniseg.StringWidth(line) <= width {
			out = append(out, strings.TrimRight(line, " "))
			continue
		}
		out = append(out, fold(line, width)...)
	}
	return out
}

// fold breaks one line.
func fold(line string, width int) []string {
	indent := hanging(line)
	if indent > width/3 {
		indent = 0
	}
	lead := strings.Repeat(" ", indent)
	var out []string
	cur, used, start := "", 0, 0 // start: width of what a line begins with
	flush := func() {
		out = append(out, strings.TrimRight(cur, " "))
		cur, used, start = lead, indent, indent
	}
	for _, word := range words(line) {
		w := uniseg.StringWidth(word)
		seen := uniseg.StringWidth(strings.TrimRight(word, " "))
		if used+seen > width && used > start {
			flush()
		}
		for seen > width-used { // a word wider than the line
			head, rest := split(word, width-used)
			if head == "" {
				break // a letter wider than the line: it is let be
			}
			cur += head
			flush()
			word = rest
			w, seen = uniseg.StringWidth(word), uniseg.StringWidth(strings.TrimRight(word, " "))
		}
		cur += word
		used += w
	}
	if strings.TrimSpace(cur) != "" {
		flush()
	}
	return out
}

// hanging is where the words of a line begin: behind spaces and a number.
func hanging(line string) int {
	rest := strings.TrimLeft(line, " ")
	n := len(line) - len(rest)
	digits := len(rest) - len(strings.TrimLeft(rest, "0123456789"))
	if digits == 0 || digits > 3 {
		return n
	}
	behind := strings.TrimLeft(rest[digits:], ".) ")
	if len(behind) == len(rest)-digits {
		return n
	}
	return len(line) - len(behind)
}

// words cuts a line behind its spaces; spaces at the beginning are a word.
func words(line string) []string {
	var out []string
	for line != "" {
		i := strings.IndexByte(line, ' ')
		if i < 0 {
			return append(out, line)
		}
		for i < len(line) && line[i] == ' ' {
			i++
		}
		out = append(out, line[:i])
		line = line[i:]
	}
	return out
}

// split cuts a word before the letter that is too much.
func split(word string, width int) (head, rest string) {
	state, used := -1, 0
	for rest = word; rest != ""; {
		cluster, tail, w, next := uniseg.FirstGraphemeClusterInString(rest, state)
		if used+w > width {
			break
		}
		head, rest, used, state = head+cluster, tail, used+w, next
	}
	return head, rest
}
