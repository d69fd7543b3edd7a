package understand

import "strings"

// Trouble is what was read of trouble codes.
type Trouble struct {
	None bool     // said to be none
	List []string // P0300, U0121-00 …, as typed in capitals, each once
}

// Codes reads trouble codes: a letter P, B, C or U, four hexadecimal figures, and a failure-type suffix where there is
// one (SAE J2012 and ISO 15031-6 form, from memory); or that there are none ("no codes", "none"). "Some" is asked about.
func Codes(text string) (Match[Trouble], bool, *Ask) {
	var m Match[Trouble]
	if len(text) > MaxRead {
		text = text[:MaxRead]
	}
	from, to := -1, 0
	seen := map[string]bool{}
	for i := 0; i < len(text); i++ {
		if i > 0 && alnum(text[i-1]) {
			continue
		}
		c, end, ok := codeAt(text, i)
		if !ok {
			continue
		}
		if !seen[c] && len(m.Value.List) < 200 {
			seen[c] = true
			m.Value.List = append(m.Value.List, c)
		}
		if from < 0 {
			from = i
		}
		to = end
		i = end - 1
	}
	if len(m.Value.List) > 0 {
		m.Start, m.End, m.Echo = from, to, strings.Join(m.Value.List, " ")
		return m, true, nil
	}
	ts := tokens(text)
	p, ok := englishNoCodes.first(ts)
	if ok {
		m.Value.None = true
		m.Start, m.End, m.Echo = ts[p.from].start, ts[p.to-1].end, "no codes"
		return m, true, nil
	}
	if p, ok := englishSomeCodes.first(ts); ok {
		return m, false, newAsk(AskCodes, text[ts[p.from].start:ts[p.to-1].end])
	}
	return m, false, nil
}

// codeAt reads one trouble code at i.
func codeAt(text string, i int) (string, int, bool) {
	c := text[i] &^ 0x20
	if c != 'P' && c != 'B' && c != 'C' && c != 'U' {
		return "", 0, false
	}
	j := i + 1
	if j < len(text) && (text[j] == ' ' || text[j] == '-') && j+1 < len(text) && text[j+1] >= '0' && text[j+1] <= '3' {
		j++ // "P 0300"
	}
	k := j
	for k < len(text) && k < j+4 && hex(text[k]) {
		k++
	}
	if k != j+4 || text[j] > '3' { // the second place is 0 to 3
		return "", 0, false
	}
	code := string(c) + strings.ToUpper(text[j:k])
	if k+2 < len(text) && text[k] == '-' && hex(text[k+1]) && hex(text[k+2]) && (k+3 == len(text) || !alnum(text[k+3])) {
		return code + "-" + strings.ToUpper(text[k+1:k+3]), k + 3, true
	}
	if k+1 < len(text) && hex(text[k]) && hex(text[k+1]) && (k+2 == len(text) || !alnum(text[k+2])) { // six figures run together
		return code + "-" + strings.ToUpper(text[k:k+2]), k + 2, true
	}
	if k < len(text) && alnum(text[k]) {
		return "", 0, false
	}
	return code, k, true
}

func hex(c byte) bool { return c >= '0' && c <= '9' || c|0x20 >= 'a' && c|0x20 <= 'f' }

var englishNoCodes = newLexicon(false, table(
	row[bool]{true, "no codes, no code, no trouble codes, no fault codes, no faults, no dtcs, no dtc, codes none, codes nil, code none, codes clear, no stored codes, no new codes, nothing stored, no fault, zero codes, no errors, without codes, no lamps or codes, no codes or lamps, no lights or codes, no codes or lights, none, nothing, nil, all clear, clear, no lamps no codes, no lamps and codes, no lights codes, codes are clear, faults none, dtcs none, no codes found, nothing in the memory, memory clear, memory empty, clean, scan clean, clean scan, no problems found, neither"},
))

var englishSomeCodes = newLexicon(false, table(
	row[bool]{true, "some codes, a code, codes, code, fault codes, fault code, dtc, dtcs, trouble code, trouble codes, faults, a fault, some, errors, several codes"},
))
