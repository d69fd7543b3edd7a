package flow

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

// DeviationFact records something done out of turn.
type DeviationFact struct {
	Module string `json:"module,omitempty"`
	Own    int    `json:"own,omitempty"` // it was made this change of its own
	Undone bool   `json:"undone,omitempty"`
	Value  Value  `json:"value,omitzero"`
	What   string `json:"what"` // write_before_backup, write_before_release, other_value, other_setting, odometer
}

// SignOffFact records a supervisor's sign-off.
type SignOffFact struct {
	Self bool `json:"self,omitempty"`
}
