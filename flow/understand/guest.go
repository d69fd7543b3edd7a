package understand

import "strings"

// GuestCode finds a code of four groups of four letters and figures: "7QKM-4TXN-R2HD-9WPC". Case does not matter; the
// groups are joined by hyphens, dots or spaces. With spaces every group must hold a figure or be in capitals, so that
// four short words are no code. The value is in capitals with hyphens.
func GuestCode(text string) (Match[string], bool) {
	if len(text) > MaxRead {
		text = text[:MaxRead]
	}
	folded := foldHyphens(text)
	for i := 0; i+16 <= len(folded); i++ {
		if !alnum(folded[i]) || i > 0 && alnum(folded[i-1]) {
			continue
		}
		var groups []string
		j, spaces := i, false
		for len(groups) < 4 && j+4 <= len(folded) && allAlnum(folded[j:j+4]) {
			groups = append(groups, folded[j:j+4])
			j += 4
			if len(groups) == 4 || j >= len(folded) {
				break
			}
			c := folded[j]
			if c == ' ' && j+1 < len(folded) && (folded[j+1] == '-' || alnum(folded[j+1])) {
				spaces = true
				j++
			}
			if j < len(folded) && (folded[j] == '-' || folded[j] == '.') {
				j++
				for j < len(folded) && folded[j] == 0 { // the rest of a longer dash
					j++
				}
				if j < len(folded) && folded[j] == ' ' {
					j++
				}
				continue
			}
			if !spaces && c != ' ' {
				break
			}
		}
		if len(groups) != 4 || j < len(folded) && (alnum(folded[j]) || folded[j] == '-' && j+1 < len(folded) && alnum(folded[j+1])) {
			continue
		}
		code := strings.ToUpper(strings.Join(groups, "-"))
		if !strings.ContainsAny(code, "0123456789") || !strings.ContainsAny(code, "ABCDEFGHIJKLMNOPQRSTUVWXYZ") {
			continue
		}
		if spaces && !groupsLookTyped(groups) {
			continue
		}
		return Match[string]{Value: code, Start: i, End: j, Echo: code}, true
	}
	return Match[string]{}, false
}

// foldHyphens turns the three-byte dashes into hyphens padded to the same length, so that offsets stay.
func foldHyphens(s string) string {
	for _, d := range []string{"‐", "‑", "‒", "–", "—", "−"} {
		s = strings.ReplaceAll(s, d, "-\x00\x00")
	}
	if !strings.Contains(s, "\x00") {
		return s
	}
	return s
}

func groupsLookTyped(groups []string) bool {
	for _, g := range groups {
		if g != strings.ToUpper(g) && !strings.ContainsAny(g, "0123456789") {
			return false
		}
	}
	return true
}

func allAlnum(s string) bool {
	for i := 0; i < len(s); i++ {
		if !alnum(s[i]) {
			return false
		}
	}
	return true
}
