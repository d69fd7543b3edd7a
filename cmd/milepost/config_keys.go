package main

import (
	"maps"
	"slices"
	"strconv"
	"strings"
)

// secretKeys are never to stand in the file themselves.
var secretKeys = []string{"access_token", "password", "pickle_key", "recovery_key", "log_key", "app_token", "bot_token", "signing_secret", "postgres"}

// done complains of the keys that nobody asked for. Their values are not shown.
func (t *table) done() {
	if t == nil {
		return
	}
	allowed := slices.Clone(t.asked)
	slices.Sort(allowed)
	allowed = slices.Compact(allowed)
	for _, key := range slices.Sorted(maps.Keys(t.m)) {
		switch {
		case slices.Contains(t.asked, key):
		case slices.Contains(secretKeys, key) && slices.Contains(t.asked, key+"_file"):
			t.fault(key, "a secret does not stand in this file; put it into a file of its own (mode 600) and name that with %s_file, or name an environment variable with %s_env", key, key)
		default:
			near := ""
			if n := nearest(key, allowed); n != "" {
				near = "; did you mean " + n + "?"
			}
			t.fault(printable(key), "there is no such key%s Allowed here: %s", ended(near), strings.Join(allowed, ", "))
		}
	}
}

func ended(near string) string {
	if near == "" {
		return "."
	}
	return near
}

// printable is a key as it may be repeated: short, and on one line.
func printable(key string) string {
	q := strconv.Quote(key)
	if q = q[1 : len(q)-1]; len(q) > 60 {
		q = strings.ToValidUTF8(q[:60], "") + "…"
	}
	return q
}

// nearest gives the allowed word that a mistyped one is closest to, "" if none
// is close.
func nearest(word string, allowed []string) (best string) {
	least := len(word)/3 + 1
	for _, a := range allowed {
		if d := distance(word, a); d <= least && (best == "" || d < least) {
			best, least = a, d
		}
	}
	return best
}

// distance is how many signs are to be put in, left out or changed to make one
// word of the other.
func distance(a, b string) int {
	if len(a) > 64 || len(b) > 64 {
		return 64
	}
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := 1; i <= len(a); i++ {
		before := row[0]
		row[0] = i
		for j := 1; j <= len(b); j++ {
			change := before
			if a[i-1] != b[j-1] {
				change++
			}
			before = row[j]
			row[j] = min(change, row[j]+1, row[j-1]+1)
		}
	}
	return row[len(b)]
}
