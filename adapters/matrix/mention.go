package matrix

import (
	"html"
	"net/url"
	"regexp"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"
)

// us is how we are mentioned: by our address, or by what we are called.
type us struct {
	user  string
	names []string // the first is the one shown in the room
}

// Forms in which clients write a mention into the plain text: as a link in
// Markdown, and as a bare link. The name of a Markdown link may have brackets.
var (
	markedLink = regexp.MustCompile(`@?\[(?:[^\[\]\\\n]|\\.|\[[^\[\]\n]*\])*\]\(<?([^\s()<>]+)>?\)`)
	bareLink   = regexp.MustCompile(`(?i)<?\b((?:https?://[^\s()<>"'\[\]/]+/#/|matrix:u(?:ser)?/)[^\s()<>"'\[\]]+)>?`)
)

// In HTML: what was answered is quoted first by some, and is nobody's mention.
var (
	quoted = regexp.MustCompile(`(?is)<mx-reply\s*>.*?</mx-reply\s*>`)
	pill   = regexp.MustCompile(`(?is)<a(?:\s[^>]*?)?\shref\s*=\s*(?:"([^"]*)"|'([^']*)'|([^\s>"']+))[^>]*>(.*?)</a\s*>`)
	tag    = regexp.MustCompile(`<[^>]*>`)
)

// isAt says whether an address is ours: a link to a user, or a URI of Matrix,
// escaped or not, with or without what says how to get there.
func (u *us) isAt(address string) bool {
	scheme, rest, _ := strings.Cut(address, ":")
	sigil := ""
	switch strings.ToLower(scheme) {
	case "http", "https":
		_, rest, _ = strings.Cut(rest, "/#/")
		rest = strings.TrimPrefix(rest, "user/")
	case "matrix":
		kind, who, _ := strings.Cut(rest, "/")
		if kind != "u" && kind != "user" {
			return false
		}
		sigil, rest = "@", who
	default:
		return false
	}
	rest, _, _ = strings.Cut(rest, "?")
	who, err := url.PathUnescape(strings.TrimSuffix(rest, "/"))
	return err == nil && sigil+who == u.user
}

// mostPills bounds under how many names one text links to us.
const mostPills = 4

// pills gives the names under which a text in HTML links to us.
func (u *us) pills(formatted string) (names []string) {
	if !strings.Contains(formatted, "<a") && !strings.Contains(formatted, "<A") {
		return nil
	}
	for _, p := range pill.FindAllStringSubmatch(quoted.ReplaceAllString(formatted, ""), -1) {
		if u.isAt(strings.TrimSpace(html.UnescapeString(p[1] + p[2] + p[3]))) {
			name := strings.TrimPrefix(strings.TrimSpace(html.UnescapeString(tag.ReplaceAllString(p[4], ""))), "@")
			if !slices.Contains(names, name) && len(names) < mostPills {
				names = append(names, name)
			}
		}
	}
	return names
}

// span is a part of a text, in bytes.
type span struct{ from, to int }

// mentions finds what can be nothing but a mention of us.
func (u *us) mentions(text string) (found []span) {
	for _, at := range markedLink.FindAllStringSubmatchIndex(text, -1) {
		if u.isAt(text[at[2]:at[3]]) {
			found = append(found, span{at[0], at[1]})
		}
	}
	for _, at := range bareLink.FindAllStringSubmatchIndex(text, -1) {
		link := strings.TrimRight(text[at[2]:at[3]], ".,:;!?")
		if to := at[2] + len(link); u.isAt(link) {
			if to == at[3] {
				to = at[1]
			}
			found = append(found, span{at[0], to})
		}
	}
	for from := 0; ; {
		i := strings.Index(text[from:], u.user)
		if i < 0 {
			break
		}
		i += from
		from = i + len(u.user)
		if !inAddress(text[:i]) && !goesOn(text[from:]) {
			found = append(found, span{i, from})
		}
	}
	for from := 0; ; {
		i := strings.Index(text[from:], "@[")
		if i < 0 {
			break
		}
		i, from = i+from, i+from+2
		for _, name := range u.names {
			if n := from + len(name); name != "" && n < len(text) && text[n] == ']' && strings.EqualFold(text[from:n], name) {
				found = append(found, span{i, n + 1})
			}
		}
	}
	return found
}

// inAddress says whether something longer has begun before an address.
func inAddress(before string) bool {
	r, _ := utf8.DecodeLastRuneInString(before)
	return before != "" && (unicode.IsLetter(r) || unicode.IsDigit(r) || strings.ContainsRune("._=-/+%@#", r))
}

// goesOn says whether an address is only the beginning of another.
func goesOn(after string) bool {
	r, n := utf8.DecodeRuneInString(after)
	next, _ := utf8.DecodeRuneInString(after[n:])
	switch {
	case after == "":
		return false
	case r == '.':
		return unicode.IsLetter(next) || unicode.IsDigit(next)
	case r == ':':
		return unicode.IsDigit(next)
	}
	return inName(r)
}

// inName says whether a letter behind a name makes another word of it.
func inName(r rune) bool {
	return unicode.IsLetter(r) || unicode.IsDigit(r) || r == '_' || r == '-' || r == '\'' || r == '’'
}

// spots finds a name where it stands as a word of its own, with a sign before it.
func spots(text, name string) (found []span) {
	if utf8.RuneCountInString(name) < 3 {
		return nil
	}
	for i := range text {
		to := i + len(name)
		if to > len(text) {
			break
		}
		if !strings.EqualFold(text[i:to], name) {
			continue
		}
		before, _ := utf8.DecodeLastRuneInString(text[:i])
		after, _ := utf8.DecodeRuneInString(text[to:])
		if i > 0 && inName(before) || to < len(text) && inName(after) {
			continue
		}
		if before == '@' {
			i--
		}
		found = append(found, span{i, to})
	}
	return found
}

// greetings may stand before the name of whoever is addressed.
var greetings = []string{"hi", "hello", "hey", "hiya", "hi there", "hello there", "hey there", "dear", "morning", "good morning", "good afternoon", "good evening",
	"good day", "ok", "okay", "yes", "no", "please", "thanks", "thank you", "sorry"}

// longestGreeting is how far from the beginning a greeting may reach, in bytes.
const longestGreeting = 24

func greets(text string) bool {
	return len(text) <= longestGreeting && slices.Contains(greetings, strings.ToLower(strings.Trim(text, " \t\n,.!:")))
}

// named finds our name in a text that is known to mention us: with the sign of a
// mention, behind a greeting, at the end; or, where it was written as a link, where
// it stands only once.
func (u *us) named(text string, linked []string) (found []span) {
	for _, name := range slices.Concat(u.names[:1], linked) {
		for _, s := range spots(text, name) {
			last := strings.Trim(text[s.to:], " \t\n,.!:?") == ""
			if text[s.from] == '@' || last || greets(text[:s.from]) {
				found = append(found, s)
			}
		}
	}
	for _, name := range linked {
		if all := spots(text, name); len(all) == 1 {
			found = append(found, all[0])
		}
	}
	return found
}

// without takes parts out of a text, and what set them apart.
func without(text string, out []span) string {
	slices.SortFunc(out, func(a, b span) int { return a.from - b.from })
	left, at := "", 0
	for i, s := range out {
		if s.from >= at {
			if part := text[at:s.from]; i == 0 {
				left = part
			} else {
				left = join(left, part)
			}
		}
		at = max(at, s.to)
	}
	if len(out) == 0 {
		return text
	}
	return join(left, text[at:])
}

// join puts together what stood around something that is gone.
func join(left, right string) string {
	l, r := strings.TrimRight(left, " \t"), strings.TrimLeft(right, " \t")
	switch {
	case strings.TrimSpace(l) == "":
		return strings.TrimLeft(right, " \t\n:,")
	case strings.TrimSpace(r) == "":
		return strings.TrimRight(l, " \t\n:,")
	case strings.ContainsRune(",:;.!?", rune(r[0])):
		if r[0] == ':' {
			r = "," + r[1:]
		}
		return strings.TrimRight(l, " \t,:") + r
	case len(l) == len(left) && len(r) == len(right), strings.HasSuffix(l, "\n"), strings.HasPrefix(r, "\n"):
		return l + r
	}
	return l + " " + r
}
