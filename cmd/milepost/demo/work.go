package demo

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"
	"time"

	"milepost/flow"
)

// What people do at the vehicle and on the road, and say of it.

func (p *player) main() *module { return p.vehicle.modules[0] }

// opening is how a job begins: a technician in one line, a customer by a
// greeting, with the helper reading along.
func (p *player) opening() []line {
	if !p.home {
		ls := p.says(fmt.Sprintf("new job %s, in the bay, %s", p.name, p.odometerText()))
		if p.watcher != nil {
			ls = append(ls, line{who: p.watcher, text: "note looking in from the office"})
		}
		return ls
	}
	return []line{{who: p.worker, text: "hello"}, {who: p.watcher, text: "note I read along"}}
}

// onlyModule says whether the value stands in one module.
func (p *player) onlyModule(*flow.Reply) []line {
	if len(p.vehicle.modules) > 1 {
		return p.says("several modules")
	}
	return p.says("yes")
}

func (p *player) nameModules(*flow.Reply) []line {
	var parts []string
	for _, m := range p.vehicle.modules {
		parts = append(parts, m.name+" "+m.shows())
	}
	return p.says(strings.Join(parts, ", "))
}

// offered reads out a list of sizes.
func (p *player) offered() string {
	var parts []string
	for _, e := range p.main().list {
		if e.shown {
			parts = append(parts, fmt.Sprintf("%s %.0f mm", e.label, e.mm))
		} else {
			parts = append(parts, e.label)
		}
	}
	return strings.Join(parts, ", ")
}

// keep keeps the original data, as it can be.
func (p *player) keep(r *flow.Reply) []line {
	module := ""
	for _, m := range p.vehicle.modules {
		if m.name != "" && strings.Contains(strings.ToLower(r.Text), moduleWords[m.name][len(moduleWords[m.name])-1]) {
			module = m.name
		}
	}
	name := strings.ReplaceAll(strings.TrimPrefix(p.name, "the "), " ", "-")
	if module != "" {
		name += "-" + module
	}
	switch p.backup {
	case "attested":
		return p.says("kept on the laptop in the folder " + name)
	case "photo":
		// A picture begins as the JPEG standard says; the rest is invented.
		return []line{{who: p.worker, file: &sheaf{name + "-screen.jpg", append([]byte("\xff\xd8\xff\xe0\x00\x10JFIF\x00"), p.noise(2000)...)}}}
	case "values":
		return p.says("can't save")
	}
	return []line{{who: p.worker, file: &sheaf{name + "-original.bin", p.noise(4096 + p.rand.IntN(20000))}, note: "the tool saves the original data"}}
}

func (p *player) noise(n int) []byte {
	b := make([]byte, n)
	for i := range b {
		b[i] = byte(p.rand.Uint32())
	}
	return b
}

// describe says what is fitted: all at once by a technician, by and by at home.
func (p *player) describe(*flow.Reply) []line {
	if p.home {
		return p.says(p.fitted)
	}
	text := p.fitted + ", " + p.tread + ", " + p.pressure + ", " + p.gears
	if p.extra != "" {
		text += ", " + p.extra
	}
	return p.says(text)
}

func (p *player) release(*flow.Reply) []line { return p.watches("release") }

// The value that is to be written, as the question says it: "One change: abs,
// 2438 to 2609, nothing else", "change in abs 2438 to 2609 and nothing else".
var toWrite = regexp.MustCompile(`(?:One change:|[Cc]hange|Restore:)(.*?) (\S+) to (\S+?),? (?:and )?nothing else`)

// setBack is how restoring what may still be there is put: "Restore: abs, 2438
// once more, nothing else", "set in abs 2438 again and nothing else".
var setBack = regexp.MustCompile(`(?:Restore:|, set)( \S+,| in \S+)? (\S+) (?:again|once more),? (?:and )?nothing else`)

// write does what the question asks for at the tool, and tells its word.
func (p *player) write(r *flow.Reply) []line {
	value := ""
	if m := toWrite.FindStringSubmatch(r.Text); m != nil {
		p.writing, value = p.vehicle.module(m[1]), m[3]
	} else if m := setBack.FindStringSubmatch(r.Text); m != nil {
		p.writing, value = p.vehicle.module(m[1]), m[2]
	} else if m := again.FindStringSubmatch(r.Text); m != nil {
		value = m[1] + m[2]
	}
	if p.writing == nil || value == "" {
		return nil
	}
	v, ok := p.writing.parse(value)
	if !ok {
		return nil
	}
	p.target, p.meant = v, value
	return p.writeIt()
}

// again is the value where a write is to be made once more.
var again = regexp.MustCompile(`(?:[Ww]rite|[Tt]ry|same number,) (\S+?),? (?:again|now|once more)|same number, (\S+?)\. `)

func (p *player) writeIt() []line {
	p.writes++
	word := p.vehicle.write(p.writing, p.target)
	if p.home {
		switch word {
		case "took":
			word = "it worked"
		case "broke off":
			word = "it stopped halfway"
		}
	}
	return []line{{who: p.worker, text: word, note: "writes " + p.meant, took: time.Minute}}
}

// namesLimit tells the limit that the tool named with its refusal.
func (p *player) namesLimit(*flow.Reply) []line {
	m := p.writing
	if m == nil {
		return nil
	}
	if p.target < m.min {
		return p.says("min " + m.text(m.min))
	}
	return p.says("max " + m.text(m.max))
}

func (p *player) readBack(*flow.Reply) []line {
	m := p.writing
	if m == nil {
		m = p.main()
	}
	return []line{{who: p.worker, text: m.shows(), note: "ignition off, doors shut, waits, on again", took: 3 * time.Minute}}
}

// readCodes reads the codes that are there; asked to clear them, clears them
// first.
func (p *player) readCodes(r *flow.Reply) []line {
	if strings.Contains(strings.ToLower(r.Text), "clear it once") {
		p.vehicle.clear()
	}
	if len(p.vehicle.codes) == 0 {
		return p.says("none")
	}
	return p.says(strings.Join(p.vehicle.codes, ", "))
}

// speedsAsked finds the true speeds that a briefing asks for.
var speedsAsked = regexp.MustCompile(`(?:GPS|[Hh]old) (\d[\d.,]*(?:,? (?:then )?\d[\d.,]*)*) (?:mph|km/h)`)
var number = regexp.MustCompile(`\d+(?:\.\d+)?`)

// drive drives what the briefing asks for: go, the readings, parked.
func (p *player) drive(r *flow.Reply) []line {
	m := speedsAsked.FindStringSubmatch(r.Text)
	if m == nil {
		return nil
	}
	if c, ok := choice(r, "alone"); ok && p.alone {
		return []line{{who: p.worker, tap: c}}
	}
	p.drives++
	clear(p.hearing) // another drive is another answer to the same words
	day := 0.0015 * p.rand.NormFloat64()
	var pairs []string
	for _, f := range number.FindAllString(m[1], -1) {
		v, err := strconv.ParseFloat(f, 64)
		if err != nil {
			return nil
		}
		pairs = append(pairs, p.look(v, day))
	}
	ls := []line{{who: p.worker, text: "go", note: fmt.Sprintf("drives at %s", m[1])}}
	p.driving = true
	codes := "no lamps, no codes"
	if p.alone {
		p.notes = strings.Join(pairs, " ")
		return append(ls, line{who: p.worker, text: "parked", note: "says the figures aloud to the phone", took: 25 * time.Minute})
	}
	cut := len(pairs)
	if cut > 3 {
		cut = 2
	}
	ls = append(ls, line{who: p.worker, text: strings.Join(pairs[:cut], " "), took: 15 * time.Minute})
	if cut < len(pairs) {
		ls = append(ls, line{who: p.worker, text: strings.Join(pairs[cut:], " "), took: 10 * time.Minute})
	}
	return append(ls, line{who: p.worker, text: "parked, " + codes, took: 5 * time.Minute})
}

// look is one pair as it is typed: now and then misread.
func (p *player) look(speed, day float64) string {
	dash, gps := p.vehicle.read(p.rand, speed, day)
	step := p.vehicle.gpsStep
	right := plain(dash) + "/" + figure(gps, step)
	if p.misread && !p.missed && speed < p.vehicle.work {
		p.missed = true
		wrong := plain(dash+5*float64(1-2*p.rand.IntN(2))) + "/" + figure(gps, step)
		p.mistakes[wrong] = right
		return wrong
	}
	return right
}

// fromNotes types what was noted on a drive alone.
func (p *player) fromNotes(*flow.Reply) []line {
	notes := p.notes
	p.notes = ""
	return p.says(notes)
}

var doubtedPair = regexp.MustCompile(`(\d+(?:\.\d+)?) on the dash at (\d+(?:\.\d+)?)`)

// doubted answers for a reading that does not fit: the pair as it was if it was
// misread, else it is kept.
func (p *player) doubted(r *flow.Reply) []line {
	m := doubtedPair.FindStringSubmatch(r.Text)
	if m == nil {
		return p.says("keep")
	}
	for wrong, right := range p.mistakes {
		w := number.FindAllString(wrong, 2)
		if same(w[0], m[1]) && same(w[1], m[2]) {
			return p.says(right)
		}
	}
	return p.says("keep")
}

func same(a, b string) bool {
	x, err1 := strconv.ParseFloat(a, 64)
	y, err2 := strconv.ParseFloat(b, 64)
	return err1 == nil && err2 == nil && x == y
}

// compare sets the odometer against a track, or skips it.
func (p *player) compare(*flow.Reply) []line {
	if !p.odoCheck {
		return p.says("skip")
	}
	track := 20.0
	return []line{{who: p.worker, text: fmt.Sprintf("odo %.1f track %.1f", p.vehicle.compare(p.rand, track), track),
		note: "drives 20 " + p.distance() + " with a track", took: 30 * time.Minute}}
}
