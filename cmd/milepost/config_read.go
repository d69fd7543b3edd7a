package main

import (
	"errors"
	"fmt"
	"maps"
	"math"
	"slices"
	"strconv"
	"strings"

	"github.com/BurntSushi/toml"
)

// reader goes through a configuration and collects what is wrong in it, each
// fault with its line, what was understood and what is allowed.
type reader struct {
	file   string
	places places
	faults []fault
}

type fault struct {
	line int
	text string
}

// err is all faults in the order of their lines, nil if there are none.
func (r *reader) err() error {
	slices.SortStableFunc(r.faults, func(a, b fault) int { return a.line - b.line })
	var errs []error
	for _, f := range r.faults {
		errs = append(errs, fmt.Errorf("%s:%d: %s", r.file, f.line, f.text))
	}
	return errors.Join(errs...)
}

// table is a table of the file that is being read: each key is asked for once,
// and done complains of those nobody asked for.
type table struct {
	r     *reader
	name  string   // as people write it
	path  []string // in places
	m     map[string]any
	asked []string
}

// parse reads a text as TOML. It gives the outermost table, nil with a fault.
func (r *reader) parse(text string) *table {
	var m map[string]any
	if _, err := toml.Decode(text, &m); err != nil {
		line, what := 1, err.Error()
		var p toml.ParseError
		if errors.As(err, &p) {
			line, what = p.Position.Line, p.Message
		}
		r.faults = append(r.faults, fault{line, "this is not TOML: " + withoutQuoted(what)})
		return nil
	}
	r.places = findPlaces(text)
	return &table{r: r, m: m}
}

// withoutQuoted leaves out of a complaint what it quotes of the file, but for
// names of keys and single signs: it may be a secret that lacks its quotes.
func withoutQuoted(s string) string {
	if strings.HasPrefix(s, "Key '") {
		return s
	}
	for _, q := range []string{`"`, "'"} {
		part := strings.Split(s, q)
		for i := 1; i < len(part)-1; i += 2 {
			if len([]rune(part[i])) > 2 {
				part[i] = "…"
			}
		}
		s = strings.Join(part, q)
	}
	return s
}

// fault notes what is wrong with a key, "" being the table itself.
func (t *table) fault(key, format string, args ...any) {
	path, name := t.path, t.name
	if key != "" {
		path = append(slices.Clone(path), key)
		name = strings.TrimSpace(name + " " + key)
	}
	if name != "" {
		name += ": "
	}
	t.r.faults = append(t.r.faults, fault{t.r.places.line(path), name + fmt.Sprintf(format, args...)})
}

// has says whether a key stands in the table.
func (t *table) has(key string) bool {
	if t == nil {
		return false
	}
	_, ok := t.m[key]
	return ok
}

// get asks for a key.
func (t *table) get(key string) (any, bool) {
	if t == nil {
		return nil, false
	}
	t.asked = append(t.asked, key)
	v, ok := t.m[key]
	return v, ok
}

// wrong is the fault of a value that is not what was wanted.
func (t *table) wrong(key string, v any, want string) { t.fault(key, "%s; want %s", shown(v), want) }

// shown is what was understood, without what could be a secret.
func shown(v any) string {
	switch v := v.(type) {
	case string:
		for _, p := range []string{"syt_", "mct_", "xox", "xapp-", "PRIVATE+KEY"} {
			if strings.HasPrefix(strings.TrimSpace(v), p) {
				return "a text that looks like a secret"
			}
		}
		if strings.Contains(v, "://") && strings.Contains(v, "@") {
			return "an address with more than a server in it"
		}
		if r := []rune(v); len(r) > 60 {
			return strconv.Quote(string(r[:60])) + "…"
		}
		return strconv.Quote(v)
	case int64:
		return "the number " + strconv.FormatInt(v, 10)
	case float64:
		return "the number " + strconv.FormatFloat(v, 'g', -1, 64)
	case bool:
		return strconv.FormatBool(v)
	case map[string]any:
		return "a table"
	case []any:
		return "a list"
	case []map[string]any:
		return "a list of tables"
	}
	return "a date or time"
}

// text gives a text that the check takes, def where there is none.
func (t *table) text(key, def, want string, ok func(string) bool) string {
	v, there := t.get(key)
	if !there {
		return def
	}
	s, is := v.(string)
	if !is || !ok(s) {
		t.wrong(key, v, want)
		return def
	}
	return s
}

// oneOf gives one of some words, def where there is none.
func (t *table) oneOf(key, def string, words ...string) string {
	return t.text(key, def, oneOfWords(words), func(s string) bool { return slices.Contains(words, s) })
}

func oneOfWords(words []string) string {
	quoted := make([]string, len(words))
	for i, w := range words {
		quoted[i] = strconv.Quote(w)
	}
	if n := len(quoted) - 1; n > 0 {
		return strings.Join(quoted[:n], ", ") + " or " + quoted[n]
	}
	return strings.Join(quoted, "")
}

// truth gives true or false, def where there is neither.
func (t *table) truth(key string, def bool) bool {
	v, there := t.get(key)
	if !there {
		return def
	}
	b, is := v.(bool)
	if !is {
		t.wrong(key, v, "true or false, without quotes")
		return def
	}
	return b
}

// number gives a number between two bounds, both allowed, def where there is none.
func (t *table) number(key string, def, low, high float64, whole bool, unit string) float64 {
	v, there := t.get(key)
	if !there {
		return def
	}
	n, is := v.(float64)
	if i, ok := v.(int64); ok {
		n, is = float64(i), true
	}
	if !is || !(n >= low && n <= high) || whole && n != math.Trunc(n) {
		kind := "a number"
		if whole {
			kind = "a whole number"
		}
		t.wrong(key, v, fmt.Sprintf("%s from %g to %g%s, without quotes", kind, low, high, unit))
		return def
	}
	return n
}

// texts gives a list of texts that the check takes; one text is a list of one.
func (t *table) texts(key, want string, ok func(string) bool) (list []string) {
	v, there := t.get(key)
	if !there {
		return nil
	}
	elements, is := v.([]any)
	if s, one := v.(string); one {
		elements, is = []any{s}, true
	}
	if !is {
		t.wrong(key, v, "a list of "+want)
		return nil
	}
	for i, e := range elements {
		s, is := e.(string)
		if !is || !ok(s) {
			path := append(slices.Clone(t.path), key, strconv.Itoa(i))
			t.r.faults = append(t.r.faults, fault{t.r.places.line(path), fmt.Sprintf("%s %s: %s; want %s", t.name, key, shown(e), want)})
			continue
		}
		if !slices.Contains(list, s) {
			list = append(list, s)
		}
	}
	return list
}

// sub gives a table in a table, nil where there is none.
func (t *table) sub(key, name string) *table {
	v, there := t.get(key)
	if !there {
		return nil
	}
	m, is := v.(map[string]any)
	if !is {
		t.wrong(key, v, "a table: "+name)
		return nil
	}
	return &table{r: t.r, name: name, path: append(slices.Clone(t.path), key), m: m}
}

// subs gives a list of tables.
func (t *table) subs(key, name string) (list []*table) {
	v, there := t.get(key)
	if !there {
		return nil
	}
	ms, is := v.([]map[string]any)
	if !is {
		t.wrong(key, v, "tables, each under "+name)
		return nil
	}
	for i, m := range ms {
		list = append(list, &table{r: t.r, name: name, path: append(slices.Clone(t.path), key, strconv.Itoa(i)), m: m})
	}
	return list
}

// keys gives the keys of a table whose keys are free, in order, and counts them
// all asked for.
func (t *table) keys() []string {
	if t == nil {
		return nil
	}
	ks := slices.Sorted(maps.Keys(t.m))
	t.asked = append(t.asked, ks...)
	return ks
}
