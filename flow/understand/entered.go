package understand

import (
	"strconv"
	"strings"
)

// Entry is what stands in a field of a form that is for one figure.
type Entry struct {
	Figure string  // as every reader here takes it for that figure; as typed where it could be two ("2,438")
	Value  float64 // the commoner reading
	Unit   string  // the unit behind it, as typed; "" none
	Kind   string  // the same unit by its name: mm, in, mph, rev/mile …; "" none
}

// Text is the figure with its unit, or with another where it has none.
func (e Entry) Text(unit string) string {
	if e.Unit != "" {
		unit = e.Unit
	}
	return strings.TrimSpace(e.Figure + " " + unit)
}

// maxEntry bounds what a field for one figure may hold, in bytes.
const maxEntry = 40

// Entered reads a field for one figure. A network gives such a field's figure with
// a point whatever the person's language; what a person may type beside that, a
// decimal comma, marks of thousands, a unit, is understood too. It is false for
// all that is not one figure at or above zero.
func Entered(text string) (Entry, bool) {
	text = strings.TrimSpace(text)
	if text == "" || len(text) > maxEntry {
		return Entry{}, false
	}
	if strings.Trim(text, "0123456789.") == "" {
		v, err := strconv.ParseFloat(text, 64)
		return Entry{Figure: plain(v), Value: v}, err == nil && v <= 1e7 && float64(len(text)) < 16
	}
	ts := joinThousands(tokens(text))
	ms := measures(ts)
	if len(ms) != 1 || ms[0].from != 0 || ms[0].fig.bad || ms[0].fig.spoken || ms[0].fig.value > 1e7 {
		return Entry{}, false
	}
	m := ms[0]
	e := Entry{Figure: plain(m.fig.value), Value: m.fig.value, Unit: strings.TrimSpace(text[ts[0].end:]), Kind: m.unit}
	if m.fig.twoWay {
		e.Figure = text[ts[0].start:ts[0].end]
	}
	return e, m.to == len(ts) && (e.Unit == "") == (m.unit == "")
}
