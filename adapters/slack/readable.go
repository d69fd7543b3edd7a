package slack

import "strings"

var unescaper = strings.NewReplacer("&lt;", "<", "&gt;", ">", "&amp;", "&")

// readable is a message's text as people see it: markup shown as its text, and
// escapes undone, once. A mention of us is taken out and reported; name finds
// what another user is called. Order matters: markup is what stands in <…> while
// a person's own < is still an escape.
func readable(text, me string, name func(user, label string) string) (plain string, mentioned bool) {
	var b strings.Builder
	for text != "" {
		i := strings.IndexByte(text, '<')
		if i < 0 {
			break
		}
		n := strings.IndexByte(text[i:], '>')
		if n < 0 {
			break
		}
		b.WriteString(unescaper.Replace(text[:i]))
		inner := text[i+1 : i+n]
		text = text[i+n+1:]
		target, label, _ := strings.Cut(inner, "|")
		switch {
		case strings.HasPrefix(target, "@") && me != "" && target[1:] == me:
			mentioned = true
			text = trimAfterMention(&b, text)
		case strings.HasPrefix(target, "@"):
			b.WriteString(name(target[1:], unescaper.Replace(label)))
		case strings.HasPrefix(target, "#"):
			b.WriteString("#" + unescaper.Replace(or(label, target[1:])))
		case strings.HasPrefix(target, "!subteam^"):
			b.WriteString(unescaper.Replace(or(label, "@group")))
		case strings.HasPrefix(target, "!date^"):
			b.WriteString(unescaper.Replace(label))
		case strings.HasPrefix(target, "!"):
			b.WriteString("@" + unescaper.Replace(strings.TrimPrefix(or(label, target[1:]), "@")))
		default:
			b.WriteString(unescaper.Replace(or(label, strings.TrimPrefix(target, "mailto:"))))
		}
	}
	b.WriteString(unescaper.Replace(text))
	return strings.TrimSpace(b.String()), mentioned
}

// trimAfterMention closes the gap that a mention of us leaves: "@us, 265/70" and
// "see @us" read as if it were not there.
func trimAfterMention(b *strings.Builder, rest string) string {
	switch {
	case b.Len() == 0:
		return strings.TrimLeft(rest, " ,:;\u00a0")
	case strings.HasSuffix(b.String(), " "):
		return strings.TrimLeft(rest, " \u00a0")
	}
	return rest
}

func or(s, other string) string {
	if s == "" {
		return other
	}
	return s
}
