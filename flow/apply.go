package flow

import (
	"slices"
	"strconv"
)

// apply adds one entry to the state: the only way to the next state. It
// computes nothing; it believes what the entry recorded.
func (s *State) apply(e *Entry) {
	s.Seq, s.Last = e.Seq, e.At
	if e.Clock {
		s.ClockBack = true
	}
	switch f := e.Fact.(type) {
	case *PersonFact:
		s.People = with(s.People, f.Who, Person{Who: f.Who, Role: f.Role, Identity: e.Item(ItemIdentity),
			Name: e.Item(ItemName), Stated: f.Stated, ByCode: f.ByCode, Called: f.Called})
		s.Stated = s.Stated || f.Stated
		s.applyOwner(f)
		if s.Opened.IsZero() {
			s.Opened, s.Since = e.At, e.At
		}
	case *HeardFact:
		s.heard = f.ID
		if f.ID != "" {
			s.ByWho[f.ID] = e.Who
			if f.What == "tap" {
				s.Taps[f.ID] = true
			}
		}
		if f.What == "edit" {
			s.editOf = f.Target
		}
	case *SaidFact:
		switch f.Key {
		case "late.still":
			s.StillAt = e.At
		case "tap.stale":
			s.stale = true
		}
	case *AskedFact:
		s.stale = s.stale && s.Asked != nil && s.sameAsk(s.Asks, f)
		s.Asked, s.Asks = f, f.Ask
		s.AskedAt, s.Since = e.At, e.At
		s.AskLog = append(s.AskLog, askedAbout{f.Question, f.About})
	case *PhaseFact:
		s.Phase, s.Asked, s.Since, s.stale = f.Phase, nil, e.At, false
		if f.Event == EvReopen || f.Event == EvApproved || (f.Event == EvRecover && s.Stopped != "") {
			s.Reopened++
			s.Stopped = ""
		}
		if f.Event == EvRetarget || f.Event == EvRecover {
			s.Waits = false
			if f.Event == EvRecover {
				s.Waiting = nil
			}
		}
		s.dropWrite(f.Event)
	case *AnswerFact:
		if f.Question == QAmend {
			s.Edits = s.Edits[min(1, len(s.Edits)):] // the first one was asked about
			break
		}
		s.answered(e, *f)
		s.Self = s.Self || f.Self
	case *VehicleFact:
		s.Vehicle = e.Item(ItemVehicle)
		s.answered(e, AnswerFact{Question: QVehicle})
	case *KnownFact:
		s.Known, s.KnownSet = *f, f.Job
	case *VINFact:
		s.VIN = e.Item(ItemVIN)
		s.answered(e, AnswerFact{Question: QVIN, Value: f.Check})
	case *OdometerFact:
		s.answered(e, AnswerFact{Question: QOdometer, About: f.When, Number: f.Value, Unit: f.Unit})
	case *ChecklistFact:
		s.creditLines(e, f)
		s.Checks = with(s.Checks, f.List, *f)
	case *CodesFact:
		s.Codes = append(s.Codes, *f)
		if f.When == "before" {
			s.answered(e, AnswerFact{Question: QCodes})
		}
	case *SizeFact:
		s.Sizes = with(s.Sizes, f.Which, *f)
		s.answered(e, AnswerFact{Question: sizeQuestion[f.Which], Value: f.Text})
	case *StoredFact:
		s.applyStored(f)
		s.credit(e, Key{QStored, f.Module})
	case *FileFact:
		s.Files++
		s.TrackFile = s.TrackFile || f.Use == "track"
	case *BackupFact:
		s.Backups = append(s.Backups, *f)
		s.credit(e, Key{QBackup, ""})
		if h := e.Item(ItemSHA256); h != "" {
			s.BackupHash = h
		}
	case *TargetFact:
		s.Targets = append(s.Targets, *f)
	case *WriteFact:
		s.Writing = f
	case *ChangeFact:
		s.applyChange(e, f)
	case *DriveFact:
		s.applyDrive(f)
		if f.What == "go" || f.What == "parked" {
			s.credit(e, Key{QDrive, f.What})
		}
	case *ReadingFact:
		s.Readings = append(s.Readings, *f)
		s.credit(e, Key{QDrive, strconv.Itoa(f.Number)})
	case *TrackFact:
		s.Tracks = append(s.Tracks, *f)
	case *StruckFact:
		s.applyStruck(f)
	case *ErrorsFact:
		s.Errors = f
	case *DecisionFact:
		s.Decision = f
		s.Decisions++
	case *GateFact:
		s.Gates = with(s.Gates, f.Name, f.Open)
	case *HoldFact:
		s.applyHold(e, f)
	case *WaiverFact:
		s.Waivers = with(s.Waivers, f.Gate, *f)
		s.Waived = true
		s.Self = s.Self || f.Self
	case *AmendedFact:
		if f.By == "edit" && e.Item(ItemText) != "" && !f.Waits {
			s.Edits = slices.DeleteFunc(slices.Clone(s.Edits), func(d Edit) bool { return d.Of == s.editOf })
			s.Edits = append(s.Edits, Edit{s.editOf, e.Item(ItemText)})
		}
		s.applyWaiting(f, e.Item(ItemText))
	case *DeviationFact:
		s.Deviations = append(s.Deviations, *f)
		if f.What == "other_setting" && !f.Undone && f.Own == 0 {
			s.OtherWords = e.Item(ItemOther)
		}
		if m := s.Module(f.Module); m != nil && f.What == "write_before_backup" && !f.Undone {
			m.Now = f.Value
		}
	case *PauseFact:
		s.Paused = f.Paused
	case *HandOverFact:
		s.Awaits = e.Item(ItemName)
		if f.To != "" {
			s.Owner, s.Awaits, s.Lent = f.To, "", false
		}
	case *SignOffFact:
		s.SignedOff = true
		s.Self = s.Self || f.Self
	case *AlertFact:
		s.Alerts++
		s.applyAlert(f)
	case *StoppedFact:
		s.Stopped = f.How
		s.Restored = f.How == "restored"
	case *ReminderFact:
		s.Reminders = slices.DeleteFunc(s.Reminders, func(r ReminderFact) bool { return r.What == f.What })
		if !f.Done {
			s.Reminders = append(s.Reminders, *f)
		}
	case *InviteFact:
		s.Invites = slices.DeleteFunc(s.Invites, func(i InviteFact) bool { return i.Hash == f.Hash })
		s.Invites = append(s.Invites, *f)
	case *CautionFact:
		s.Cautions = with(s.Cautions, f.Key, true)
	}
}

// sizeQuestion names the question that a size answers.
var sizeQuestion = map[string]QuestionID{
	"factory": QPlacard, "fitted": QFitted, "factory_other": QAxles, "fitted_other": QAxles,
}

// answered notes that a question is answered, and by which message.
func (s *State) answered(e *Entry, f AnswerFact) {
	k := Key{f.Question, f.About}
	s.Answers[k] = Answer{AnswerFact: f, Who: e.Who, Seq: e.Seq, At: e.At}
	s.credit(e, k)
}

// credit notes which message an answer came of, so that an edit or a deletion
// of the message can amend it.
func (s *State) credit(e *Entry, k Key) {
	if e.Who != "" && s.heard != "" {
		s.By[s.heard] = append(slices.Clone(s.By[s.heard]), k)
	}
}

func (s *State) applyStored(f *StoredFact) {
	if f.Renames && len(s.Modules) > 0 && s.Modules[0].Name == "" {
		s.Modules[0].Name = f.Module
	}
	m := s.Module(f.Module)
	if m == nil {
		s.Modules = append(s.Modules, Module{Name: f.Module})
		m = &s.Modules[len(s.Modules)-1]
	}
	m.Kind, m.Quantity, m.Unit = f.KindName, f.Quantity, f.Unit
	m.Step, m.Min, m.Max = f.Step, f.Min, f.Max
	m.List, m.Direction, m.Question, m.Shown = f.List, f.Direction, f.Questioned, f.Shown
	if f.Which == "as_found" {
		if m.Original == f.Value {
			m.Original = Value{} // it was taken for the factory's
		}
		m.AsFound = f.Value
	} else {
		m.Original, m.Estimated = f.Value, f.Estimated
	}
	if m.WrittenSeq == 0 {
		// Until something is written, what is stored now is what was found.
		m.Now = m.AsFound
		if m.Now.Zero() {
			m.Now = m.Original
		}
	}
}

func (s *State) applyChange(e *Entry, f *ChangeFact) {
	if n := len(s.Changes); n > 0 && s.Changes[n-1].Number == f.Number {
		s.Changes[n-1] = *f // its read-back was typed anew
	} else {
		s.Changes = append(s.Changes, *f)
	}
	s.Writing = nil
	if f.Setting == otherName {
		s.applyOther(e, f)
		return // someone else's setting: no value of ours
	}
	if f.Took {
		s.Hold = nil // its release was for this write
		delete(s.Broken, f.Module)
	}
	m := s.Module(f.Module)
	if m == nil {
		return
	}
	if !f.ReadBack.Zero() {
		m.Now = f.ReadBack
	}
	if f.Took {
		m.WrittenSeq = e.Seq
	}
}

// dropWrite ends a write that a move leaves behind: one that has not begun to
// change anything when the target moved, any when recovering begins.
func (s *State) dropWrite(ev Event) {
	w := s.Writing
	if w == nil {
		if ev == EvRecover {
			s.Recovers++
			s.RecoverFrom = len(s.Changes)
		}
		return
	}
	switch {
	case ev == EvRecover:
		s.Recovers++
		s.RecoverFrom = len(s.Changes)
		if w.Word != "begun" && w.Word != "refused" {
			s.Broken[w.Module] = true
		}
		s.Writing, s.Hold = nil, nil
	case ev == EvRetarget && (w.Word == "begun" || w.Word == "refused"):
		s.Writing, s.Hold = nil, nil
	}
}

func (s *State) applyDrive(f *DriveFact) {
	n := len(s.Drives)
	if f.What == "dropped" {
		s.Drives = slices.DeleteFunc(slices.Clone(s.Drives), func(d DriveState) bool { return d.Drive == f.Drive && !d.Started })
		return
	}
	if n == 0 || s.Drives[n-1].Drive != f.Drive {
		s.Drives = append(s.Drives, DriveState{DriveFact: *f})
		n++
		if m := s.Main(); m != nil && m.WrittenSeq > 0 {
			s.Drives[n-1].ReadBack = m.Now
		}
	}
	d := &s.Drives[n-1]
	switch f.What {
	case "go":
		d.Started = true
	case "parked":
		d.Started, d.Parked = true, true
	}
	if f.Source != "" {
		d.Source = f.Source
	}
	if len(f.Speeds) > 0 {
		d.Speeds = f.Speeds
	}
	if f.Track > 0 {
		d.Odometer, d.Track = f.Odometer, f.Track
	}
}

func (s *State) applyStruck(f *StruckFact) {
	for i := range s.Readings {
		r := &s.Readings[i]
		if r.Number != f.Number {
			continue
		}
		switch f.What {
		case "struck":
			r.Struck, r.Questioned = true, false
		case "kept":
			r.Struck, r.Questioned = false, false
		case "questioned":
			r.Questioned, r.Expected = true, f.Expected
		case "corrected", "swapped":
			r.Indicated, r.Reference, r.Questioned = f.Indicated, f.Reference, false
		}
	}
}

// applyWaiting keeps an amendment for after the read-back, and drops it once it
// is taken up. One without a text is an answer already given anew.
func (s *State) applyWaiting(f *AmendedFact, text string) {
	switch {
	case f.Waits && text != "":
		s.Waiting = append(slices.Clone(s.Waiting), WaitingAmendment{f.Question, f.About, f.By, text})
	case f.Waits:
		s.Waits = true
	default:
		s.Waiting = slices.DeleteFunc(slices.Clone(s.Waiting), func(w WaitingAmendment) bool {
			return w.Question == f.Question && w.About == f.About
		})
	}
}

// applyOwner gives the work to whoever opens the job; a helper or supervisor has
// it only until somebody speaks who does such work.
func (s *State) applyOwner(f *PersonFact) {
	works := f.Role == Technician || f.Role == Customer
	if !f.Called && (s.Owner == "" || works && s.Lent) {
		s.Owner, s.Lent = f.Who, !works
	}
}

// applyAlert notes who was told; the helper is called first, the supervisor
// last, and the last one told is named.
func (s *State) applyAlert(f *AlertFact) {
	switch {
	case f.Told:
		s.Told[f.What] = f.To
	case f.Room:
		s.Told[f.What] = alertRoom
	case s.Told[f.What] == f.To, s.Told[f.What] == alertRoom:
		delete(s.Told, f.What)
	}
}

func (s *State) applyHold(e *Entry, f *HoldFact) {
	s.Self = s.Self || f.Self
	switch f.Now {
	case "asked":
		s.Hold, s.HoldAt, s.HoldFrom, s.HoldCalls = f, e.At, e.Who, 0
	case "called":
		s.HoldAt = e.At
		s.HoldCalls++
	case "released", "refused":
		if s.Hold != nil {
			s.Hold = f
		}
	}
}
