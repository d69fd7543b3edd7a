package flow

import "time"

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

// PersonFact records who speaks: items identity and name.
type PersonFact struct {
	Who    Who  `json:"who"`
	Role   Role `json:"role"`
	Stated bool `json:"stated,omitempty"`
	ByCode bool `json:"by_code,omitempty"`
}

// HeardFact records that a message came in: item text.
type HeardFact struct {
	What    string `json:"what"`              // text, tap, file, edit, delete, wake
	ID      string `json:"id,omitempty"`      // the network's identifier of the message
	Target  string `json:"target,omitempty"`  // message that is edited or deleted
	Ask     int    `json:"ask,omitempty"`     // question that stood open then
	Choice  string `json:"choice,omitempty"`  // choice that was tapped
	Touched string `json:"touched,omitempty"` // reserved
}

// SaidFact records what the assistant said: item text.
type SaidFact struct {
	Key  string    `json:"key"` // key in the catalogue
	What ReplyKind `json:"what"`
	To   []Who     `json:"to,omitempty"`
	Ask  int       `json:"ask,omitempty"` // question it asks, if it asks one
}

// AskedFact opens a question; the one before it is thereby closed.
type AskedFact struct {
	Ask      int        `json:"ask"` // counts the questions of the job
	Question QuestionID `json:"question"`
	About    string     `json:"about,omitempty"` // module, reading, gate… that it is about
	Choices  []string   `json:"choices,omitempty"`
	To       Role       `json:"to,omitempty"` // whose turn it is; empty: whoever does the work
}

// PhaseFact records a move of the job.
type PhaseFact struct {
	Phase Phase `json:"phase"`
	Event Event `json:"event"`
}

// AnswerFact records a plain answer to a question.
type AnswerFact struct {
	Question QuestionID `json:"question"`
	About    string     `json:"about,omitempty"`
	Value    string     `json:"value,omitempty"`  // one of the question's words
	Number   float64    `json:"number,omitempty"` // in the unit named
	Unit     string     `json:"unit,omitempty"`
	Skipped  bool       `json:"skipped,omitempty"`
	Self     bool       `json:"self,omitempty"` // released, waived or signed off by the one who answered, by policy
}

// VehicleFact records the vehicle in the user's words: item vehicle.
type VehicleFact struct {
	Known bool `json:"known,omitempty"` // known from an earlier job
}

// KnownFact records what an earlier job left this vehicle at, to be offered.
type KnownFact struct {
	Job       string   `json:"job"`
	Factory   SizeFact `json:"factory"`
	Fitted    SizeFact `json:"fitted"`
	ValueKind string   `json:"value_kind"`
	Quantity  string   `json:"quantity"`
	Unit      string   `json:"unit"`
	Original  Value    `json:"original"`
	Estimated bool     `json:"estimated,omitempty"`
	Left      Value    `json:"left"`
	Step      float64  `json:"step,omitempty"`
	Min       *float64 `json:"min,omitempty"`
	Max       *float64 `json:"max,omitempty"`
}

// VINFact records the check of a VIN: item vin.
type VINFact struct {
	Check string `json:"check"` // holds, fails, not_required
}

// OdometerFact records an odometer reading.
type OdometerFact struct {
	Value float64 `json:"value"`
	Unit  string  `json:"unit"`           // mi or km
	When  string  `json:"when,omitempty"` // open, before_recover, after_recover
}

// ChecklistFact records which lines were confirmed, by the one who confirmed.
type ChecklistFact struct {
	List  string  `json:"list"`
	Lines []int   `json:"lines"`
	Volts float64 `json:"volts,omitempty"`
}

// CodesFact records trouble codes and lamps as read: item other for lamps in
// words of no known kind.
type CodesFact struct {
	When   string   `json:"when"` // before, after_write, after_drive
	Module string   `json:"module,omitempty"`
	List   []string `json:"list"`
	New    []string `json:"new"`
	Lamps  []string `json:"lamps"`
	Drive  int      `json:"drive,omitempty"`  // read after this drive
	Change int      `json:"change,omitempty"` // read after this change
}

// SizeFact records a tyre size, each part where the marking gives it.
type SizeFact struct {
	Which        string  `json:"which"` // factory, fitted, factory_other, fitted_other (the axle without the sensor)
	Text         string  `json:"text"`
	DiameterMM   float64 `json:"diameter_mm,omitempty"`
	SectionMM    float64 `json:"section_mm,omitempty"`
	OverallIn    float64 `json:"overall_in,omitempty"`
	SectionIn    float64 `json:"section_in,omitempty"`
	Aspect       float64 `json:"aspect,omitempty"`
	RimIn        float64 `json:"rim_in,omitempty"`
	Construction string  `json:"construction,omitempty"`
	LoadIndex    string  `json:"load_index,omitempty"`
	LoadRange    string  `json:"load_range,omitempty"`
	SpeedSymbol  string  `json:"speed_symbol,omitempty"`
}

// StoredFact records a stored value of a module as read, or the factory value.
type StoredFact struct {
	Value      Value       `json:"value"`
	Unit       string      `json:"unit"`
	Quantity   string      `json:"quantity"`
	KindName   string      `json:"value_kind"` // the contract's value_kind
	Which      string      `json:"which"`      // factory or as_found
	Estimated  bool        `json:"estimated"`
	Module     string      `json:"module,omitempty"`
	Step       float64     `json:"step,omitempty"` // 0: not known
	Min        *float64    `json:"min,omitempty"`
	Max        *float64    `json:"max,omitempty"`
	List       []ListEntry `json:"list,omitempty"`
	Direction  string      `json:"percent_direction,omitempty"`
	Questioned string      `json:"questioned,omitempty"` // entry_unit, entry_mismatch
	Shown      string      `json:"shown,omitempty"`      // unit in which the tool shows a length, where not mm
	Renames    bool        `json:"renames,omitempty"`    // the module that had no name so far is this one
}

// ListEntry is one choice of a module that offers a list of sizes.
type ListEntry struct {
	Label           string  `json:"label"`
	CircumferenceMM float64 `json:"circumference_mm,omitempty"` // 0: not read off
}

// FileFact records evidence: items file and sha256.
type FileFact struct {
	Type  string `json:"type"`
	Bytes int64  `json:"bytes"`
	Use   string `json:"use"` // backup, photo, track, other
	Drive int    `json:"drive,omitempty"`
}

// BackupFact records a backup: items file and sha256, or where.
type BackupFact struct {
	Bytes      int64  `json:"bytes,omitempty"`
	Attested   bool   `json:"attested,omitempty"`
	ValuesOnly bool   `json:"values_only,omitempty"`
	Module     string `json:"module,omitempty"`
}

// TargetFact records a value to write, with its uncertainty and method.
type TargetFact struct {
	Value           Value   `json:"value"`
	Unit            string  `json:"unit"`
	Quantity        string  `json:"quantity"`
	Low             float64 `json:"low"`
	High            float64 `json:"high"`
	CircumferenceMM float64 `json:"circumference_mm"`
	Limited         string  `json:"limited,omitempty"`
	Module          string  `json:"module,omitempty"`
	Method          string  `json:"method,omitempty"`
	Program         string  `json:"program,omitempty"`
}

// WriteFact records a step of a write under way: what the tool said.
type WriteFact struct {
	Change int    `json:"change"`
	Word   string `json:"word"`          // begun, took, refused, broke_off, no_answer, not_sure
	Why    string `json:"why,omitempty"` // access, conditions, value, not_supported
	Module string `json:"module,omitempty"`
	From   Value  `json:"from"`
	To     Value  `json:"to"`
	Try    int    `json:"try,omitempty"`

	Setting string `json:"setting,omitempty"` // where it is not the module's stored value: axle_ratio, backup
	Again   bool   `json:"again,omitempty"`   // broken off or silent twice in a row
}

// ChangeFact records one change: before, after and what was read back.
type ChangeFact struct {
	Number   int    `json:"number"`
	Setting  string `json:"setting"`
	Before   Value  `json:"before"`
	After    Value  `json:"after"`
	ReadBack Value  `json:"read_back"`
	Took     bool   `json:"took"`
	Module   string `json:"module,omitempty"`
	Why      string `json:"why,omitempty"` // target, restore, undo
}

// DriveFact records the bracket of a drive.
type DriveFact struct {
	Drive    int     `json:"drive"`
	What     string  `json:"what"` // planned, go, parked
	Value    Value   `json:"value"`
	Source   string  `json:"source,omitempty"` // needle, digits, head-up
	Speeds   []int   `json:"speeds,omitempty"`
	Odometer float64 `json:"odometer,omitempty"` // distance by the odometer, in the dash's unit
	Track    float64 `json:"track,omitempty"`    // distance by the track, same unit
}

// ReadingFact records one pair of dash and GPS speed.
type ReadingFact struct {
	Number     int     `json:"number"` // counts the job's readings
	Indicated  float64 `json:"indicated"`
	Reference  float64 `json:"reference"`
	Unit       string  `json:"unit"`
	Drive      int     `json:"drive"`
	Decimals   bool    `json:"decimals,omitempty"`
	TrackMean  bool    `json:"track_mean,omitempty"`
	Struck     bool    `json:"struck"`
	Questioned bool    `json:"questioned"`
	Expected   float64 `json:"expected,omitempty"`
	Z          float64 `json:"z,omitempty"`
	Seconds    float64 `json:"seconds,omitempty"` // measured mile or kilometre by stopwatch: what Reference comes of
}

// TrackFact records what a track file gave: steady stretches, no positions.
type TrackFact struct {
	Drive     int           `json:"drive"`
	Format    string        `json:"format"`
	Seconds   float64       `json:"seconds"`
	Metres    float64       `json:"metres"`
	Stretches []StretchFact `json:"stretches,omitempty"`
}

// StretchFact is a piece of a track at a held speed.
type StretchFact struct {
	Start   time.Time `json:"start"`
	Seconds float64   `json:"seconds"`
	SpeedMS float64   `json:"speed_ms"` // mean, m/s
}

// StruckFact changes how a reading counts; the reading itself stays.
type StruckFact struct {
	Number    int     `json:"number"`
	What      string  `json:"what"` // struck, kept, corrected, swapped, questioned
	Indicated float64 `json:"indicated,omitempty"`
	Reference float64 `json:"reference,omitempty"`
	Expected  float64 `json:"expected,omitempty"`
}

// SpeedError is dash minus true at one true speed.
type SpeedError struct {
	At        float64 `json:"at"`
	Unit      string  `json:"unit"`
	Before    float64 `json:"before"`
	After     float64 `json:"after"`
	PlusMinus float64 `json:"plus_minus"`
}

// ErrorsFact records the errors at the usual speeds with a value.
type ErrorsFact struct {
	Value  Value        `json:"value"`
	Errors []SpeedError `json:"errors"`
	Method string       `json:"method"`
}

// DecisionFact records what a review decided.
type DecisionFact struct {
	Do       string   `json:"do"` // done, write, read, cannot_fix, ask, recover
	Value    Value    `json:"value"`
	Near     float64  `json:"near,omitempty"`
	Because  string   `json:"because"`
	Reason   string   `json:"reason,omitempty"` // for programs: which rule decided
	Warnings []string `json:"warnings,omitempty"`
	Method   string   `json:"method"`
	Program  string   `json:"program"`
}

// GateFact records that a gate opened or was found closed.
type GateFact struct {
	Name  GateName `json:"name"`
	Open  bool     `json:"open"`
	Needs string   `json:"needs,omitempty"`
}

// HoldFact records a hold point: asked, released, refused or called on.
type HoldFact struct {
	What   string `json:"what"` // write or restore
	Value  Value  `json:"value"`
	Now    string `json:"now"` // asked, released, refused, called
	Self   bool   `json:"self,omitempty"`
	Module string `json:"module,omitempty"`
}

// WaiverFact records a waived gate; the reason is an item, that one was given
// stays.
type WaiverFact struct {
	Gate     GateName `json:"gate"`
	Reason   bool     `json:"reason"`
	Approved bool     `json:"approved,omitempty"` // the shop is stated to be an approved workshop
	Self     bool     `json:"self,omitempty"`
}

// AmendedFact records that an answer was changed; the new answer is an entry
// of its own.
type AmendedFact struct {
	Question QuestionID `json:"question"`
	About    string     `json:"about,omitempty"`
	From     string     `json:"from,omitempty"`
	To       string     `json:"to,omitempty"`
	By       string     `json:"by"` // words, edit, delete
}

// DeviationFact records something done out of turn.
type DeviationFact struct {
	What   string `json:"what"` // write_before_backup, other_value, other_setting
	Value  Value  `json:"value"`
	Module string `json:"module,omitempty"`
	Undone bool   `json:"undone,omitempty"`
}

// NoteFact records a free note: item text.
type NoteFact struct{}

// PauseFact records a pause or its end.
type PauseFact struct {
	Paused bool `json:"paused"`
}

// HandOverFact records that the work passed to another person: item name.
type HandOverFact struct {
	To  Who  `json:"to,omitempty"` // empty: not in the thread yet
	Sup bool `json:"reassigned,omitempty"`
}

// SignOffFact records a supervisor's sign-off.
type SignOffFact struct {
	Self bool `json:"self,omitempty"`
}

// AlertFact records that someone was called.
type AlertFact struct {
	What string `json:"what"` // supervisor, helper, broke_off, new_codes, hold_waits, too_many
	To   Role   `json:"to"`
}

// StoppedFact records why a job ended.
type StoppedFact struct {
	How string `json:"how"` // done, best, cannot_fix, restored, stopped, approved_workshop
}

// ReminderFact records a reminder that was set or given.
type ReminderFact struct {
	What string `json:"what"`
	Day  string `json:"day"` // 2006-01-02
	Done bool   `json:"done,omitempty"`
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
	Seq   int64  `json:"seq"`
	Label string `json:"label"`
}

// Unknown is a fact of a kind or version this program does not know. It is
// kept and shown, never dropped.
type Unknown struct{ Name Kind }
