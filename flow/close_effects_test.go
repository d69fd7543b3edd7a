package flow

import (
	"strings"
	"testing"
)

// With several modules the label and the way back name each of them.
func TestCloseNamesEveryModule(t *testing.T) {
	lo := 600.0
	p := bay(t, Policy{},
		&StoredFact{Value: Number(2438), Unit: "mm", Quantity: "circumference", KindName: "circumference_mm", Which: "factory", Step: 1, Module: "engine", Renames: true},
		&StoredFact{Value: Number(660), Unit: "rev/mile", Quantity: "revs_per_mile", KindName: "rev_mile", Which: "factory", Step: 1, Min: &lo, Module: "brake"})
	p.lines("write", "2596", "620", "none", "go", "70/70 60/60 50/50 65/65", "parked none", "close").at(PhaseClose)
	p.said("LT285/75R17 121/118S: engine 2596 mm, brake 620 rev/mile. LT265/70R17 121/118S: engine 2438 mm, brake 660 rev/mile.",
		"7 with the old tyres engine 2438 mm, brake 660 rev/mile go back", "original engine 2438 mm, brake 660 rev/mile.")
	p.lines("8").said("self-tests run again").lines("7").said("7: engine 2438 mm, brake 660 rev/mile belong to the old tyres")
}

// What the odometer counts wrong is by sizes alone no better than some 1 %: under
// that nothing is said, over it that it is by sizes; a comparison is better.
func TestCloseOdometer(t *testing.T) {
	p := closing(t, Policy{})
	for _, r := range p.last {
		if strings.Contains(r.Text, "odometer counts") {
			t.Errorf("half a percent, by sizes: %s", r.Text)
		}
	}
	checked(t, Policy{}).lines("70/70 60/60 50/50 65/65", "odo 20.0 track 20.2", "parked none", "close").at(PhaseClose).said(". The odometer counts 1.0 % less than driven.")
	hi := 2450.0
	at := &StoredFact{Value: Number(2438), Unit: "mm", Quantity: "circumference", KindName: "circumference_mm", Which: "factory", Step: 1, Max: &hi}
	bay(t, Policy{}, at).lines("write", "took", "2450", "none", "go", "65/70 56/60 46/50 60/65 51/55", "parked none", "close").at(PhaseClose).
		said("By sizes the odometer counts about 6.", "% less than driven.")
}

// Distance since fitting, engine speed and effective axle ratio are told. Sizes
// 859.3 over 802.8 mm: 1.0704; 3.73/1.0704 = 3.485.
func TestCloseEffects(t *testing.T) {
	closing(t, Policy{}).said("Since these tyres were fitted and until the write, 1000 mi shown were about 1070 driven. " +
		"At the same speed the engine turns 6.6 % slower, as with an axle ratio numerically that much lower.")
	// 4.10 for 3.73 at the same time: 4.10/1.0704 = 3.83, 2.7 % over 3.73.
	gears := []Fact{&AnswerFact{Question: QGears, Value: "changed"}, &AnswerFact{Question: QRatio, About: "factory", Number: 3.73},
		&AnswerFact{Question: QRatio, About: "now", Number: 4.1}, &AnswerFact{Question: QSensing, Value: "wheels"}}
	p := bay(t, Policy{}, gears...).lines("write", "2596", "none", "go", "70/70 60/60 50/50 65/65", "parked none", "close").at(PhaseClose)
	p.said("At the same speed the engine turns 2.7 % faster: an axle ratio of 4.1 acts as 3.83.")
	for _, r := range p.last {
		if strings.Contains(r.Text, "Since these tyres") {
			t.Errorf("the gears may be older than the tyres: %s", r.Text)
		}
	}
}
