package understand

import (
	"fmt"
	"math"
	"regexp"
	"strings"
)

// Reading is one pair of speeds read at the same moment.
type Reading struct {
	Indicated  float64  // on the dash
	Reference  float64  // by GPS
	Unit       string   // "mph" or "km/h", of both
	UnitSaid   bool     // the text named the unit
	Tenths     bool     // the GPS figure was typed with decimals
	Source     string   // needle, digits, head_up, or empty
	Conditions []string // accelerating, hill, wet, town …: reasons to take the reading again
	Doubt      bool     // "about", "nearly": typed as an estimate
}

// Plausible speeds and ratios; outside, the figures were mistyped or are not a pair. The ratio allows for a size change
// of 15 % with a misread figure on top (calibration-method.md 2, 10).
const (
	minSpeed, maxMPH, maxKmH = 3, 160, 260
	minRatio, maxRatio       = 0.66, 1.5
	mileKm                   = 1.609344
)

// measuredMile is the time of a measured mile or kilometre: its seconds are no speed.
var measuredMile = regexp.MustCompile(`(?i)\b(?:mile|km|kilomet(?:re|er))\b\D{0,12}\d{2,3}(?:\.\d+)?\s*(?:s|sec|secs|seconds)\b`)

// Readings reads pairs of dash and GPS speed, in any number. Unlabelled pairs are dash first. The pairs that are certain
// come beside an ask for the rest.
func Readings(text string, ctx Context) ([]Match[Reading], *Ask) {
	masked := text[:min(len(text), MaxRead)]
	for _, s := range measuredMile.FindAllStringIndex(masked, -1) {
		masked = Mask(masked, s[0], s[1])
	}
	ts := tokens(masked)
	p := &pairing{text: text, ctx: ctx}
	p.gather(ts)
	if p.ask != nil {
		return piecewise(text, ctx, p.ask), p.ask
	}
	if p.count() == 0 {
		return nil, newAsk(AskReadingNone, text)
	}
	pairs, ask := p.pairs()
	var out []Match[Reading]
	for _, q := range pairs {
		m, a := p.finish(q)
		if a != nil {
			if ask == nil {
				ask = a
			}
			continue
		}
		out = append(out, m)
	}
	if ask != nil && p.tool {
		ask = newAsk(AskReadingTool, text)
	}
	return out, ask
}

// piecewise reads the pieces of a text one of which is a range or no number: those that are whole pairs are certain.
func piecewise(text string, ctx Context, ask *Ask) []Match[Reading] {
	if ask.Code != AskReadingRangeOf && ask.Code != AskReadingNumber {
		return nil
	}
	var out []Match[Reading]
	for from := 0; from < len(text); {
		end := strings.IndexAny(text[from:], ",;\n")
		if end < 0 {
			end = len(text) - from
		}
		if end < len(text) {
			if ms, a := Readings(text[from:from+end], ctx); a == nil {
				for _, m := range ms {
					m.Start, m.End = m.Start+from, m.End+from
					out = append(out, m)
				}
			}
		}
		from += end + 1
	}
	return out
}

// IsSpeed says whether a figure can be a vehicle's speed in a unit, that of the
// dash where it has none of its own.
func IsSpeed(v float64, unit, dash string) bool { return v >= minSpeed && v <= topSpeed(unit, dash) }

func topSpeed(unit, dash string) float64 {
	if unit == KmH || unit != MPH && dash == KmH {
		return maxKmH
	}
	return maxMPH
}

// finish turns a pair into a reading, or asks.
func (p *pairing) finish(q pair) (Match[Reading], *Ask) {
	var m Match[Reading]
	said := p.text[q.start:q.end]
	a, b := q.dash, q.gps
	ua, ub := a.unit, b.unit
	if ua == "" {
		ua = ub
	}
	if ub == "" {
		ub = ua
	}
	if ua == "" {
		ua, ub = p.unit, p.unit
	}
	unitSaid := ua != ""
	if !unitSaid {
		ua, ub = p.ctx.speed(), p.ctx.speed()
	}
	dash, gps := a.value, b.value
	if ua != ub {
		return m, p.mixed(said, dash, gps, ua, ub)
	}
	top := topSpeed(ua, "")
	shown := plain(dash) + "/" + plain(gps)
	ratio := dash / gps
	switch {
	case dash < minSpeed || gps < minSpeed || dash > top || gps > top || math.IsNaN(ratio):
		ask := newAsk(AskReadingRange, said, "pair", shown, "top", plain(top), "unit", ua)
		if fixed, ok := droppedZero(dash, gps, top); ok {
			ask.offer(fixed)
		}
		return m, ask
	case math.Abs(ratio/mileKm-1) < 0.08 || math.Abs(ratio*mileKm-1) < 0.08:
		if ratio > 1 {
			return m, p.mixed(said, dash, gps, KmH, MPH)
		}
		return m, p.mixed(said, dash, gps, MPH, KmH)
	case ratio < minRatio || ratio > maxRatio:
		return m, newAsk(AskReadingRatio, said, "pair", shown)
	}
	m.Value = Reading{Indicated: dash, Reference: gps, Unit: ua, UnitSaid: unitSaid, Tenths: b.decimals > 0, Source: p.source, Conditions: p.conditions, Doubt: q.doubt}
	m.Start, m.End = q.start, q.end
	m.Echo = fmt.Sprintf("%s/%s %s", plain(dash), plain(gps), ua)
	return m, nil
}

// mixed asks about a pair in two units; the offer has both in the unit of the dash.
func (p *pairing) mixed(said string, dash, gps float64, dashUnit, gpsUnit string) *Ask {
	in := gps / mileKm
	if dashUnit == KmH {
		in = gps * mileKm
	}
	in = math.Round(in*10) / 10
	return newAsk(AskReadingUnits, said, "dash", plain(dash), "gps", plain(gps), "dash_unit", dashUnit, "gps_unit", gpsUnit).
		offer(fmt.Sprintf("%s/%s %s", plain(dash), plain(in), dashUnit))
}

// droppedZero finds what one key too many may have meant ("600 58").
func droppedZero(dash, gps, top float64) (string, bool) {
	try := func(a, b float64) (string, bool) {
		if a > 0 && b > 0 && a <= top && b <= top && a/b > 0.85 && a/b < 1.18 {
			return plain(a) + "/" + plain(b), true
		}
		return "", false
	}
	if s, ok := try(dash/10, gps); ok {
		return s, true
	}
	return try(dash, gps/10)
}

func roleName(r role) string {
	return [...]string{"", "dash", "gps", "tool", "odometer"}[r]
}
