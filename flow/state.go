package flow

import (
	"maps"
	"slices"
	"time"
)

// State is what a job's entries add up to. Only apply assigns its fields;
// everything else reads them.
type State struct {
	Shop string
	Job  string

	Seq    int64     // of the last entry
	Last   time.Time // our time of the last entry
	Phase  Phase
	Since  time.Time // when the open question was asked, or the phase entered
	Opened time.Time

	People map[Who]Person
	Owner  Who    // who does the work
	Lent   bool   // Owner only opened the job, and is nobody who does such work
	Awaits string // item: name of who takes the job over with the first message, "" if nobody is waited for
	Guide  Who    // a helper who took over answering, "" if none

	Asked   *AskedFact // the open question, nil when none
	AskedAt time.Time
	Asks    int
	AskLog  []askedAbout // what each question so far was, in order
	heard   string       // ID of the message last heard
	StillAt time.Time    // when it was last said that messages of another day had come
	lags    map[Who]lag  // how much later than sent messages are heard, the promptest of each
	lastLag lag          // of the message heard last: not among them yet
	stale   bool         // the open question was put again after a tap on an earlier one

	Answers  map[Key]Answer
	By       map[string][]Key // message ID: the answers that came of it
	ByWho    map[string]Who   // message ID: its author
	Taps     map[string]bool  // message IDs that are taps on a choice
	Cautions map[string]bool

	Edits   []Edit // edited messages that wait for their author's word; the first is asked about
	editOf  string // message that was edited last
	Waiting []WaitingAmendment
	Waits   bool // an amended answer moves the target once the write under way is read back

	Vehicle  string    // item; "" once erased
	VIN      string    // item
	Known    KnownFact // what an earlier job left; the zero value: nothing known
	KnownSet string    // job it was left by
	Checks   map[string]ChecklistFact

	Sizes   map[string]SizeFact // by which
	Modules []Module
	Backups []BackupFact

	Targets   []TargetFact // the latest per module counts
	Writing   *WriteFact   // a write under way
	Changes   []ChangeFact
	Drives    []DriveState
	Readings  []ReadingFact
	Tracks    []TrackFact
	Errors    *ErrorsFact
	Decision  *DecisionFact
	Decisions int

	Codes      []CodesFact
	Waivers    map[GateName]WaiverFact
	Gates      map[GateName]bool // as last recorded
	Hold       *HoldFact
	HoldAt     time.Time
	HoldFrom   Who // who gave the answer that is held
	HoldCalls  int // how often somebody was called for it
	Deviations []DeviationFact
	Alerts     int
	Told       map[string]Role // what somebody was called for: who was in the thread and told
	Files      int
	TrackFile  bool

	Others     []OtherSetting // settings changed beside the value, as changes of their own
	OtherWords string         // item: the latest of them in words, before anyone has said what becomes of it

	Recovers    int             // how often recovering was begun
	RecoverFrom int             // changes there were when it was begun last
	Broken      map[string]bool // modules whose write was left in the air when recovering began
	BackupHash  string          // item of the latest backup file; "" once erased

	Paused    bool
	Stopped   string // how the job ended, "" while it runs
	Restored  bool
	SignedOff bool
	Self      bool // something was released or signed off by the one who answered
	Waived    bool
	ClockBack bool
	Invites   []InviteFact
	Reminders []ReminderFact
	Reopened  int
	Stated    bool // someone's role is as stated
}

// WaitingAmendment is a new answer that is taken once the write under way is
// read back: until then a figure is the read-back.
type WaitingAmendment struct {
	Question QuestionID
	About    string
	By       string
	Text     string // item
}

// askedAbout is what a question asked: the same again is the same step.
type askedAbout struct {
	Question QuestionID
	About    string
}

// sameAsk says whether the question counted ask was the step that is open now.
func (s *State) sameAsk(ask int, a *AskedFact) bool {
	return ask >= 1 && ask <= len(s.AskLog) && s.AskLog[ask-1] == askedAbout{a.Question, a.About}
}

// Key names an answer: the question and what it is about.
type Key struct {
	Question QuestionID
	About    string
}

// Answer is a plain answer with its author and entry.
type Answer struct {
	AnswerFact
	Who Who
	Seq int64
	At  time.Time
}

// DriveState is one drive.
type DriveState struct {
	DriveFact
	Started  bool
	Parked   bool
	ReadBack Value // zero if not known
	Changes  int   // changes there were when it was planned
}

// NewState is the state of a job before its first entry.
func NewState(shop, job string) *State {
	return &State{
		Shop: shop, Job: job, Phase: PhaseOpen,
		People: map[Who]Person{}, Answers: map[Key]Answer{},
		By: map[string][]Key{}, ByWho: map[string]Who{}, Taps: map[string]bool{},
		Cautions: map[string]bool{}, Checks: map[string]ChecklistFact{},
		Sizes: map[string]SizeFact{}, Waivers: map[GateName]WaiverFact{},
		Gates: map[GateName]bool{}, Broken: map[string]bool{}, Told: map[string]Role{},
	}
}

// Fold adds up a job's entries.
func Fold(shop, job string, entries []Entry) *State {
	s := NewState(shop, job)
	for i := range entries {
		s.apply(&entries[i])
	}
	return s
}

// Clone copies the state so that the copy can be worked on.
func (s *State) Clone() *State {
	c := *s
	// Small maps that seldom change are shared: apply puts a changed copy in their
	// place (with). Lists that only grow are clipped, so that growing copies them.
	c.Answers = maps.Clone(s.Answers)
	c.By = maps.Clone(s.By)
	c.ByWho = maps.Clone(s.ByWho)
	c.Taps = maps.Clone(s.Taps)
	c.Broken = maps.Clone(s.Broken)
	c.Told = maps.Clone(s.Told)
	c.AskLog = slices.Clip(s.AskLog)
	c.Modules = slices.Clone(s.Modules)
	c.Backups = slices.Clip(s.Backups)
	c.Targets = slices.Clip(s.Targets)
	c.Changes = slices.Clone(s.Changes)
	c.Drives = slices.Clone(s.Drives)
	c.Readings = slices.Clone(s.Readings)
	c.Tracks = slices.Clone(s.Tracks)
	c.Codes = slices.Clip(s.Codes)
	c.Deviations = slices.Clone(s.Deviations)
	c.Others = slices.Clone(s.Others)
	c.Invites = slices.Clone(s.Invites)
	c.Reminders = slices.Clone(s.Reminders)
	if s.Writing != nil {
		w := *s.Writing
		c.Writing = &w
	}
	if s.Hold != nil {
		h := *s.Hold
		c.Hold = &h
	}
	return &c
}

// with is a map with one more entry, the map itself left as it is.
func with[K comparable, V any](m map[K]V, k K, v V) map[K]V {
	c := make(map[K]V, len(m)+1)
	maps.Copy(c, m)
	c[k] = v
	return c
}
