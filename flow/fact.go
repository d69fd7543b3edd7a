package flow

import "time"

// The fields of each fact stand in the order of their keys: the stored form is then canonical
// (RFC 8785) as it is written, and a leaf needs no second pass.

// Fact is the content of an entry: a conclusion with its figures, never
// something to be worked out again on reading.
type Fact interface{ Kind() Kind }

// The kinds of entry. Names that the contract gives to facts are the same here.
const (
	KindPerson    Kind = "person"
	KindHeard     Kind = "heard"
	KindSaid      Kind = "said"
	KindAsked     Kind = "asked"
	KindPhase     Kind = "phase"
	KindAnswer    Kind = "answer"
	KindVehicle   Kind = "vehicle"
	KindVIN       Kind = "vin"
	KindKnown     Kind = "known"
	KindOdometer  Kind = "odometer"
	KindChecklist Kind = "checklist"
	KindCodes     Kind = "codes"
	KindSize      Kind = "size"
	KindStored    Kind = "stored"
	KindFile      Kind = "file"
	KindBackup    Kind = "backup"
	KindTarget    Kind = "target"
	KindWrite     Kind = "write"
	KindChange    Kind = "change"
	KindDrive     Kind = "drive"
	KindReading   Kind = "reading"
	KindStruck    Kind = "struck"
	KindTrack     Kind = "track"
	KindErrors    Kind = "errors"
	KindDecision  Kind = "decision"
	KindGate      Kind = "gate"
	KindHold      Kind = "hold"
	KindWaiver    Kind = "waiver"
	KindAmended   Kind = "amended"
	KindDeviation Kind = "deviation"
	KindNote      Kind = "note"
	KindPause     Kind = "pause"
	KindHandOver  Kind = "handover"
	KindSignOff   Kind = "signoff"
	KindAlert     Kind = "alert"
	KindStopped   Kind = "stopped"
	KindReminder  Kind = "reminder"
	KindInvite    Kind = "invite"
	KindCaution   Kind = "caution"
	KindErased    Kind = "erased"
)

// PersonFact records who speaks, or is called before he has: items identity and
// name.
type PersonFact struct {
	ByCode bool `json:"by_code,omitempty"`
	Called bool `json:"called,omitempty"` // has not spoken
	Role   Role `json:"role"`
	Stated bool `json:"stated,omitempty"`
	Who    Who  `json:"who"`
}

// HeardFact records that a message came in: item text.
type HeardFact struct {
	Ask    int    `json:"ask,omitempty"`    // question that stood open then
	Choice string `json:"choice,omitempty"` // choice that was tapped
	ID     string `json:"id,omitempty"`     // the network's identifier of the message
	Target string `json:"target,omitempty"` // message that is edited or deleted
	Trust  Trust  `json:"trust,omitempty"`  // of the device it was written on
	What   string `json:"what"`             // text, tap, file, edit, delete, unread
}

// SaidFact records what the assistant said: item text.
type SaidFact struct {
	Ask  int       `json:"ask,omitempty"` // question it asks, if it asks one
	Key  string    `json:"key"`           // key in the catalogue
	To   []Who     `json:"to,omitempty"`
	What ReplyKind `json:"what"`
}

// AskedFact opens a question; the one before it is thereby closed.
type AskedFact struct {
	About    string     `json:"about,omitempty"` // module, reading, gate… that it is about
	Ask      int        `json:"ask"`             // counts the questions of the job
	Choices  []string   `json:"choices,omitempty"`
	Question QuestionID `json:"question"`
	To       Role       `json:"to,omitempty"` // whose turn it is; empty: whoever does the work
}

// PhaseFact records a move of the job.
type PhaseFact struct {
	Event Event `json:"event"`
	Phase Phase `json:"phase"`
}

// AnswerFact records a plain answer to a question.
type AnswerFact struct {
	About    string     `json:"about,omitempty"`
	Number   float64    `json:"number,omitempty"` // in the unit named
	Question QuestionID `json:"question"`
	Self     bool       `json:"self,omitempty"` // released, waived or signed off by the one who answered, by policy
	Skipped  bool       `json:"skipped,omitempty"`
	Unit     string     `json:"unit,omitempty"`
	Value    string     `json:"value,omitempty"` // one of the question's words
}

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
	Change int      `json:"change,omitempty"` // read after this change
	Drive  int      `json:"drive,omitempty"`  // read after this drive
	Lamps  []string `json:"lamps"`
	List   []string `json:"list"`
	Module string   `json:"module,omitempty"`
	New    []string `json:"new"`
	When   string   `json:"when"` // before, after_write, after_drive
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

// FileFact records evidence: items file and sha256.
type FileFact struct {
	Bytes int64  `json:"bytes"`
	Drive int    `json:"drive,omitempty"`
	Type  string `json:"type"`
	Use   string `json:"use"` // backup, photo, track, other
}

// BackupFact records a backup: items file and sha256, or where.
type BackupFact struct {
	Attested   bool   `json:"attested,omitempty"`
	Bytes      int64  `json:"bytes,omitempty"`
	Module     string `json:"module,omitempty"`
	ValuesOnly bool   `json:"values_only,omitempty"`
}

// TargetFact records a value to write, with its uncertainty and method.
type TargetFact struct {
	CircumferenceMM float64 `json:"circumference_mm"`
	High            float64 `json:"high"`
	Limited         string  `json:"limited,omitempty"`
	Low             float64 `json:"low"`
	Method          string  `json:"method,omitempty"`
	Module          string  `json:"module,omitempty"`
	Program         string  `json:"program,omitempty"`
	Quantity        string  `json:"quantity"`
	Unit            string  `json:"unit"`
	Value           Value   `json:"value"`
}

// WriteFact records a step of a write under way: what the tool said.
type WriteFact struct {
	Again   bool   `json:"again,omitempty"` // broken off or silent twice in a row
	Change  int    `json:"change"`
	From    Value  `json:"from"`
	Module  string `json:"module,omitempty"`
	Of      int    `json:"of,omitempty"`      // puts back what this change changed
	Setting string `json:"setting,omitempty"` // where it is not the module's stored value: axle_ratio, backup, other
	To      Value  `json:"to"`
	Try     int    `json:"try,omitempty"`
	Why     string `json:"why,omitempty"` // access, conditions, value, not_supported
	Word    string `json:"word"`          // begun, took, refused, broke_off, no_answer, not_sure
}

// ChangeFact records one change: before, after and what was read back.
type ChangeFact struct {
	After    Value  `json:"after,omitzero"`  // of another setting: left out where it is not known
	Before   Value  `json:"before,omitzero"` // of another setting: left out where it is not known
	Module   string `json:"module,omitempty"`
	Number   int    `json:"number"`             // the same again: the read-back was typed anew
	Of       int    `json:"of,omitempty"`       // puts back what this change changed
	ReadBack Value  `json:"read_back,omitzero"` // none where it was refused
	Setting  string `json:"setting"`
	Took     bool   `json:"took"`
	Why      string `json:"why,omitempty"` // target, restore, undo, own
}

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
	Decimals   bool    `json:"decimals,omitempty"`
	Drive      int     `json:"drive"`
	Expected   float64 `json:"expected,omitempty"`
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
	Expected  float64 `json:"expected,omitempty"`
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

// GateFact records that a gate opened or was found closed.
type GateFact struct {
	Name  GateName `json:"name"`
	Needs string   `json:"needs,omitempty"`
	Open  bool     `json:"open"`
}

// HoldFact records a hold point: asked, released, refused or called on.
type HoldFact struct {
	Module string `json:"module,omitempty"`
	Now    string `json:"now"` // asked, released, refused, called
	Self   bool   `json:"self,omitempty"`
	Value  Value  `json:"value"`
	What   string `json:"what"` // write or restore
}

// WaiverFact records a waived gate; the reason is an item, that one was given
// stays.
type WaiverFact struct {
	Approved bool     `json:"approved,omitempty"` // the shop is stated to be an approved workshop
	Gate     GateName `json:"gate"`
	Reason   bool     `json:"reason"`
	Self     bool     `json:"self,omitempty"`
}

// AmendedFact records that an answer was changed; the new answer is an entry
// of its own.
type AmendedFact struct {
	About    string     `json:"about,omitempty"`
	By       string     `json:"by"` // words, edit, delete
	From     string     `json:"from,omitempty"`
	Question QuestionID `json:"question"`
	To       string     `json:"to,omitempty"`
	Waits    bool       `json:"waits,omitempty"` // a write may have changed the module: its read-back comes first
}

// DeviationFact records something done out of turn.
type DeviationFact struct {
	Module string `json:"module,omitempty"`
	Own    int    `json:"own,omitempty"` // it was made this change of its own
	Undone bool   `json:"undone,omitempty"`
	Value  Value  `json:"value,omitzero"`
	What   string `json:"what"` // write_before_backup, other_value, other_setting, odometer
}

// NoteFact records a free note: item text.
type NoteFact struct{}

// PauseFact records a pause or its end.
type PauseFact struct {
	Paused bool `json:"paused"`
}

// HandOverFact records that the work passed to another person: item name.
type HandOverFact struct {
	Sup bool `json:"reassigned,omitempty"`
	To  Who  `json:"to,omitempty"` // empty: not in the thread yet
}

// SignOffFact records a supervisor's sign-off.
type SignOffFact struct {
	Self bool `json:"self,omitempty"`
}

// AlertFact records that someone was called.
type AlertFact struct {
	Room bool   `json:"room,omitempty"` // nobody was told in the thread, but the shop's room of alerts was
	To   Role   `json:"to"`
	Told bool   `json:"told,omitempty"` // somebody else of that role reads the thread and was told
	What string `json:"what"`           // supervisor, helper, broke_off, new_codes, hold_waits, too_many, odometer, odometer_below
}

// StoppedFact records why a job ended.
type StoppedFact struct {
	How string `json:"how"` // done, best, cannot_fix, restored, stopped, approved_workshop
}

// ReminderFact records a reminder that was set or given.
type ReminderFact struct {
	Day  string `json:"day"` // 2006-01-02
	Done bool   `json:"done,omitempty"`
	What string `json:"what"`
}

// InviteFact records that a guest code was made; the code itself is shown once
// and only its hash is kept.
type InviteFact struct {
	Hash string `json:"hash"`
	Used bool   `json:"used,omitempty"`
}

// CautionFact records that a caution was shown, so that it is shown once.
type CautionFact struct {
	Key string `json:"key"`
}

// ErasedFact records an erasure: which items of which entries, and why.
type ErasedFact struct {
	Items []ErasedItem `json:"items"`
	Why   string       `json:"why"`
}

// ErasedItem names one erased item.
type ErasedItem struct {
	Label string `json:"label"`
	Seq   int64  `json:"seq"`
}

// Unknown is a fact of a kind or version this program does not know. It is
// kept and shown, never dropped.
type Unknown struct{ Name Kind }
