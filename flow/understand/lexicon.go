package understand

import "strings"

// lexicon is a table from a phrase (lower case, no apostrophes, words by one space) to what it means. With fuzzy set,
// a word of four letters or more may be one slip off, of nine or more two.
type lexicon[T comparable] struct {
	phrases map[string]T
	words   int // words of the longest phrase
	fuzzy   bool
	slips   []slip[T] // single-word phrases that may be mistyped
}

type slip[T comparable] struct {
	word  string
	value T
}

func newLexicon[T comparable](fuzzy bool, table map[string]T) lexicon[T] {
	l := lexicon[T]{phrases: table, fuzzy: fuzzy}
	for p, v := range table {
		n := strings.Count(p, " ") + 1
		l.words = max(l.words, n)
		if fuzzy && n == 1 && len(p) >= 4 {
			l.slips = append(l.slips, slip[T]{p, v})
		}
	}
	return l
}

// find looks for the longest phrase that starts at token i; it returns its meaning and how many tokens it took.
// Hyphens inside a phrase are read over ("head-up").
func (l lexicon[T]) find(ts []token, i int) (T, int, bool) {
	var none T
	if at(ts, i).kind != word {
		return none, 0, false
	}
	var b strings.Builder
	best, took := none, 0
	words := 0
	for j := i; j < len(ts) && words < l.words; j++ {
		t := ts[j]
		if t.kind == symbol && (t.text == "-" || t.text == "/") && words > 0 && !t.spaceAfter {
			continue
		}
		if t.kind != word && !(t.kind == number && t.num.spoken) {
			break
		}
		if words > 0 {
			b.WriteByte(' ')
		}
		b.WriteString(t.text)
		words++
		if v, ok := l.phrases[b.String()]; ok {
			best, took = v, j-i+1
		}
	}
	if took > 0 || !l.fuzzy || len(ts[i].text) < 4 {
		return best, took, took > 0
	}
	return l.near(ts[i].text)
}

// near finds the one meaning a slip away; two different meanings equally near are none.
func (l lexicon[T]) near(w string) (T, int, bool) {
	var none, best T
	if len(w) > 24 {
		return none, 0, false
	}
	if realWords[w] {
		return none, 0, false
	}
	bestAt, hits := 3, 0
	for _, s := range l.slips {
		limit := 1
		if len(s.word) >= 9 {
			limit = 2
		}
		if s.word[0] != w[0] && !(len(w) > 1 && s.word[0] == w[1]) {
			continue
		}
		d := distance(w, s.word, limit)
		if d > limit {
			continue
		}
		if d < bestAt {
			best, bestAt, hits = s.value, d, 1
		} else if d == bestAt && s.value != best {
			hits++
		}
	}
	if hits != 1 {
		return none, 0, false
	}
	return best, 1, true
}

// distance counts insertions, deletions, replacements and swaps of neighbours (optimal string alignment), up to limit+1.
func distance(a, b string, limit int) int {
	if d := len(a) - len(b); d > limit || d < -limit {
		return limit + 1
	}
	prev2 := make([]int, len(b)+1)
	prev := make([]int, len(b)+1)
	cur := make([]int, len(b)+1)
	for j := range prev {
		prev[j] = j
	}
	for i := 1; i <= len(a); i++ {
		cur[0] = i
		for j := 1; j <= len(b); j++ {
			cost := 1
			if a[i-1] == b[j-1] {
				cost = 0
			}
			cur[j] = min(prev[j]+1, cur[j-1]+1, prev[j-1]+cost)
			if i > 1 && j > 1 && a[i-1] == b[j-2] && a[i-2] == b[j-1] {
				cur[j] = min(cur[j], prev2[j-2]+1)
			}
		}
		prev2, prev, cur = prev, cur, prev2
	}
	return prev[len(b)]
}

// phrase is a meaning found in a text, with the tokens it took.
type phrase[T comparable] struct {
	value    T
	from, to int // token indexes, to is one past
}

// all finds every phrase of a lexicon, left to right, longest first.
func (l lexicon[T]) all(ts []token) []phrase[T] {
	var out []phrase[T]
	for i := 0; i < len(ts); {
		v, n, ok := l.find(ts, i)
		if !ok {
			i++
			continue
		}
		out = append(out, phrase[T]{v, i, i + n})
		i += n
	}
	return out
}

// has tells whether any phrase of the lexicon stands in the text, and which comes first.
func (l lexicon[T]) first(ts []token) (phrase[T], bool) {
	for i := range ts {
		if v, n, ok := l.find(ts, i); ok {
			return phrase[T]{v, i, i + n}, true
		}
	}
	return phrase[T]{}, false
}

func set(phrases ...string) map[string]bool {
	m := make(map[string]bool, len(phrases))
	for _, p := range phrases {
		m[p] = true
	}
	return m
}

// table builds a phrase table from a meaning and its phrases, given in turn.
func table[T any](rows ...row[T]) map[string]T {
	m := make(map[string]T)
	for _, r := range rows {
		for _, p := range strings.Split(r.phrases, ",") {
			m[strings.TrimSpace(p)] = r.means
		}
	}
	return m
}

// row is one meaning with its phrases, separated by commas.
type row[T any] struct {
	means   T
	phrases string
}
