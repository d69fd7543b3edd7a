package flow

import (
	"math"
	"testing"
)

// knownSet is a bay job on the placard's tyres again, of a vehicle that an
// earlier job left at 2596 with larger ones.
func knownSet(t *testing.T, fitted SizeFact) *play {
	lo, hi := 1800.0, 3000.0
	was := SizeFact{Which: "factory", Text: "LT265/70R17 121/118S", DiameterMM: 802.8, SpeedSymbol: "S", LoadIndex: "121/118"}
	left := SizeFact{Which: "fitted", Text: "LT285/75R17 121/118S", DiameterMM: 859.3, SpeedSymbol: "S", LoadIndex: "121/118"}
	fitted.Which = "fitted"
	return bay(t, Policy{},
		&KnownFact{Job: "J0", Factory: was, Fitted: left, ValueKind: "circumference_mm", Quantity: "circumference", Unit: "mm",
			Original: Number(2438), Left: Number(2601), Step: 1, Min: &lo, Max: &hi},
		&AnswerFact{Question: QKnown, Value: "yes"},
		&StoredFact{Value: Number(2500), Unit: "mm", Quantity: "circumference", KindName: "circumference_mm", Which: "as_found", Step: 1, Min: &lo, Max: &hi},
		&fitted)
}

// A known set goes to its known value: circumference, interval and errors are
// those of it, and the drive that checks it asks three speeds.
func TestKnownSet(t *testing.T) {
	for _, c := range []struct {
		fitted SizeFact
		want   float64
	}{
		{SizeFact{Text: "LT265/70R17 121/118S", DiameterMM: 802.8, SpeedSymbol: "S", LoadIndex: "121/118"}, 2438},
		{SizeFact{Text: "LT285/75R17 121/118S", DiameterMM: 859.3, SpeedSymbol: "S", LoadIndex: "121/118"}, 2601},
	} {
		p := knownSet(t, c.fitted).at(PhaseChange).said("known from an earlier job")
		g := p.s.Target("")
		if g.Value != Number(c.want) || math.Abs(g.CircumferenceMM-c.want) > 0.001 || g.Low >= c.want || g.High <= c.want {
			t.Errorf("%+v", g)
		}
		for _, e := range p.s.Errors.Errors {
			if p.s.Errors.Value != Number(c.want) || math.Abs(e.After) > 0.3 || e.PlusMinus > 1.5 {
				t.Errorf("with %v: %+v", p.s.Errors.Value, e)
			}
		}
		p.lines("took", plainFigure(c.want), "none").at(PhaseDrive)
		if d := p.s.CurrentDrive(); len(d.Speeds) != 3 {
			t.Errorf("speeds %v", d.Speeds)
		}
		p.said("GPS 70, then 60, 65")
	}
}

// An odometer below the last known reading is questioned, once.
func TestOdometerBelowTheLastKnown(t *testing.T) {
	known := &Known{Job: "J0", Factory: SizeFact{Text: "LT265/70R17"}, Size: SizeFact{Text: "LT285/75R17"},
		Module:   Module{Kind: "circumference_mm", Unit: "mm", Quantity: "circumference", Original: Number(2438), Now: Number(2596)},
		Odometer: 50000, OdometerUnit: "mi"}
	open := func(odo string) *play {
		p := playFrom(t, Policy{})
		p.env.Known = known
		return p.lines("new job unit 14, bay, "+odo, "no")
	}
	open("51000 mi").asks(QRegulated)
	open("90000 km").asks(QRegulated) // units apart: 55 923 mi
	open("48210 mi").asks(QOdoLow).said("48,210 mi", "50,000 mi").lines("yes").asks(QRegulated)
	open("48210 mi").asks(QOdoLow).lines("50210").asks(QRegulated)
	open("48210 mi").asks(QOdoLow).lines("no").asks(QOdometer).lines("50210 mi").asks(QRegulated)
}
