package bot

import (
	"errors"
	"slices"
	"strconv"
	"strings"
	"time"

	"milepost/flow"
)

// setPolicy decides one thing of a policy, by the names of policyNames.
func setPolicy(p *flow.Policy, name, value string) error {
	for _, n := range policyNames {
		if n.name == name {
			return n.set(p, value)
		}
	}
	return errPolicy
}

var errPolicy = errors.New("no such decision")

// policyNames are what a supervisor can decide in words.
var policyNames = []struct {
	name string
	set  func(*flow.Policy, string) error
}{
	{"speed", oneOf(func(p *flow.Policy) *string { return &p.Speed }, "mph", "km/h")},
	{"length", oneOf(func(p *flow.Policy) *string { return &p.Length }, "mm", "inch")},
	{"rule", oneOf(func(p *flow.Policy) *string { return &p.Rule }, "none", "never-under")},
	{"aim", oneOf(func(p *flow.Policy) *string { return &p.Calib }, "true", "never-under", "distance")},
	{"cap", speedCap},
	{"sign-off", yesNo(func(p *flow.Policy) *bool { return &p.SignOff })},
	{"self", yesNo(func(p *flow.Policy) *bool { return &p.Self })},
	{"quiet", yesNo(func(p *flow.Policy) *bool { return &p.Quiet })},
	{"idle", hours(func(p *flow.Policy) *time.Duration { return &p.Idle })},
	{"hold", holdPoints},
}

func oneOf(field func(*flow.Policy) *string, allowed ...string) func(*flow.Policy, string) error {
	return func(p *flow.Policy, v string) error {
		if !slices.Contains(allowed, v) {
			return errPolicy
		}
		*field(p) = v
		return nil
	}
}

// speedCap decides the fastest true speed that is asked for, in the dash unit.
func speedCap(p *flow.Policy, v string) error {
	n, err := strconv.ParseFloat(v, 64)
	if err != nil || n < 20 || n > 250 {
		return errPolicy
	}
	p.WorkSpeed = n
	return nil
}

func yesNo(field func(*flow.Policy) *bool) func(*flow.Policy, string) error {
	return func(p *flow.Policy, v string) error {
		switch v {
		case "yes", "on":
			*field(p) = true
		case "no", "off":
			*field(p) = false
		default:
			return errPolicy
		}
		return nil
	}
}

func hours(field func(*flow.Policy) *time.Duration) func(*flow.Policy, string) error {
	return func(p *flow.Policy, v string) error {
		d, err := time.ParseDuration(strings.TrimSuffix(strings.ReplaceAll(v, " ", ""), "ours"))
		if err != nil || d < time.Hour || d > 366*24*time.Hour {
			return errPolicy
		}
		*field(p) = d
		return nil
	}
}

func holdPoints(p *flow.Policy, v string) error {
	switch v {
	case "none":
		p.Holds = nil
	case "write", "restore":
		p.Holds = []flow.HoldPoint{{What: v}}
	case "write and restore":
		p.Holds = []flow.HoldPoint{{What: "write"}, {What: "restore"}}
	default:
		return errPolicy
	}
	return nil
}
