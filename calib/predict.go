package calib

// ErrorAt is the dash's mean error, shown minus true, at true speed v with a stored value, and its 95 % half-width;
// all in dash units. The value must be one of the case's kind.
func (m *Model) ErrorAt(value Value, v float64) (mean, plusMinus float64, err error) {
	s, err := m.setting(value)
	if err != nil {
		return 0, 0, err
	}
	if !(v > 0 && v <= maxSpeed) {
		return 0, 0, bad("speed", "must be above zero, up to %d", maxSpeed)
	}
	mean, sd := m.f.errorAt(s, v)
	return mean, m.f.kappa * sd, nil
}

// Shown is what the dash shows at true speed v with a stored value, and its 95 % half-width.
func (m *Model) Shown(value Value, v float64) (shown, plusMinus float64, err error) {
	mean, plusMinus, err := m.ErrorAt(value, v)
	return v + mean, plusMinus, err
}

// setting finds a value, a list's entry with what was learnt of it.
func (m *Model) setting(value Value) (setting, error) {
	s, err := m.j.settingOf("value", value)
	if err == nil && same(s, m.now) {
		s = m.now
	}
	return s, err
}

// WorkSpeed is W, the true speed that decisions are made at, lowered to the speed symbol; dash unit.
func (m *Model) WorkSpeed() float64 { return m.j.W }

// Entry is the check of the stored factory value against the placard size (section 2, 1). Once confirmed it fits.
func (m *Model) Entry() Entry { return m.j.entry }

// Pairing is the check of front against rear, wear included (section 2, 3).
func (m *Model) Pairing() Pairing { return m.j.pairing }

// Now is the value taken to be stored at present.
func (m *Model) Now() Value { return m.now.Value }
