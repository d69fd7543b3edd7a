package flow

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

// AlertFact records that someone was called.
type AlertFact struct {
	Room bool   `json:"room,omitempty"` // nobody was told in the thread, but the shop's room of alerts was
	To   Role   `json:"to"`
	Told bool   `json:"told,omitempty"` // somebody else of that role reads the thread and was told
	What string `json:"what"`           // supervisor, helper, broke_off, new_codes, hold_waits, too_many, odometer, odometer_below
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

// StoppedFact records why a job ended.
type StoppedFact struct {
	How string `json:"how"` // done, best, cannot_fix, restored, stopped, approved_workshop
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
