package calib

import (
	"encoding/json"
	"strconv"
	"strings"

	"milepost/calib/unit"
)

// A Case is one vehicle as it stands: what is known of it and what was read on every drive so far.
// The JSON keys are those of the desk commands; absent and null mean the default named at the field.
type Case struct {
	ID       json.RawMessage `json:"id,omitempty"` // text or number, given back unchanged
	Known    Known           `json:"known"`
	ValueNow *Value          `json:"value_now,omitempty"` // stored at present; default: that of the last drive
	Drives   []Drive         `json:"drives,omitempty"`    // in the order driven

	// OldTyreDrives are drives on the factory tyres at the factory value, before the change (section 6).
	// They tell the dash's own margin and nothing else.
	OldTyreDrives []Drive `json:"old_tyre_drives,omitempty"`
}

// Known is what a person can answer about the vehicle. ValueKind, StoredFactoryValue and the two sizes are
// needed; every other field may be left at its zero value. Values are in the unit of ValueKind.
type Known struct {
	ValueKind          Kind        `json:"value_kind"`
	StoredFactoryValue Value       `json:"stored_factory_value"`
	ValueStep          *float64    `json:"value_step,omitempty"` // default 1
	ValueMin           *float64    `json:"value_min,omitempty"`  // default no limit
	ValueMax           *float64    `json:"value_max,omitempty"`  // default no limit
	ValueList          []ListEntry `json:"value_list,omitempty"` // only with SizeList
	PercentDirection   Direction   `json:"percent_direction,omitempty"`

	// EntryConfirmed: someone has looked again, number, unit and placard size are as the vehicle left the factory.
	// Until then a doubtful number is not built on (section 2, 1).
	EntryConfirmed bool `json:"entry_confirmed,omitempty"`

	FactorySize Size `json:"factory_size"` // the placard's, of the axle that carries the sensor
	NewSize     Size `json:"new_size"`     // fitted on that axle

	TreadNewMM              *float64   `json:"tread_new_mm,omitempty"`
	TreadNowMM              *float64   `json:"tread_now_mm,omitempty"`
	ColdPressureOverPlacard *float64   `json:"cold_pressure_over_placard,omitempty"` // ratio, default 1
	OtherAxle               *OtherAxle `json:"other_axle,omitempty"`
	AllWheelDrive           bool       `json:"all_wheel_drive,omitempty"` // permanent or automatic

	AxleRatioFactory *float64  `json:"axle_ratio_factory,omitempty"` // these two only where the module
	AxleRatioNow     *float64  `json:"axle_ratio_now,omitempty"`     // can't be told of the new gears
	SpeedFrom        SpeedFrom `json:"speed_from,omitempty"`         // default SpeedFromUnknown

	PublishedRevsPerMile *float64 `json:"published_revs_per_mile,omitempty"` // of the new tyre, by its maker
	MeasuredRolloutMM    *float64 `json:"measured_rollout_mm,omitempty"`     // loaded wheel, slow, one turn

	DashUnit       unit.Speed `json:"dash_unit,omitempty"`  // unit.MPH (default) or unit.KMH
	Rule           Rule       `json:"rule,omitempty"`       // default RuleNone
	Policy         Policy     `json:"policy,omitempty"`     // default NeverUnder under that rule, else True
	WorkSpeed      *float64   `json:"work_speed,omitempty"` // true speed, dash unit; default 70 mph or 110 km/h
	GPSDisplayStep *float64   `json:"gps_display_step,omitempty"`
	SpeedSymbol    string     `json:"speed_symbol,omitempty"` // default: the one in the new size's text, if any
	FasterPossible *bool      `json:"faster_possible,omitempty"`
	Threshold      *float64   `json:"threshold,omitempty"` // X of section 9, dash unit; default 1.0 mph or 1.6 km/h

	// EarlierValue is the value that an earlier job left for this very set of tyres (section 10, change of
	// tyre set). It takes the place of all sources of section 3.
	EarlierValue *Value `json:"earlier_value,omitempty"`
}

// Rule is the accuracy rule that the vehicle is under.
type Rule string

// RuleNone leaves the dash free; RuleNeverUnder is the UN R39 kind: indicated speed never below true.
const (
	RuleNone       Rule = "none"
	RuleNeverUnder Rule = "never-under"
)

// Policy says which value is aimed at (section 5).
type Policy string

// PolicyTrue makes the mean error zero at the work speed, PolicyNeverUnder keeps the dash at or above true at
// the test speeds, PolicyDistance makes the odometer right.
const (
	PolicyTrue       Policy = "true"
	PolicyNeverUnder Policy = "never-under"
	PolicyDistance   Policy = "distance"
)

// SpeedFrom is the place where the vehicle takes its speed.
type SpeedFrom string

// The places speed can be taken at. Only the gearbox makes changed axle gears matter.
const (
	SpeedFromWheels  SpeedFrom = "wheels"
	SpeedFromGearbox SpeedFrom = "gearbox"
	SpeedFromUnknown SpeedFrom = "unknown"
)

// ListEntry is one choice of a module that offers sizes.
type ListEntry struct {
	Label           string   `json:"label"`
	CircumferenceMM *float64 `json:"circumference_mm"` // nil: not read off
}

// OtherAxle is the axle that does not carry the sensor. What is absent is as on the sensor's axle.
type OtherAxle struct {
	FactorySize *Size    `json:"factory_size,omitempty"`
	NewSize     *Size    `json:"new_size,omitempty"`
	TreadNowMM  *float64 `json:"tread_now_mm,omitempty"`
}

// A Drive is the readings taken in one go at one stored value.
type Drive struct {
	Value    Value     `json:"value"`
	ReadBack *Value    `json:"read_back,omitempty"` // nil: not known
	Readings []Reading `json:"readings,omitempty"`
	Odometer float64   `json:"odometer,omitempty"` // with Track: the same stretch by odometer and by track,
	Track    float64   `json:"track,omitempty"`    // both in the dash's unit of distance; 0: not compared
}

// A Reading is one glance at both speeds.
type Reading struct {
	Indicated float64 `json:"indicated"` // dash unit
	Reference float64 `json:"reference"` // GPS, dash unit
	Struck    bool    `json:"struck,omitempty"`
	TrackMean bool    `json:"track_mean,omitempty"` // Reference is the mean of 10 s or more of a recorded track

	// DashStep and GPSStep are the steps of the two figures as typed, in the dash unit, where they were typed whole in
	// the other unit and converted; 0: not so. Such a figure has decimals now, and none when it was read.
	DashStep float64 `json:"dash_step,omitempty"`
	GPSStep  float64 `json:"gps_step,omitempty"`

	// MileSeconds is a measured mile by stopwatch, in seconds, in place of Reference (section 6).
	MileSeconds float64 `json:"mile_seconds,omitempty"`
}

// Value is what a module stores: a number, or with a list of sizes a label.
type Value struct {
	Number float64
	Label  string
	bad    bool // neither a number other than 0 nor a text
}

// Number is a stored value that is a number.
func Number(v float64) Value { return Value{Number: v} }

// Label is a stored value that is a choice from a list.
func Label(s string) Value { return Value{Label: s} }

// IsLabel tells a choice from a number.
func (v Value) IsLabel() bool { return v.Label != "" }

// Known is false for the zero Value.
func (v Value) Known() bool { return v.Number != 0 || v.Label != "" }

// MarshalJSON writes a plain decimal, or the label as text.
func (v Value) MarshalJSON() ([]byte, error) {
	switch {
	case v.IsLabel():
		return json.Marshal(v.Label)
	case !v.Known():
		return []byte("null"), nil
	}
	return strconv.AppendFloat(nil, v.Number, 'f', -1, 64), nil
}

// UnmarshalJSON takes a number, a text or null. Anything else is kept as a fault that Target and Review report
// with the field's name, which is not known here.
func (v *Value) UnmarshalJSON(data []byte) error {
	*v = Value{}
	text := strings.TrimSpace(string(data))
	switch {
	case text == "null" || text == "":
		return nil
	case text[0] == '"':
		if err := json.Unmarshal(data, &v.Label); err != nil {
			return err
		}
		v.Label = strings.TrimSpace(v.Label)
		v.bad = v.Label == ""
		return nil
	}
	n, err := strconv.ParseFloat(text, 64)
	v.Number, v.bad = n, err != nil || n == 0
	return nil
}

// Size is a tyre size as text, or with its measures, which then win. The zero Size is an absent one.
type Size struct {
	Text            string
	DiameterMM      float64 // nominal overall diameter; 0: from Text
	SectionHeightMM float64 // 0: from Text
	Flotation       bool    // such sizes measure under their name (section 3)
	bad             bool
}

// SizeText is a size to be read from its marking.
func SizeText(text string) Size { return Size{Text: text} }

type sizeObject struct {
	Text            string  `json:"text"`
	OD              float64 `json:"od_mm"`
	SectionHeightMM float64 `json:"section_height_mm"`
	Flotation       bool    `json:"flotation"`
}

// MarshalJSON writes the text alone where there are no measures.
func (s Size) MarshalJSON() ([]byte, error) {
	if s.DiameterMM == 0 {
		return json.Marshal(s.Text)
	}
	return json.Marshal(sizeObject{s.Text, s.DiameterMM, s.SectionHeightMM, s.Flotation})
}

// UnmarshalJSON takes a text, an object {"text","od_mm","section_height_mm","flotation"} or null; faults are kept
// for Target and Review, as with Value.
func (s *Size) UnmarshalJSON(data []byte) error {
	*s = Size{}
	text := strings.TrimSpace(string(data))
	if text == "null" {
		return nil
	}
	if strings.HasPrefix(text, `"`) {
		return json.Unmarshal(data, &s.Text)
	}
	var o sizeObject
	if err := json.Unmarshal(data, &o); err != nil {
		s.bad = true
		return nil
	}
	*s = Size{Text: o.Text, DiameterMM: o.OD, SectionHeightMM: o.SectionHeightMM, Flotation: o.Flotation}
	return nil
}
