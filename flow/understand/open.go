package understand

// Places a job can be at.
const (
	Bay  = "bay"
	Home = "home"
)

// Place reads where the work is done.
func Place(text string) (Match[string], bool, *Ask) {
	return oneOf(text, englishPlaces, AskPlace)
}

// Units reads the unit of speed of the dash: "mph" or "km/h".
func Units(text string) (Match[string], bool, *Ask) {
	return oneOf(text, englishUnitWords, AskUnits)
}

// LengthUnits reads whether the person works in mm or inch.
func LengthUnits(text string) (Match[string], bool, *Ask) {
	return oneOf(text, englishLengthWords, AskLengths)
}

// Accuracy rules, as the contract spells them.
const (
	RuleNone       = "none"
	RuleNeverUnder = "never-under"
)

// Rule reads the accuracy rule of a region: "never under", "UN R39", "no rule".
func Rule(text string) (Match[string], bool, *Ask) {
	return oneOf(text, englishRules, AskRule)
}

// Policies of the dash, as the contract spells them.
const (
	PolicyTrue       = "true"
	PolicyNeverUnder = "never-under"
	PolicyDistance   = "distance"
)

// Aim reads which shall be right: the dash, the distance, or the dash never under the true speed.
func Aim(text string) (Match[string], bool, *Ask) {
	return oneOf(text, englishAims, AskAim)
}

// oneOf finds the one meaning of a lexicon that a text names.
func oneOf(text string, l lexicon[string], code string) (Match[string], bool, *Ask) {
	ts := tokens(text)
	ps := l.all(ts)
	if len(ps) == 0 {
		return Match[string]{}, false, nil
	}
	for _, p := range ps[1:] {
		if p.value != ps[0].value {
			return Match[string]{}, false, newAsk(code, text)
		}
	}
	p := ps[0]
	return Match[string]{p.value, ts[p.from].start, ts[p.to-1].end, p.value}, true, nil
}

var englishPlaces = newLexicon(false, table(
	row[string]{Bay, "bay, in the bay, workshop, in the workshop, shop, in the shop, garage bay, at the garage, at work, on the lift, on the ramp, depot, in bay, at the shop, service bay"},
	row[string]{Home, "home, at home, in the drive, driveway, on the driveway, my garage, in my garage, at my house, my house, carport, in the street, outside my house, at mine, in the yard, my drive, on my drive"},
))

var englishUnitWords = newLexicon(false, table(
	row[string]{MPH, "mph, miles per hour, miles an hour, miles, mi, imperial"},
	row[string]{KmH, "km h, kmh, kph, km, kilometres per hour, kilometers per hour, kilometres, kilometers, metric, ks, clicks"},
))

var englishLengthWords = newLexicon(false, table(
	row[string]{MM, "mm, millimetres, millimeters, millimetre, millimeter, metric"},
	row[string]{Inch, "inch, inches, in, imperial"},
))

var englishRules = newLexicon(false, table(
	row[string]{RuleNeverUnder, "never under, never under reads, never below, never less, never read under, never reads under, must not read under, mustnt read under, not under, un r, ece r, unece r, ece, regulation, unece, europe, european, eu, uk, never low, no under reading, may not read under, never-under"},
	row[string]{RuleNone, "no rule, none, no law, nothing, no limit, no accuracy rule, rule none, no rules, us, usa, america, no regulation"},
))

var englishAims = newLexicon(false, table(
	row[string]{PolicyTrue, "dash right, dash, speed, speedo, speedo right, speed right, true, true speed, exact, exactly right, the dash, accurate, spot on"},
	row[string]{PolicyDistance, "distance, distance right, odometer, odo, odometer right, the distance, the odometer, mileage, odo right"},
	row[string]{PolicyNeverUnder, "never under, never-under, never below, never low, never reads under"},
))

// Opening is what a first message may carry.
type Opening struct {
	New      bool   // "new job"
	Vehicle  string // the vehicle in the person's own words
	Place    string
	Odometer *Distance
	Units    string
	VIN      string
}

// Open reads a first message: "new job unit 14, in the bay, 48210 mi". What is not place, distance, unit or vehicle
// number is the vehicle, in the words typed.
func Open(text string, ctx Context) (Match[Opening], *Ask) {
	text, _ = Clean(text)
	rest := text
	var o Opening
	if c, ok := ReadCommand(text); ok && c.Value.Name == CmdNew {
		o.New = true
		rest = Mask(rest, c.Start, c.Value.ArgStart)
	}
	for c, ok := GuestCode(rest); ok; c, ok = GuestCode(rest) { // no part of any name
		rest = Mask(rest, c.Start, c.End)
	}
	if v, ok, ask := VIN(rest); ok {
		if ask != nil {
			return Match[Opening]{}, ask
		}
		o.VIN = v.Value.Text
		rest = Mask(rest, v.Start, v.End)
	}
	if d, ok, ask := Odometer(rest, ctx); ask != nil {
		return Match[Opening]{}, ask
	} else if ok && !(d.Value.Value < 100 && !d.Value.Said) {
		o.Odometer = &d.Value
		rest = Mask(rest, d.Start, d.End)
	}
	if p, ok, ask := Place(rest); ok && ask == nil {
		o.Place = p.Value
		rest = Mask(rest, p.Start, p.End)
	}
	if u, ok, ask := Units(rest); ok && ask == nil {
		o.Units = u.Value
		rest = Mask(rest, u.Start, u.End)
	}
	o.Vehicle = vehicleWords(rest)
	m := Match[Opening]{Value: o, Start: 0, End: len(text)}
	if o.New {
		m.Echo = "new job "
	}
	m.Echo += o.Vehicle
	if o.Place != "" {
		m.Echo += ", " + o.Place
	}
	if o.Odometer != nil {
		m.Echo += ", " + plain(o.Odometer.Value) + " " + o.Odometer.Unit
	}
	if o.Units != "" {
		m.Echo += ", " + o.Units
	}
	if o.VIN != "" {
		m.Echo += ", VIN " + o.VIN
	}
	return m, nil
}
