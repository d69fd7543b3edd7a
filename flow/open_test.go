package flow

import (
	"strings"
	"testing"
)

// A greeting is answered by the first question, not by a complaint.
func TestGreeting(t *testing.T) {
	for _, hello := range []string{"hello", "hi there", "good morning!"} {
		p := playFrom(t, Policy{}).as("1", Customer)
		p.step(Message{Text: hello, Join: &Person{Who: "1", Role: Customer, Name: "Ann"}})
		p.at(PhaseOpen).asks(QVehicle).said("What vehicle is it")
		p.lines("our blue van").asks(QPlace)
	}
}

// An odometer in km stands in a dash in km/h, unless the shop has said
// otherwise; the unit is taken at any prompt of the opening.
func TestUnitsOfTheDash(t *testing.T) {
	for _, c := range []struct {
		policy string
		lines  []string
		want   string
	}{
		{"", []string{"our blue van, home, 50000 km"}, "km/h"},
		{"", []string{"our blue van", "home", "50000 km"}, "km/h"},
		{"mph", []string{"our blue van, home, 50000 km"}, ""},
		{"", []string{"unit 9", "km/h"}, "km/h"},
		{"", []string{"unit 9", "bay", "km/h"}, "km/h"},
		{"", []string{"unit 9, bay, 50000 mi", "km/h"}, "km/h"},
		{"mph", []string{"van", "our blue van, home, 50000 km, km/h"}, "km/h"},
		{"km/h", []string{"unit 9, bay, 50000 km", "mph"}, "mph"},
	} {
		p := playFrom(t, Policy{Speed: c.policy}).lines(c.lines...)
		if got := p.s.Value(QUnits); got != c.want {
			t.Errorf("%q: units %q, want %q", c.lines, got, c.want)
		}
		if c.want != "" {
			p.said(c.want)
		}
	}
}

// The rule named beside the vehicle is no part of its name.
func TestRuleBesideVehicle(t *testing.T) {
	for _, said := range []string{"new job our blue van, bay, rule never under", "our blue van, in the bay, rule: never-under", "our blue van, bay, never under rule",
		"our blue van, never under, bay", "our blue van, accuracy rule UN R39, bay", "our blue van, rule is never under, bay"} {
		p := playFrom(t, Policy{}).lines(said)
		if p.s.Vehicle != "our blue van" || p.s.Value(QRule) != "never-under" {
			t.Errorf("%q: %q, rule %q", said, p.s.Vehicle, p.s.Value(QRule))
		}
	}
}

// A guest code that lets nobody in is no vehicle's name, and is not repeated.
func TestUnknownCode(t *testing.T) {
	const code = "7QKM-4TXN-R2HD-9WPC"
	for _, said := range []string{code, "new job " + code, "hello, " + code} {
		p := playFrom(t, Policy{}).lines(said).asks(QVehicle).said("opens nothing here")
		for _, r := range p.last {
			if strings.Contains(r.Text, code) {
				t.Errorf("%q: repeated: %s", said, r.Text)
			}
		}
	}
	p := playFrom(t, Policy{}).lines(code + " our blue van, home").asks(QOdometer)
	if p.s.Vehicle != "our blue van" {
		t.Errorf("vehicle %q", p.s.Vehicle)
	}
}

// A VIN whose check fails is recorded as such and asked about; the other
// answers of its message are kept.
func TestDoubtfulVIN(t *testing.T) {
	for _, c := range []struct {
		lines []string
		vin   string
		word  string
	}{
		{[]string{"9AATYRE06S0012345"}, "9AATYRE06S0012345", "holds"},
		{[]string{"skip"}, "1ZZTEST49V0281828", ""},
		{[]string{"1ZZTEST49V0281828"}, "1ZZTEST49V0281828", "kept"},
		{[]string{"yes"}, "1ZZTEST49V0281828", "kept"},
	} {
		p := playFrom(t, Policy{}).lines("new job unit 14, bay, 100 mi, VIN 1ZZTEST49V0281828").asks(QVIN).said("check digit")
		if p.s.VIN != "1ZZTEST49V0281828" || p.s.Value(QVIN) != "fails" || p.s.Vehicle != "unit 14" {
			t.Errorf("VIN %q %s, vehicle %q", p.s.VIN, p.s.Value(QVIN), p.s.Vehicle)
		}
		if f, _ := p.last[len(p.last)-1].Facts["vin"].(map[string]any); f["check"] != "fails" {
			t.Errorf("fact %v", f)
		}
		p.lines(c.lines...).asks(QRegulated)
		if p.s.VIN != c.vin || p.s.Value(QVIN) != c.word {
			t.Errorf("%q: VIN %q %s", c.lines, p.s.VIN, p.s.Value(QVIN))
		}
	}
}
