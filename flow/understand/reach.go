package understand

// reach is what of a text's tokens a reader has used: from the first to behind the last of them.
type reach struct{ from, to int }

// unused is the reach of a reader that has used nothing yet.
var unused = reach{from: -1}

// cover adds the tokens from a to before b.
func (r *reach) cover(a, b int) {
	if r.from < 0 || a < r.from {
		r.from = a
	}
	r.to = max(r.to, b)
}

// coverBeside adds words of a set that stand right before or behind what is used.
func (r *reach) coverBeside(ts []token, words map[string]bool) {
	for i := range ts {
		if words[ts[i].text] && (i == r.to || i == r.from-1) {
			r.cover(i, i+1)
		}
	}
}

// span is where in the text it begins and ends, in bytes.
func (r reach) span(ts []token) (start, end int) { return ts[r.from].start, ts[r.to-1].end }
