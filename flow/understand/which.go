package understand

// Which is what somebody calls a reading, or several of them, by.
type Which struct {
	All     bool  // all of them
	Both    bool  // both
	Wrong   bool  // "the wrong one", "the odd one"
	Last    int   // the last, or the last two; 0: not said
	First   int   // the first two, three; 0: not said
	Count   []int // "the third", "number 3": by what they are counted as
	Figures []int // bare figures: a count, or what was shown
	Dash    bool  // the figures are the dash's
	GPS     bool  // the figures are the GPS's
}

// Any says whether anything was named.
func (w Which) Any() bool {
	return w.All || w.Both || w.Wrong || w.Last > 0 || w.First > 0 || len(w.Count) > 0 || len(w.Figures) > 0
}

// mostNamed bounds what one message may name by figures.
const mostNamed = 20

// ReadWhich reads "the first", "the last two", "readings 3 and 4", "the 2nd", "all", "62". It is false where a word is not
// one of these: what was meant is then not known.
func ReadWhich(text string) (Which, bool) {
	var w Which
	ts := tokens(text)
	counted := false
	for i := 0; i < len(ts); i++ {
		t := ts[i]
		n := int(t.num.value)
		switch {
		case t.kind == number && (t.num.bad || t.num.decimals > 0 || t.num.sep != 0 || n < 1 || n > 999):
			return w, false
		case t.text == "one" || t.num.spoken && n == 1:
			// the pronoun
		case t.kind == number && at(ts, i-1).text == "all":
			// "all three"
		case t.kind == number && englishOrdinalEnd[at(ts, i+1).text]:
			w.Count = append(w.Count, n)
			i++
		case t.kind == number && w.Last == 1 && at(ts, i-1).text == "last":
			w.Last = n
		case t.kind == number && at(ts, i-1).text == "first":
			w.First, w.Count = n, w.Count[:len(w.Count)-1]
		case t.kind == number && at(ts, i+1).text == "last":
			w.Last = n
			i++
		case t.kind == number && counted:
			w.Count = append(w.Count, n)
		case t.kind == number:
			w.Figures = append(w.Figures, n)
		case t.text == "last" || t.text == "previous":
			w.Last = 1
		case t.text == "all":
			w.All = true
		case t.text == "both":
			w.Both = true
		case englishOddOne[t.text]:
			w.Wrong = true
		case t.text == "dash" || t.text == "speedo":
			w.Dash = true
		case t.text == "gps" || t.text == "phone":
			w.GPS = true
		case t.text == "number" || t.text == "no" || t.text == "nr" || t.text == "#" || t.text == "reading" || t.text == "readings" || t.text == "line":
			counted = true
		case t.kind == word:
			if o, ok := englishOrdinals[t.text]; ok && o > 0 {
				w.Count = append(w.Count, o)
			} else if !englishWhichGlue[t.text] && !englishFiller[t.text] {
				return w, false
			}
		case t.kind == symbol && t.text != "," && t.text != "." && t.text != "&" && t.text != "!" && t.text != "+":
			return w, false
		}
	}
	ways := 0
	for _, said := range []bool{w.All, w.Both, w.Wrong, w.Last > 0 || w.First > 0, len(w.Count) > 0, len(w.Figures) > 0} {
		if said {
			ways++
		}
	}
	return w, ways == 1 && !(w.Last > 0 && w.First > 0) && len(w.Count)+len(w.Figures) <= mostNamed
}

var englishOddOne = set("wrong", "bad", "odd", "doubtful", "off")

var englishWhichGlue = set("the", "that", "this", "it", "of", "at", "on", "out", "pair", "pairs", "ones", "them", "and", "entry", "is", "was", "with", "mph", "kmh", "km/h", "please", "again")
