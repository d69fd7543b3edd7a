package calib

import (
	"fmt"
	"math"
	"strings"
)

// A stored value outside these is no value of any kind in the table.
const minValue, maxValue = 1e-3, 1e7

// takeStored reads kind, factory value, step, limits and list, and builds the scale between values and S.
func (j *job) takeStored() error {
	k := j.known
	q, ok := QuantityOf(k.ValueKind)
	switch {
	case k.ValueKind == "":
		return bad("known.value_kind", "is needed")
	case !ok:
		return bad("known.value_kind", "%q is no kind of stored value", clip(string(k.ValueKind)))
	}
	dir := k.PercentDirection
	switch dir {
	case "", Up, Down:
	default:
		return bad("known.percent_direction", `must be "up" or "down"`)
	}
	j.directionSaid = dir != ""
	if v := k.StoredFactoryValue; !v.Known() && !v.bad {
		return bad("known.stored_factory_value", "is needed")
	}
	sref := factorTypical * math.Pi * j.D0c // section 1
	if q.Kind == SizeList {
		return j.takeList(sref)
	}
	if err := j.takeLimits(); err != nil {
		return err
	}
	if err := number("known.stored_factory_value", k.StoredFactoryValue); err != nil {
		return err
	}
	v0 := k.StoredFactoryValue.Number
	j.scale, _ = NewScale(q.Kind, v0, sref, dir)
	j.srefEstimated = !q.Absolute
	j.s0 = j.scale.Circumference(v0)
	j.factory = setting{Value: Number(v0), S: j.s0}
	j.entry = Entry{Fits: true}
	if q.Absolute && !k.EntryConfirmed {
		j.entry = entryCheck(q, v0, j.D0c)
	}
	return nil
}

func (j *job) takeLimits() (err error) {
	k := j.known
	if j.step, err = optional("known.value_step", k.ValueStep, 1, 1e-4, 1e6); err != nil {
		return err
	}
	if j.low, err = optional("known.value_min", k.ValueMin, 0, 0, maxValue); err != nil {
		return err
	}
	if j.high, err = optional("known.value_max", k.ValueMax, maxValue, minValue, maxValue); err != nil {
		return err
	}
	if j.low > j.high {
		return bad("known.value_max", "is below value_min")
	}
	return nil
}

// takeList reads a list of sizes. An entry's S is its circumference where that can be read off, else S0 times the
// ratio of the diameters (section 1).
func (j *job) takeList(sref float64) error {
	k := j.known
	switch n := len(k.ValueList); {
	case n == 0:
		return bad("known.value_list", "is needed with size_list")
	case n > MaxList:
		return bad("known.value_list", "has %d entries, %d at most", n, MaxList)
	}
	j.scale, _ = NewScale(SizeList, 0, 0, "")
	j.step, j.low, j.high = 1, 0, maxValue
	diameters := make([]float64, len(k.ValueList))
	j.list = make([]setting, len(k.ValueList))
	seen := make(map[string]bool, len(k.ValueList))
	for i, e := range k.ValueList {
		field := fmt.Sprintf("known.value_list[%d]", i)
		label := strings.TrimSpace(e.Label)
		if label == "" || len(label) > maxSizeText {
			return bad(field+".label", "must be a text of up to %d characters", maxSizeText)
		}
		if seen[fold(label)] {
			return bad(field+".label", "%q stands twice in the list", clip(label))
		}
		seen[fold(label)] = true
		j.list[i] = setting{Value: Label(label), soft: e.CircumferenceMM == nil}
		if c := e.CircumferenceMM; c != nil {
			if !(*c >= minValue && *c <= maxValue) {
				return bad(field+".circumference_mm", "must be a circumference in mm, or null")
			}
			j.list[i].S = *c
			continue
		}
		m, err := measure(SizeText(label))
		if err != nil {
			return bad(field+".label", "is not read off and %v", err)
		}
		diameters[i] = m.rolling()
	}
	factory, err := j.choice("known.stored_factory_value", k.StoredFactoryValue)
	if err != nil {
		return err
	}
	j.s0, j.entry = factory.S, Entry{Fits: true}
	if factory.soft { // S0 = Sref, the 0.6 % again: section 1
		j.s0, j.srefEstimated = sref, true
	} else if !k.EntryConfirmed {
		q, _ := QuantityOf(SizeList)
		j.entry = entryCheck(q, factory.S, j.D0c)
	}
	for i := range j.list {
		if j.list[i].soft {
			j.list[i].S = j.s0 * diameters[i] / j.D0c
		}
	}
	j.factory, err = j.choice("known.stored_factory_value", k.StoredFactoryValue)
	return err
}

// number checks a value that must be a number.
func number(field string, v Value) error {
	if v.bad || v.IsLabel() || !(v.Number >= minValue && v.Number <= maxValue) {
		return bad(field, "must be a number from %v to %v", minValue, int(maxValue))
	}
	return nil
}

// choice finds a label in the list, spaces and case aside.
func (j *job) choice(field string, v Value) (setting, error) {
	want := fold(v.Label)
	if !v.bad && want != "" {
		for _, s := range j.list {
			if s.Label == v.Label {
				return s, nil
			}
		}
		for _, s := range j.list {
			if fold(s.Label) == want {
				return s, nil
			}
		}
	}
	return setting{}, bad(field, "must be a label out of value_list")
}

func fold(label string) string {
	return strings.ToUpper(strings.Join(strings.Fields(label), ""))
}

// settingOf turns a value of a case into a setting.
func (j *job) settingOf(field string, v Value) (setting, error) {
	if j.list != nil {
		return j.choice(field, v)
	}
	if err := number(field, v); err != nil {
		return setting{}, err
	}
	return setting{Value: Number(v.Number), S: j.scale.Circumference(v.Number)}, nil
}
