package understand

import (
	"errors"
	"strings"

	"milepost/calib/tyre"
	"milepost/calib/vin"
)

// Size is a tyre size with what the words around it say of it.
type Size struct {
	tyre.Size
	Which string // "factory" or "fitted" where the words beside it say so ("placard", "new"), or by "A to B"; else empty
}

// Sizes finds every tyre size in a text. A designation that can't be computed or lacks a part is asked about.
func Sizes(text string) ([]Match[Size], *Ask) {
	full := text
	if len(full) > MaxRead {
		full = full[:MaxRead]
	}
	var out []Match[Size]
	var ask *Ask
	for _, f := range tyre.Find(full) {
		if f.Err != nil {
			if ask == nil {
				ask = sizeAsk(f.Err, full[f.Start:f.End])
			}
			continue
		}
		out = append(out, Match[Size]{Value: Size{Size: f.Size}, Start: f.Start, End: f.End, Echo: f.Size.Text})
	}
	if len(out) == 0 && ask == nil {
		_, err := tyre.Parse(full)
		ask = sizeAsk(err, full)
	}
	which(full, out)
	return out, ask
}

// sizeAsk turns an error of package tyre into a question.
func sizeAsk(err error, said string) *Ask {
	var a *tyre.Ask
	if !errors.As(err, &a) {
		return newAsk(AskSize, said)
	}
	code := AskSize
	if _, ok := englishAsk["size_"+string(a.Kind)]; ok {
		code = "size_" + string(a.Kind)
	}
	if a.What != "" {
		said = a.What
	}
	ask := newAsk(code, said, "suggest", strings.Join(a.Suggest, " or "))
	if len(a.Suggest) > 0 {
		ask.Offer = a.Suggest[0]
	}
	return ask
}

// which marks sizes by the words before them, and the two of "A to B".
func which(text string, ms []Match[Size]) {
	from := 0
	for i := range ms {
		ts := tokens(text[from:ms[i].Start])
		all := englishWhich.all(ts)
		if len(all) > 0 {
			ms[i].Value.Which = all[len(all)-1].value
		}
		if i == 1 && len(ms) == 2 && len(ts) == 1 && (ts[0].text == "to" || ts[0].text == ">" || ts[0].text == "now") ||
			i == 1 && len(ms) == 2 && len(ts) == 2 && ts[0].text == "-" && ts[1].text == ">" {
			if ms[0].Value.Which == "" {
				ms[0].Value.Which = "factory"
			}
			ms[1].Value.Which = "fitted"
		}
		from = ms[i].End
	}
}

var englishWhich = newLexicon(false, table(
	row[string]{"factory", "factory, placard, door, sticker, door placard, original, originals, stock, oem, old, from, was, came with, standard, built, door jamb, pillar, originally, before"},
	row[string]{"fitted", "new, fitted, now, on it now, current, on it, installed, changed to, going to, replaced with, mounted, running, wearing"},
))

// maskSizes blanks every tyre size, so that its figures are not read as something else.
func maskSizes(text string) string {
	if len(text) > MaxRead {
		text = text[:MaxRead]
	}
	for _, f := range tyre.Find(text) {
		if f.Err == nil {
			text = Mask(text, f.Start, f.End)
		}
	}
	return text
}

// label reads a choice from the module's list of sizes: one label of the context, or a size where the words say list.
func label(text string, ctx Context) (Match[Stored], bool) {
	squeeze := func(s string) string {
		return strings.ToUpper(strings.Join(strings.Fields(s), ""))
	}
	ts := tokens(text)
	list := saysList(ts)
	clean, _ := Clean(text)
	hit, hits := "", 0
	for _, l := range ctx.Labels {
		if squeeze(l) != "" && squeeze(l) == squeeze(clean) {
			hit, hits = l, 1
			break
		}
	}
	if hits == 0 {
		for _, l := range ctx.Labels {
			if squeeze(l) != "" && strings.Contains(squeeze(clean), squeeze(l)) {
				if hit == "" || len(l) > len(hit) {
					hit = l
				}
				hits = 1
			}
		}
	}
	var m Match[Stored]
	if hits == 0 {
		found, ask := Sizes(text)
		if !list || ask != nil || len(found) != 1 {
			return m, false
		}
		hit = found[0].Echo
		m.Start, m.End = found[0].Start, found[0].End
	} else {
		m.Start, m.End = bounds(ts)
	}
	m.Value = Stored{Label: hit, Quantity: SizeList}
	m.Echo = storedEcho(m.Value)
	return m, true
}

// saysList tells whether the words say that the value is a choice from a list.
func saysList(ts []token) bool {
	for _, t := range ts {
		if t.kind == word && englishList[t.text] {
			return true
		}
	}
	return false
}

// countSizes counts the tyre sizes in a text.
func countSizes(text string) (n int) {
	for _, f := range tyre.Find(text[:min(len(text), MaxRead)]) {
		if f.Err == nil {
			n++
		}
	}
	return n
}

var englishList = set("list", "choice", "menu", "dropdown", "selected", "select", "selection", "option", "options", "choose", "chosen", "pick", "picked", "selectable")

// VIN finds a vehicle identification number. A text that has none gives false; one that fails is asked about.
func VIN(text string) (Match[vin.Result], bool, *Ask) {
	m, ok := findVIN(text)
	if !ok {
		return m, false, nil
	}
	return m, true, vinAsk(m.Value, text[m.Start:m.End])
}

// vinAsk asks about a number that has a problem; nil where it has none.
func vinAsk(r vin.Result, said string) *Ask {
	if r.Problem == vin.NoProblem {
		return nil
	}
	a := newAsk("vin_"+string(r.Problem), said, "text", r.Text)
	if _, ok := englishAsk[a.Code]; !ok {
		a.Code = AskVIN
	}
	return a.offer(r.Offer)
}

// AnyVIN is what the understand command reads: the whole text is meant to be a number.
func AnyVIN(text string) (vin.Result, *Ask) {
	if m, ok, ask := VIN(text); ok {
		return m.Value, ask
	}
	r := vin.Check(text)
	return r, vinAsk(r, text)
}

func findVIN(text string) (Match[vin.Result], bool) {
	if len(text) > MaxRead {
		text = text[:MaxRead]
	}
	for i := 0; i < len(text); {
		if !alnum(text[i]) || i > 0 && alnum(text[i-1]) {
			i++
			continue
		}
		if m, ok := vinAt(text, i); ok {
			return m, true
		}
		i++
	}
	return Match[vin.Result]{}, false
}

// vinAt reads 17 letters and digits from i, single spaces, dots and hyphens between allowed, ended by something else.
// Both kinds must occur, so that a long number or sentence is not taken.
func vinAt(text string, i int) (Match[vin.Result], bool) {
	n, letters, digits, gaps, words := 0, 0, 0, 0, 0
	run := 0
	j := i
	for ; j < len(text) && n < 17; j++ {
		c := text[j]
		switch {
		case alnum(c):
			n++
			run++
			if c >= '0' && c <= '9' {
				digits++
			} else {
				letters++
			}
		case (c == ' ' || c == '-' || c == '.') && j+1 < len(text) && alnum(text[j+1]):
			gaps++
			if lower(text[j-run : j]) {
				words++
			}
			run = 0
		default:
			return Match[vin.Result]{}, false
		}
	}
	if n < 17 || j < len(text) && alnum(text[j]) || letters == 0 && gaps > 0 || digits < 3 || words > 0 && gaps > 0 {
		return Match[vin.Result]{}, false
	}
	if letters == 0 && strings.Count(text[i:j], text[i:i+1]) != 17 && gaps > 0 {
		return Match[vin.Result]{}, false
	}
	r := vin.Check(text[i:j])
	return Match[vin.Result]{Value: r, Start: i, End: j, Echo: r.Text}, true
}

// lower tells a word of small letters.
func lower(s string) bool {
	for i := 0; i < len(s); i++ {
		if s[i] < 'a' || s[i] > 'z' {
			return false
		}
	}
	return len(s) > 1
}

func alnum(c byte) bool {
	return c >= '0' && c <= '9' || c >= 'A' && c <= 'Z' || c >= 'a' && c <= 'z'
}
