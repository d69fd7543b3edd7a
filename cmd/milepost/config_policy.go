package main

import (
	"strings"
	"time"

	"milepost/flow"
)

// policy reads a table [policy] on top of what holds already.
func (t *table) policy(p flow.Policy) flow.Policy {
	if t == nil {
		return p
	}
	defer t.done()
	p.Speed = t.oneOf("speed", p.Speed, "mph", "km/h")
	p.Length = t.oneOf("length", p.Length, "mm", "inch")
	p.Rule = t.oneOf("rule", p.Rule, "none", "never-under")
	p.Calib = t.oneOf("aim", p.Calib, "true", "never-under", "distance")
	p.WorkSpeed = t.number("work_speed", p.WorkSpeed, 20, 250, false, " mph or km/h, as the dash shows")
	p.Threshold = t.number("threshold", p.Threshold, 0.1, 10, false, " mph or km/h, as the dash shows")
	if t.has("holds") {
		p.Holds = nil
	}
	for _, h := range t.texts("holds", `"write" or "restore", for one place "write:bay", "restore:bay"`, isHold) {
		what, place, _ := strings.Cut(h, ":")
		p.Holds = append(p.Holds, flow.HoldPoint{What: what, Place: place})
	}
	p.SignOff = t.truth("sign_off", p.SignOff)
	p.Self = t.truth("one_person", p.Self)
	p.Quiet = t.truth("quiet", p.Quiet)
	p.HoldCall = t.duration("hold_call", p.HoldCall, time.Minute, 24*time.Hour)
	p.Idle = hours(t.number("idle_hours", p.Idle.Hours(), 1, 24*366, false, " hours"))
	p.Retention = int(t.number("retention_days", float64(p.Retention), 1, 3660, true, " days"))
	p.MaxFile = int64(t.number("max_file_mb", float64(p.MaxFile>>20), 1, 1024, true, " MB")) << 20
	p.Verified = t.truth("verified_device", p.Verified)
	p.Approved = t.truth("approved", p.Approved)
	return p
}

// isHold says whether a text names a step that somebody else releases. At home
// every one of them is, whatever is configured.
func isHold(s string) bool {
	what, place, placed := strings.Cut(s, ":")
	return (what == "write" || what == "restore") && (!placed || place == "bay" || place == "home")
}

func hours(n float64) time.Duration { return time.Duration(n * float64(time.Hour)) }

// duration gives a time such as "10m", def where there is none.
func (t *table) duration(key string, def, low, high time.Duration) time.Duration {
	v, there := t.get(key)
	if !there {
		return def
	}
	s, is := v.(string)
	d, err := time.ParseDuration(s)
	if !is || err != nil || d < low || d > high {
		t.wrong(key, v, `a time from "`+short(low)+`" to "`+short(high)+`"`)
		return def
	}
	return d
}

// short prints a duration without what is nought: 10m, 24h.
func short(d time.Duration) string {
	return strings.TrimSuffix(strings.TrimSuffix(d.String(), "0s"), "0m")
}
