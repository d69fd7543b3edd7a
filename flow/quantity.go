package flow

import (
	"milepost/calib"
	"milepost/flow/understand"
	"milepost/flow/words"
)

// quantityUnknown says whether a value was read and not what it is: diameter,
// revolutions per mile, an axle ratio.
func quantityUnknown(s *State) bool {
	m := s.Main()
	return m != nil && m.Kind == "" && m.Question == ""
}

// setKind makes a fact's value one of a kind, in its usual unit.
func (f *StoredFact) setKind(k calib.Kind) {
	q, _ := calib.QuantityOf(k)
	f.KindName, f.Quantity, f.Unit = string(k), q.Name, q.Unit
}

// usualUnit fills in the unit of a quantity that was named without one:
// "circumference 2438"; the entry check asks where it is another.
func (f *StoredFact) usualUnit() {
	if q, ok := calib.QuantityNamed(f.Quantity); ok && f.Unit == "" {
		f.Unit = q.Unit
	}
}

// bareKinds are offered where a bare figure could be several things, most
// likely first.
var bareKinds = []calib.Kind{calib.CircumferenceMM, calib.RevMile, calib.RevKM, calib.DiameterMM, calib.RadiusMM,
	calib.PulseKM, calib.PulseMile, calib.AxleRatio, calib.Percent}

func askQuantity(t *turn) {
	m := t.s.Main()
	var ids []string
	for _, k := range bareKinds {
		q, _ := calib.QuantityOf(k)
		if m.Original.Num >= q.Low && m.Original.Num <= q.High && len(ids) < 4 {
			ids = append(ids, string(k))
		}
	}
	t.ask(QQuantity, m.Name, "factory.quantity", words.Args{"Value": plainFigure(m.Original.Num)}, ids...)
}

func takeQuantity(t *turn, in *input) bool {
	m := t.s.Main()
	kind := calib.Kind(in.Choice)
	if kind == "" {
		ms, _ := understand.StoredValues(plainFigure(m.Original.Num)+" "+in.Text, t.context())
		if len(ms) == 0 || !ms[0].Value.Known() {
			return false
		}
		f := restate(m)
		v := ms[0].Value
		f.Value, f.KindName, f.Quantity, f.Unit = Number(v.Value), kindNamed(v.Quantity, v.Unit), v.Quantity, v.Unit
		f.usualUnit()
		f.Shown = shownIn(v.TypedIn)
		t.record(f)
		t.checkEntries()
		in.Text = ""
		return true
	}
	f := restate(m)
	f.setKind(kind)
	t.record(f)
	t.checkEntries()
	return true
}
