package workspace

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"net"
	"net/url"
	"slices"
	"sort"
	"strconv"
	"strings"
	"unicode/utf16"
	"unicode/utf8"
)

// checker walks a JSON value and collects what Slack would refuse, in Slack's form: "[ERROR] reason [json-pointer:/blocks/0]".
type checker struct {
	surface  string // message, modal or home
	faults   []string
	blockIDs map[string]bool
	focus    int // elements that want the focus
	markdown int // characters in markdown blocks
	tables   int
	inputs   int
	files    []string // slack_file ids the blocks use
}

func newChecker(surface string) *checker {
	return &checker{surface: surface, blockIDs: map[string]bool{}}
}

func (c *checker) fault(at, format string, a ...any) {
	c.faults = append(c.faults, fmt.Sprintf("[ERROR] %s [json-pointer:%s]", fmt.Sprintf(format, a...), at))
}

// rule looks at one value at a JSON pointer.
type rule func(c *checker, at string, v any)

type field struct {
	need bool
	rule rule
}

// shape names every property an object may have; any other is refused.
type shape map[string]field

func need(r rule) field { return field{true, r} }
func may(r rule) field  { return field{false, r} }

func (c *checker) object(at string, v any, s shape) obj {
	o, ok := v.(obj)
	if !ok {
		c.fault(at, "must be an object")
		return nil
	}
	names := make([]string, 0, len(o))
	for k := range o {
		names = append(names, k)
	}
	sort.Strings(names)
	for _, k := range names {
		if f, ok := s[k]; ok {
			f.rule(c, at+"/"+k, o[k])
		} else {
			c.fault(at+"/"+k, "unknown property %q", k)
		}
	}
	for k, f := range s {
		if _, ok := o[k]; f.need && !ok {
			c.fault(at, "missing required field: %s", k)
		}
	}
	return o
}

// length counts as the stricter of code points and UTF-16 units; Slack does not say which it uses.
func length(s string) int { return max(utf8.RuneCountInString(s), len(utf16.Encode([]rune(s)))) }

func text(most int) rule {
	return func(c *checker, at string, v any) {
		s, ok := v.(string)
		switch {
		case !ok:
			c.fault(at, "must be a string")
		case strings.TrimSpace(s) == "":
			c.fault(at, "must be more than 0 characters")
		case length(s) > most:
			c.fault(at, "must be less than %d characters", most+1)
		case !utf8.ValidString(s):
			c.fault(at, "must be valid UTF-8")
		}
	}
}

func word(words ...string) rule {
	return func(c *checker, at string, v any) {
		if s, ok := v.(string); !ok || !slices.Contains(words, s) {
			c.fault(at, "must be one of %s", strings.Join(words, ", "))
		}
	}
}

func truth(c *checker, at string, v any) {
	if _, ok := v.(bool); !ok {
		c.fault(at, "must be a boolean")
	}
}

func whole(low, high int64) rule {
	return func(c *checker, at string, v any) {
		n, ok := v.(json.Number)
		if i, err := n.Int64(); !ok || err != nil || i < low || i > high {
			c.fault(at, "must be a whole number from %d to %d", low, high)
		}
	}
}

// numeral is a number given in a string, as number inputs take it.
func numeral(c *checker, at string, v any) {
	s, ok := v.(string)
	if _, err := strconv.ParseFloat(s, 64); !ok || err != nil {
		c.fault(at, "must be a number in a string")
	}
}

func list(least, most int, r rule) rule {
	return func(c *checker, at string, v any) {
		l, ok := v.([]any)
		switch {
		case !ok:
			c.fault(at, "must be an array")
			return
		case len(l) < least:
			c.fault(at, "no fewer than %d items allowed", least)
		case len(l) > most:
			c.fault(at, "no more than %d items allowed", most)
		}
		for i, e := range l {
			r(c, fmt.Sprintf("%s/%d", at, i), e)
		}
	}
}

// address is a URL people can follow.
func address(most int) rule {
	return func(c *checker, at string, v any) {
		text(most)(c, at, v)
		s, _ := v.(string)
		u, err := url.Parse(s)
		if err != nil || u.Scheme == "" || u.Host == "" && u.Scheme != "mailto" && u.Scheme != "tel" {
			c.fault(at, "must be a valid url")
		}
	}
}

// picture is a URL that Slack fetches itself, from outside: an address inside a house never works.
func picture(c *checker, at string, v any) {
	address(3000)(c, at, v)
	s, _ := v.(string)
	u, err := url.Parse(s)
	if err != nil {
		return
	}
	host := u.Hostname()
	ip := net.ParseIP(host)
	inside := ip != nil && (ip.IsLoopback() || ip.IsPrivate() || ip.IsLinkLocalUnicast() || ip.IsUnspecified())
	if u.Scheme != "http" && u.Scheme != "https" || inside || host == "localhost" || !strings.Contains(host, ".") ||
		strings.HasSuffix(host, ".local") || strings.HasSuffix(host, ".internal") {
		c.fault(at, "downloading image failed: the address can't be reached from outside")
	}
}

// typed sends an object to the shape its type names.
func typed(shapes map[string]func(*checker, string, any)) rule {
	return func(c *checker, at string, v any) {
		o, ok := v.(obj)
		if !ok {
			c.fault(at, "must be an object")
			return
		}
		kind, _ := o["type"].(string)
		f, ok := shapes[kind]
		if !ok {
			c.fault(at+"/type", "unsupported type: %s", kind)
			return
		}
		f(c, at, v)
	}
}

// parse reads exactly one JSON value and keeps numbers as written.
func parse(raw []byte) (any, error) {
	d := json.NewDecoder(bytes.NewReader(raw))
	d.UseNumber()
	var v any
	if err := d.Decode(&v); err != nil {
		return nil, fmt.Errorf("parse JSON: %w", err)
	}
	if _, err := d.Token(); err != io.EOF {
		return nil, fmt.Errorf("parse JSON: more than one value")
	}
	return v, nil
}

// textObject is a plain_text or mrkdwn object.
func textObject(most int, kinds ...string) rule {
	return func(c *checker, at string, v any) {
		s := shape{"type": need(word(kinds...)), "text": need(text(most))}
		if o, ok := v.(obj); ok && o["type"] == "plain_text" {
			s["emoji"] = may(truth)
		} else {
			s["verbatim"] = may(truth)
		}
		c.object(at, v, s)
	}
}

func plain(most int) rule { return textObject(most, "plain_text") }
func words(most int) rule { return textObject(most, "plain_text", "mrkdwn") }
