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

// Module is one control module that holds the value.
type Module struct {
	Name     string // "" for the only one, else engine, gearbox, brake, stability, body, transfer, cluster, other…
	Kind     string // the contract's value_kind
	Quantity string
	Unit     string

	AsFound   Value // as read before the work, zero if not read
	Original  Value // as the vehicle left the factory
	Estimated bool  // Original was worked out from the placard size
	Now       Value // stored at present, as last read or written and taken
	Step      float64
	Min, Max  *float64
	List      []ListEntry
	Direction string
	Question  string // doubt about the entry: entry_unit, entry_mismatch, "" none
	Shown     string // unit in which the tool shows a length: in, cm, m; "" as in Unit

	WrittenSeq int64 // sequence of the last change that took
}

// DriveState is one drive.
type DriveState struct {
	DriveFact
	Started  bool
	Parked   bool
	ReadBack Value // zero if not known
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

// Value gives the word answered to a question, "" if it is not answered.
func (s *State) Value(q QuestionID) string { return s.Answers[Key{q, ""}].Value }

// Num gives the number answered to a question and whether it is answered.
func (s *State) Num(q QuestionID) (float64, bool) {
	a, ok := s.Answers[Key{q, ""}]
	return a.Number, ok && !a.Skipped
}

// Has says whether a question was answered or skipped.
func (s *State) Has(q QuestionID) bool { return s.HasFor(q, "") }

// HasFor says whether a question about a thing was answered or skipped.
func (s *State) HasFor(q QuestionID, about string) bool {
	_, ok := s.Answers[Key{q, about}]
	return ok
}

// Home says whether the work is done at home.
func (s *State) Home() bool { return s.Value(QPlace) == "home" }

// Main is the module whose value the dash follows: the first named. Nil
// before a stored value is known.
func (s *State) Main() *Module {
	if len(s.Modules) == 0 {
		return nil
	}
	return &s.Modules[0]
}

// Module finds a module by name.
func (s *State) Module(name string) *Module {
	for i := range s.Modules {
		if s.Modules[i].Name == name {
			return &s.Modules[i]
		}
	}
	return nil
}

// Target gives the latest target of a module, nil if there is none.
func (s *State) Target(module string) *TargetFact {
	for i := len(s.Targets) - 1; i >= 0; i-- {
		if s.Targets[i].Module == module {
			return &s.Targets[i]
		}
	}
	return nil
}

// CurrentDrive is the drive planned or under way, nil if none is.
func (s *State) CurrentDrive() *DriveState {
	if len(s.Drives) == 0 {
		return nil
	}
	d := &s.Drives[len(s.Drives)-1]
	if d.Parked {
		return nil
	}
	return d
}

// Driving says whether a drive is under way: nothing may be asked.
func (s *State) Driving() bool {
	d := s.CurrentDrive()
	return d != nil && d.Started && !d.Parked
}

// Writes counts the changes that took and were meant to correct.
func (s *State) Writes() int {
	n := 0
	for _, c := range s.Changes {
		if c.Took && c.Why == "target" && c.Module == s.mainName() {
			n++
		}
	}
	return n
}

func (s *State) mainName() string {
	if m := s.Main(); m != nil {
		return m.Name
	}
	return ""
}

// allOriginals says whether every module's original value is written down.
func (s *State) allOriginals() bool {
	for i := range s.Modules {
		if s.Modules[i].Original.Zero() && s.Modules[i].AsFound.Zero() {
			return false
		}
	}
	return true
}

// backedUp says whether every module that will be written has a backup.
func (s *State) backedUp() bool {
	if len(s.Modules) == 0 {
		return false
	}
	for i := range s.Modules {
		if !s.hasBackup(s.Modules[i].Name) {
			return false
		}
	}
	return true
}

// hasBackup says whether a module's original data is kept. A backup that names
// no module stands for all.
func (s *State) hasBackup(module string) bool {
	for _, b := range s.Backups {
		if b.Module == "" || b.Module == module {
			return true
		}
	}
	return false
}

// allAgree says whether no write is under way and every module reads back what
// was last meant for it.
func (s *State) allAgree() bool {
	if s.Writing != nil {
		return false
	}
	for i := range s.Modules {
		t := s.Target(s.Modules[i].Name)
		if t == nil || t.Value != s.Modules[i].Now {
			return false
		}
	}
	return len(s.Modules) > 0
}

// HalfDone says whether a set of modules has been written in part.
func (s *State) HalfDone() bool {
	if len(s.Modules) < 2 {
		return false
	}
	done := 0
	for i := range s.Modules {
		if t := s.Target(s.Modules[i].Name); t != nil && t.Value == s.Modules[i].Now {
			done++
		}
	}
	return s.Writes() > 0 && done > 0 && done < len(s.Modules)
}

// LastCodes is the latest reading of codes and lamps, nil before the first.
func (s *State) LastCodes() *CodesFact {
	if len(s.Codes) == 0 {
		return nil
	}
	return &s.Codes[len(s.Codes)-1]
}

// roadStops lists the lamps with which no vehicle is driven.
var roadStops = []string{"brake", "stability", "steering", "airbag"}

// roadSafe says whether nothing known forbids a road drive: no brake,
// stability, steering or airbag warning in the latest reading, no write broken
// off, no half-done set with a brake or stability module in it.
func (s *State) roadSafe() bool {
	if c := s.LastCodes(); c != nil {
		for _, l := range c.Lamps {
			if slices.Contains(roadStops, l) {
				return false
			}
		}
	}
	if s.Writing != nil && (s.Writing.Word == "broke_off" || s.Writing.Word == "no_answer") {
		return false
	}
	if s.HalfDone() {
		for i := range s.Modules {
			if n := s.Modules[i].Name; n == "brake" || n == "stability" {
				return false
			}
		}
	}
	return true
}

// codesAfterLastDrive says whether codes and lamps were read after the last
// drive.
func (s *State) codesAfterLastDrive() bool {
	n := len(s.Drives)
	if n == 0 {
		return false
	}
	for _, c := range s.Codes {
		if c.When == "after_drive" && c.Drive == s.Drives[n-1].Drive {
			return true
		}
	}
	return false
}
