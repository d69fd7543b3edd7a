package flow

import "time"

// Policy is what a shop has decided. The zero value is usable: Sound fills in
// what is missing.
type Policy struct {
	Speed     string  // dash unit unless said otherwise: mph or km/h
	Length    string  // mm or inch, for what is shown; values stay in the module's unit
	Rule      string  // accuracy rule: none or never-under
	Calib     string  // true, never-under, distance; "" by the rule
	WorkSpeed float64 // fastest true speed asked for, dash unit; 0: 70 mph or 110 km/h
	Threshold float64 // done within this much of true, dash unit; 0: 1.0 mph or 1.6 km/h

	Holds   []HoldPoint // "" Place means both
	SignOff bool        // a supervisor signs off before closing
	Self    bool        // a one-person shop: self-release, self-waiver and self-sign-off allowed
	Quiet   bool        // cautions that may be silenced are

	HoldCall  time.Duration // a waiting hold calls the next helper after this long
	Idle      time.Duration // a job that waits longer is flagged
	Retention int           // days for which raw tracks are kept after closing
	MaxFile   int64         // bytes of an incoming file
	Verified  bool          // a supervisor's acts in encrypted rooms count from a verified device only
	Approved  bool          // the shop is an approved workshop for regulated use; a supervisor still waives

	SpeedAssumed bool // Speed is the default, not the shop's word: an odometer in km tells otherwise

	Prompted bool // regulated use is asked even where policy knows that it never applies
}

// HoldPoint is a step that somebody else releases.
type HoldPoint struct {
	What  string // write or restore
	Place string // bay, home, "" both
}

// Sound gives the policy with its defaults filled in. At home every write and
// restore is a hold point, whatever the policy says.
func (p Policy) Sound() Policy {
	if p.Speed == "" {
		p.Speed, p.SpeedAssumed = "mph", true
	}
	if p.Length == "" {
		p.Length = "mm"
	}
	if p.Rule == "" {
		p.Rule = "none"
	}
	if p.HoldCall == 0 {
		p.HoldCall = 10 * time.Minute
	}
	if p.Idle == 0 {
		p.Idle = 24 * time.Hour
	}
	if p.Retention == 0 {
		p.Retention = 90
	}
	if p.MaxFile == 0 {
		p.MaxFile = 64 << 20
	}
	return p
}

// Trusts says whether somebody's acts count from a device of this standing.
func (p Policy) Trusts(r Role, d Trust) bool {
	return d != Unverified || r != Supervisor || !p.Verified
}

// holds says whether a step is a hold point at a place.
func (p Policy) holds(what string, home bool) bool {
	if home {
		return true
	}
	for _, h := range p.Holds {
		if h.What == what && h.Place != "home" {
			return true
		}
	}
	return false
}

// Known is what an earlier job left a vehicle at.
type Known struct {
	Job     string
	When    time.Time
	Size    SizeFact
	Factory SizeFact
	Module  Module // with Original and Now
	VIN     bool   // recognised by VIN, else by name

	Odometer     float64 // as read then, 0 where it was not
	OdometerUnit string  // mi or km
}

// Env is everything a step may know beside the state and the message: no
// clock, no chance and no store of its own.
type Env struct {
	Now     time.Time
	Clock   bool // our clock stands before that of the entry before
	Policy  Policy
	Program string // program version, logged with each figure
	Known   *Known // what is known of a vehicle named in this message, nil if nothing
	Code    string // a fresh guest code, used if one is asked for
	// Others names helpers and supervisors who could be called, by role.
	Others map[Role][]Who
	// Here are people the shop has named who read what is said in the job and
	// have not spoken in it: they can be called. Nil where nobody is, or it is not
	// known, or nobody is called.
	Here []Person
	// Alerts says for which roles the shop has a room of alerts.
	Alerts map[Role]bool
}
