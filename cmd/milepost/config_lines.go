package main

import (
	"strconv"
	"strings"

	"github.com/BurntSushi/toml"
)

// places tells on which line of a TOML text each key stands, and each element of
// a list. The TOML library knows the lines of its own complaints only, and ours
// come later, when a value is read for what it means.
type places map[string]int

// placesDeep is how far down places are told: nothing of ours lies deeper.
const placesDeep = 16

// at is a key's path in places. The parts of a list are numbered from 0.
func at(path ...string) string { return strings.Join(path, "\x00") }

// line gives the line of a path, or of what it stands in.
func (p places) line(path []string) int {
	for ; len(path) > 0; path = path[:len(path)-1] {
		if n, ok := p[at(path...)]; ok {
			return n
		}
	}
	return 1
}

// findPlaces goes through a text that the TOML library has taken: of what it
// refuses nothing is promised.
func findPlaces(text string) places {
	s := &scanner{text: text, line: 1, found: places{}, lists: map[string]int{}}
	var table []string
	for s.space(true); !s.end(); s.space(true) {
		before := s.pos
		switch {
		case s.take("[["):
			line := s.line
			table = s.below(s.key())
			s.take("]]")
			n := s.lists[at(table...)]
			s.lists[at(table...)] = n + 1
			table = append(table, strconv.Itoa(n))
			s.note(table, line)
		case s.take("["):
			line := s.line
			table = s.below(s.key())
			s.take("]")
			s.note(table, line)
		default:
			s.assignment(table)
		}
		if s.pos == before {
			s.pos++ // not TOML: the library has said so
		}
	}
	return s.found
}

// scanner is at a place in a TOML text.
type scanner struct {
	text  string
	pos   int
	line  int
	found places
	lists map[string]int // tables so far in each list of tables
}

func (s *scanner) end() bool { return s.pos >= len(s.text) }

// note keeps the first line of a path and of those it implies.
func (s *scanner) note(path []string, line int) {
	for n := 1; n <= len(path); n++ {
		if _, ok := s.found[at(path[:n]...)]; !ok {
			s.found[at(path[:n]...)] = line
		}
	}
}

// below puts the number of the last table of a list behind the list's name.
func (s *scanner) below(key []string) []string {
	var path []string
	for i, k := range key {
		path = append(path, k)
		if n := s.lists[at(path...)]; n > 0 && i < len(key)-1 {
			path = append(path, strconv.Itoa(n-1))
		}
	}
	return path
}

// assignment takes `key = value`.
func (s *scanner) assignment(table []string) {
	line := s.line
	path := table
	if key := s.key(); len(table)+len(key) <= placesDeep {
		path = append(append([]string(nil), table...), key...)
		s.note(path, line)
	}
	s.space(false)
	s.take("=")
	s.space(false)
	s.value(path)
}

// value takes a value, noting what stands in it.
func (s *scanner) value(path []string) {
	switch {
	case s.end():
	case s.take(`"""`):
		s.until(`"""`, true)
	case s.take(`'''`):
		s.until(`'''`, false)
	case s.text[s.pos] == '"', s.text[s.pos] == '\'':
		s.quoted()
	case s.take("["):
		for n := 0; s.more("]"); n++ {
			element := path
			if len(path) < placesDeep {
				element = append(append([]string(nil), path...), strconv.Itoa(n))
				s.note(element, s.line)
			}
			s.value(element)
			s.comma()
		}
	case s.take("{"):
		for s.more("}") {
			s.assignment(path)
			s.comma()
		}
	default:
		if n := strings.IndexAny(s.text[s.pos:], ",]}#\r\n"); n >= 0 {
			s.pos += n
		} else {
			s.pos = len(s.text)
		}
	}
}

// more says whether a list or an inline table goes on, and takes its end.
func (s *scanner) more(end string) bool {
	s.space(true)
	return !s.end() && !s.take(end)
}

// comma takes what stands between two elements; always a step forward.
func (s *scanner) comma() {
	before := s.pos
	s.space(true)
	if !s.take(",") && s.pos == before && !s.end() && !strings.ContainsRune("]}", rune(s.text[s.pos])) {
		s.pos++
	}
}

// key takes a dotted key.
func (s *scanner) key() (parts []string) {
	for {
		s.space(false)
		start := s.pos
		switch {
		case s.end():
			return parts
		case s.text[s.pos] == '"', s.text[s.pos] == '\'':
			s.quoted()
			parts = append(parts, unquote(s.text[start:s.pos]))
		default:
			for !s.end() && !strings.ContainsRune(" \t\r\n.=]#", rune(s.text[s.pos])) {
				s.pos++
			}
			parts = append(parts, s.text[start:s.pos])
		}
		s.space(false)
		if !s.take(".") {
			return parts
		}
	}
}

// unquote reads a quoted key as the library does.
func unquote(quoted string) string {
	if !strings.Contains(quoted, `\`) || quoted[0] == '\'' {
		return strings.Trim(quoted, quoted[:1])
	}
	var m map[string]string
	if _, err := toml.Decode("k = "+quoted, &m); err != nil {
		return quoted
	}
	return m["k"]
}

// quoted takes a string of one line.
func (s *scanner) quoted() {
	q := s.text[s.pos]
	for s.pos++; !s.end() && s.text[s.pos] != '\n'; s.pos++ {
		switch s.text[s.pos] {
		case q:
			s.pos++
			return
		case '\\':
			if q == '"' {
				s.pos++
			}
		}
	}
}

// until takes the rest of a string of several lines. Up to two quotes more than
// end it belong to it.
func (s *scanner) until(end string, escapes bool) {
	for !s.end() {
		switch {
		case s.take(end):
			for range 2 {
				s.take(end[:1])
			}
			return
		case escapes && s.text[s.pos] == '\\' && s.pos+1 < len(s.text):
			s.step()
		}
		s.step()
	}
}

// step goes on by a byte.
func (s *scanner) step() {
	if s.text[s.pos] == '\n' {
		s.line++
	}
	s.pos++
}

// space takes white space and, where lines may end, comments.
func (s *scanner) space(lines bool) {
	for !s.end() {
		switch c := s.text[s.pos]; {
		case c == ' ', c == '\t':
		case lines && (c == '\r' || c == '\n'):
		case lines && c == '#':
			if n := strings.IndexByte(s.text[s.pos:], '\n'); n >= 0 {
				s.pos += n - 1
			} else {
				s.pos = len(s.text) - 1
			}
		default:
			return
		}
		s.step()
	}
}

// take takes a text if it stands here.
func (s *scanner) take(text string) bool {
	if !strings.HasPrefix(s.text[s.pos:], text) {
		return false
	}
	s.pos += len(text)
	return true
}
