package calib

import (
	"math"

	"milepost/calib/unit"
)

// Mark says how well a source is known.
type Mark string

// The marks of the check-value page.
const (
	Seen      Mark = "seen"      // the text was read
	Secondary Mark = "secondary" // read as quoted by others
	Memory    Mark = "memory"    // from memory: to be read before it is quoted to anyone
)

// An AccuracyRule is one clause on how far a speedometer may be off: indicated V1 against true V2.
type AccuracyRule struct {
	ID       string
	Document string
	Clause   string
	Mark     Mark
	Kind     Rule // what it means for the policy

	// V1 must lie within [V2·lowShare, V2·highShare + high], high in km/h; highShare 0 leaves the top open.
	lowShare, highShare float64
	high                float64
	above               float64 // km/h: counts only above this true speed
	band                bool    // ±8 km/h or ±5 mph at 80 km/h or 50 mph, nothing else
}

// accuracyRules: check values, section 4. In the form of UN R39, 0 ≤ V1 − V2 ≤ 0.1·V2 + high.
var accuracyRules = []AccuracyRule{
	{ID: "un-r39", Document: "UN Regulation 39", Clause: "5.3 (rev. 2: 5.4), type approval", Mark: Secondary, Kind: RuleNeverUnder, lowShare: 1, highShare: 1.1, high: 4},
	{ID: "un-r39-production", Document: "UN Regulation 39", Clause: "Annex 3, conformity of production, M and N", Mark: Memory, Kind: RuleNeverUnder, lowShare: 1, highShare: 1.1, high: 6},
	{ID: "un-r39-production-l3", Document: "UN Regulation 39", Clause: "Annex 3, conformity of production, L3, L4, L5", Mark: Memory, Kind: RuleNeverUnder, lowShare: 1, highShare: 1.1, high: 8},
	{ID: "un-r39-production-l1", Document: "UN Regulation 39", Clause: "Annex 3, conformity of production, L1, L2", Mark: Memory, Kind: RuleNeverUnder, lowShare: 1, highShare: 1.1, high: 4},
	{ID: "eec-75-443", Document: "Directive 75/443/EEC as amended by 97/39/EC", Clause: "type approval", Mark: Memory, Kind: RuleNeverUnder, lowShare: 1, highShare: 1.1, high: 4},
	{ID: "adr-18-03", Document: "ADR 18/03", Clause: "Appendix A (UN R39), new models from 1 July 2006, all from 1 July 2007", Mark: Secondary, Kind: RuleNeverUnder, lowShare: 1, highShare: 1.1, high: 4},
	{ID: "adr-18-02", Document: "ADR 18/02", Clause: "±10 % above 40 km/h", Mark: Secondary, Kind: RuleNone, lowShare: 0.9, highShare: 1.1, above: 40},
	{ID: "nsw-40a", Document: "Road Transport (Vehicle Registration) Regulation 2017 (NSW)", Clause: "s 40A, vehicles from 1 July 1974", Mark: Seen, Kind: RuleNone, lowShare: 0.9, above: 50},
	{ID: "49-cfr-393.82", Document: "49 CFR", Clause: "393.82, buses, trucks and truck-tractors", Mark: Seen, Kind: RuleNone, band: true},
}

// AccuracyRules gives all rules.
func AccuracyRules() []AccuracyRule { return append([]AccuracyRule(nil), accuracyRules...) }

// AccuracyRuleByID finds a rule by its ID, such as "un-r39".
func AccuracyRuleByID(id string) (AccuracyRule, bool) {
	for _, r := range accuracyRules {
		if r.ID == id {
			return r, true
		}
	}
	return AccuracyRule{}, false
}

// Verdict is what a rule says of one pair of speeds.
type Verdict string

// The verdicts. NotTested: the rule says nothing at that speed.
const (
	Pass      Verdict = "pass"
	FailLow   Verdict = "fail_low"
	FailHigh  Verdict = "fail_high"
	NotTested Verdict = "not_tested"
)

// The band of 49 CFR 393.82, as printed there in both units.
const (
	bandAtMPH, bandMPH = 50, 5
	bandAtKMH, bandKMH = 80, 8
	bandNear           = 0.5 // of the test speed, either unit
	ruleSlack          = 1e-9
)

// Range is the lowest and highest indicated speed allowed at a true speed, both in u; ok is false where the rule says
// nothing. An open top is +Inf.
func (r AccuracyRule) Range(truth float64, u unit.Speed) (low, high float64, ok bool) {
	if r.band {
		_, width := r.bandOf(u)
		return truth - width, truth + width, true
	}
	if u.KMH(truth) <= r.above {
		return 0, math.Inf(1), false
	}
	low, high = truth*r.lowShare, math.Inf(1)
	if r.highShare > 0 {
		high = truth*r.highShare + u.FromKMH(r.high)
	}
	return low, high, true
}

func (r AccuracyRule) bandOf(u unit.Speed) (at, width float64) {
	if u == unit.KMH {
		return bandAtKMH, bandKMH
	}
	return bandAtMPH, bandMPH
}

// Verdict compares an indicated speed with a true one, both in u.
func (r AccuracyRule) Verdict(indicated, truth float64, u unit.Speed) Verdict {
	if at, _ := r.bandOf(u); r.band && math.Abs(indicated-at) > bandNear && math.Abs(truth-at) > bandNear {
		return NotTested
	}
	low, high, ok := r.Range(truth, u)
	switch {
	case !ok:
		return NotTested
	case indicated < low-ruleSlack:
		return FailLow
	case indicated > high+ruleSlack:
		return FailHigh
	}
	return Pass
}

// TrueRange is where the true speed must lie for an indicated one to pass, both in u. Rules with a floor of their own
// are read as if it did not matter.
func (r AccuracyRule) TrueRange(indicated float64, u unit.Speed) (low, high float64) {
	if r.band {
		_, width := r.bandOf(u)
		return indicated - width, indicated + width
	}
	if r.highShare > 0 {
		low = (indicated - u.FromKMH(r.high)) / r.highShare
	}
	return math.Max(low, 0), indicated / r.lowShare
}
