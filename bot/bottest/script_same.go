package bottest

import (
	"fmt"
	"regexp"
	"strings"
	"testing"

	"milepost/flow"
)

// Same checks that a script went the same by two ways: the same words, and the
// same entries but for identities, times and what is drawn by chance.
func (p *ScriptPlay) Same(t testing.TB, q *ScriptPlay) {
	t.Helper()
	for i := range p.Turns {
		a, b := plainText(strings.Join(p.Turns[i].Said, "\n")), plainText(strings.Join(q.Turns[i].Said, "\n"))
		if a != b {
			t.Errorf("input %d: one way says\n%s\nthe other\n%s", i+1, a, b)
		}
	}
	if len(p.jobs) != len(q.jobs) {
		t.Fatalf("%d jobs and %d", len(p.jobs), len(q.jobs))
	}
	for i := range p.jobs {
		a, b := p.plainLog(t, p.jobs[i]), q.plainLog(t, q.jobs[i])
		for n := range max(len(a), len(b)) {
			if n >= len(a) || n >= len(b) || a[n] != b[n] {
				t.Errorf("entry %d of job %d: one way\n%s\nthe other\n%s", n+1, i+1, nth(a, n), nth(b, n))
				break
			}
		}
	}
}

func nth(ls []string, n int) string {
	if n < len(ls) {
		return ls[n]
	}
	return "none"
}

var (
	dayPattern     = regexp.MustCompile(`\d{4}-\d\d-\d\d`)
	programPattern = regexp.MustCompile(`"program":"[^"]*"`)
	hashPattern    = regexp.MustCompile(`"hash":"[0-9a-f]{64}"`)
	trustPattern   = regexp.MustCompile(`,"trust":"[a-z]*"`) // of a device: part of an identity
	statedPattern  = regexp.MustCompile(`(, )?role as stated`)
	emptyLines     = regexp.MustCompile(`\n\n+|\n+$`)
)

// plainText is a text without days and the mark of a test store.
func plainText(s string) string {
	s = statedPattern.ReplaceAllString(dayPattern.ReplaceAllString(s, "DAY"), "")
	return strings.TrimSpace(emptyLines.ReplaceAllString(s, "\n"))
}

// plainLog gives entries as text, with what chance and time decide named by the
// order of appearance.
func (p *ScriptPlay) plainLog(t testing.TB, job string) []string {
	log := p.Logs[job]
	names := map[string]string{}
	name := func(kind, s string) string {
		if s == "" {
			return ""
		}
		if names[kind+s] == "" {
			names[kind+s] = fmt.Sprintf("%s%d", kind, len(names)+1)
		}
		return names[kind+s]
	}
	var ls []string
	for i := range log {
		e := &log[i]
		raw, err := flow.Encode(e)
		if err != nil {
			t.Fatal(err)
		}
		data := p.unnamed(job, string(raw))
		if f, ok := e.Fact.(*flow.HeardFact); ok {
			for _, id := range []string{f.ID, f.Target} {
				if id != "" {
					data = strings.ReplaceAll(data, `"`+id+`"`, `"`+name("message", id)+`"`)
				}
			}
		}
		if f, ok := e.Fact.(*flow.PersonFact); ok {
			name("person", string(f.Who))
			data = strings.Replace(data, `,"stated":true`, "", 1)
		}
		for k, n := range names {
			if id, ok := strings.CutPrefix(k, "person"); ok {
				data = strings.ReplaceAll(data, `"`+id+`"`, `"`+n+`"`)
			}
		}
		data = trustPattern.ReplaceAllString(data, "")
		data = programPattern.ReplaceAllString(hashPattern.ReplaceAllString(dayPattern.ReplaceAllString(data, "DAY"), `"hash":"H"`), `"program":"P"`)
		var items []string
		for _, it := range e.Items {
			c := it.Content
			if it.Label == flow.ItemIdentity {
				c = name("identity", c)
			}
			items = append(items, it.Label+"="+clean(guestCode.ReplaceAllString(plainText(p.unnamed(job, c)), "CODE")))
		}
		ls = append(ls, fmt.Sprintf("%d %s %s %s %d %s %q", e.Seq, name("person", string(e.Who)), e.Role, e.Kind, e.V, data, items))
	}
	return ls
}
