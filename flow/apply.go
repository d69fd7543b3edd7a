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
		s.hears(e)
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
		if f.Question == QPutBack {
			s.applyPutBack(f)
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
		s.creditCodes(e, f)
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
		s.freeze(f)
	case *ChangeFact:
		s.applyChange(e, f)
		s.creditChange(e, f)
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
