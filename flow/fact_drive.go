package flow

import "time"

// DriveFact records the bracket of a drive.
type DriveFact struct {
	Drive    int     `json:"drive"`
	Odometer float64 `json:"odometer,omitempty"` // distance by the odometer, in the dash's unit
	Source   string  `json:"source,omitempty"`   // needle, digits, head-up
	Speeds   []int   `json:"speeds,omitempty"`
	Track    float64 `json:"track,omitempty"` // distance by the track, same unit
	Value    Value   `json:"value"`
	What     string  `json:"what"` // planned, go, parked; source; dropped before it was driven
}

// ReadingFact records one pair of dash and GPS speed.
type ReadingFact struct {
	DashStep   float64 `json:"dash_step,omitempty"` // of a figure typed whole in another unit and converted, in Unit; 0: not so
	Decimals   bool    `json:"decimals,omitempty"`
	Drive      int     `json:"drive"`
	Expected   float64 `json:"expected,omitempty"`
	GPSStep    float64 `json:"gps_step,omitempty"`
	Indicated  float64 `json:"indicated"`
	Number     int     `json:"number"` // counts the job's readings
	Questioned bool    `json:"questioned"`
	Reference  float64 `json:"reference"`
	Seconds    float64 `json:"seconds,omitempty"` // measured mile or kilometre by stopwatch: what Reference comes of
	Struck     bool    `json:"struck"`
	TrackMean  bool    `json:"track_mean,omitempty"`
	Unit       string  `json:"unit"`
	Z          float64 `json:"z,omitempty"`
}

// TrackFact records what a track file gave: steady stretches, no positions.
type TrackFact struct {
	Drive     int           `json:"drive"`
	Format    string        `json:"format"`
	Metres    float64       `json:"metres"`
	Seconds   float64       `json:"seconds"`
	Stretches []StretchFact `json:"stretches,omitempty"`
}

// StretchFact is a piece of a track at a held speed.
type StretchFact struct {
	Seconds float64   `json:"seconds"`
	SpeedMS float64   `json:"speed_ms"` // mean, m/s
	Start   time.Time `json:"start"`
}

// StruckFact changes how a reading counts; the reading itself stays.
type StruckFact struct {
	DashStep  float64 `json:"dash_step,omitempty"` // of a corrected figure, as of a reading
	Expected  float64 `json:"expected,omitempty"`
	GPSStep   float64 `json:"gps_step,omitempty"`
	Indicated float64 `json:"indicated,omitempty"`
	Number    int     `json:"number"`
	Reference float64 `json:"reference,omitempty"`
	What      string  `json:"what"` // struck, kept, corrected, swapped, questioned
}

// SpeedError is dash minus true at one true speed.
type SpeedError struct {
	After     float64 `json:"after"`
	At        float64 `json:"at"`
	Before    float64 `json:"before"`
	PlusMinus float64 `json:"plus_minus"`
	Unit      string  `json:"unit"`
}

// ErrorsFact records the errors at the usual speeds with a value.
type ErrorsFact struct {
	Errors []SpeedError `json:"errors"`
	Method string       `json:"method"`
	Value  Value        `json:"value"`
}

// DecisionFact records what a review decided.
type DecisionFact struct {
	Because  string   `json:"because"`
	Do       string   `json:"do"` // done, write, read, cannot_fix, ask, recover
	Method   string   `json:"method"`
	Near     float64  `json:"near,omitempty"`
	Program  string   `json:"program"`
	Reason   string   `json:"reason,omitempty"` // for programs: which rule decided
	Value    Value    `json:"value"`
	Warnings []string `json:"warnings,omitempty"`
}
