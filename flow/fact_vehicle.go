package flow

// VehicleFact records the vehicle in the user's words: item vehicle.
type VehicleFact struct {
	Known bool `json:"known,omitempty"` // known from an earlier job
}

// KnownFact records what an earlier job left this vehicle at, to be offered.
type KnownFact struct {
	Estimated bool     `json:"estimated,omitempty"`
	Factory   SizeFact `json:"factory"`
	Fitted    SizeFact `json:"fitted"`
	Job       string   `json:"job"`
	Left      Value    `json:"left"`
	Max       *float64 `json:"max,omitempty"`
	Min       *float64 `json:"min,omitempty"`
	Original  Value    `json:"original"`
	Quantity  string   `json:"quantity"`
	Step      float64  `json:"step,omitempty"`
	Unit      string   `json:"unit"`
	ValueKind string   `json:"value_kind"`
}

// VINFact records the check of a VIN: item vin.
type VINFact struct {
	Check string `json:"check"` // holds, fails, not_required
}

// OdometerFact records an odometer reading.
type OdometerFact struct {
	Unit  string  `json:"unit"` // mi or km
	Value float64 `json:"value"`
	When  string  `json:"when,omitempty"` // open, before_recover, after_recover
}

// ChecklistFact records which lines were confirmed, by the one who confirmed.
type ChecklistFact struct {
	Lines []int   `json:"lines"`
	List  string  `json:"list"`
	Volts float64 `json:"volts,omitempty"`
}

// CodesFact records trouble codes and lamps as read: item other for lamps in
// words of no known kind.
type CodesFact struct {
	Change   int      `json:"change,omitempty"` // read after this change
	Drive    int      `json:"drive,omitempty"`  // read after this drive
	Lamps    []string `json:"lamps"`
	List     []string `json:"list"`
	Module   string   `json:"module,omitempty"`
	New      []string `json:"new"`
	NewLamps []string `json:"new_lamps,omitempty"` // lamps that were not on before the work
	Unread   bool     `json:"unread,omitempty"`    // a lamp was told of and the codes are still to be read
	When     string   `json:"when"`                // before, after_write, after_drive
}

// SizeFact records a tyre size, each part where the marking gives it.
type SizeFact struct {
	Aspect       float64 `json:"aspect,omitempty"`
	Construction string  `json:"construction,omitempty"`
	DiameterMM   float64 `json:"diameter_mm,omitempty"`
	LoadIndex    string  `json:"load_index,omitempty"`
	LoadRange    string  `json:"load_range,omitempty"`
	OverallIn    float64 `json:"overall_in,omitempty"`
	RimIn        float64 `json:"rim_in,omitempty"`
	SectionIn    float64 `json:"section_in,omitempty"`
	SectionMM    float64 `json:"section_mm,omitempty"`
	SpeedSymbol  string  `json:"speed_symbol,omitempty"`
	Text         string  `json:"text"`
	Which        string  `json:"which"` // factory, fitted, factory_other, fitted_other (the axle without the sensor)
}

// StoredFact records a stored value of a module as read, or the factory value.
type StoredFact struct {
	Estimated  bool        `json:"estimated"`
	List       []ListEntry `json:"list,omitempty"`
	Max        *float64    `json:"max,omitempty"`
	Min        *float64    `json:"min,omitempty"`
	Module     string      `json:"module,omitempty"`
	Direction  string      `json:"percent_direction,omitempty"`
	Quantity   string      `json:"quantity"`
	Questioned string      `json:"questioned,omitempty"` // entry_unit, entry_mismatch
	Renames    bool        `json:"renames,omitempty"`    // the module that had no name so far is this one
	Shown      string      `json:"shown,omitempty"`      // unit in which the tool shows a length, where not mm
	Step       float64     `json:"step,omitempty"`       // 0: not known
	Unit       string      `json:"unit"`
	Value      Value       `json:"value"`
	KindName   string      `json:"value_kind"` // the contract's value_kind
	Which      string      `json:"which"`      // factory or as_found
}

// ListEntry is one choice of a module that offers a list of sizes.
type ListEntry struct {
	CircumferenceMM float64 `json:"circumference_mm,omitempty"` // 0: not read off
	Label           string  `json:"label"`
}
