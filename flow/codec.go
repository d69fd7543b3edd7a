package flow

import (
	"encoding/json"
	"fmt"
)

// Kind names the entry.
func (*PersonFact) Kind() Kind { return KindPerson }

// Kind names the entry.
func (*HeardFact) Kind() Kind { return KindHeard }

// Kind names the entry.
func (*SaidFact) Kind() Kind { return KindSaid }

// Kind names the entry.
func (*AskedFact) Kind() Kind { return KindAsked }

// Kind names the entry.
func (*PhaseFact) Kind() Kind { return KindPhase }

// Kind names the entry.
func (*AnswerFact) Kind() Kind { return KindAnswer }

// Kind names the entry.
func (*VehicleFact) Kind() Kind { return KindVehicle }

// Kind names the entry.
func (*KnownFact) Kind() Kind { return KindKnown }

// Kind names the entry.
func (*VINFact) Kind() Kind { return KindVIN }

// Kind names the entry.
func (*OdometerFact) Kind() Kind { return KindOdometer }

// Kind names the entry.
func (*ChecklistFact) Kind() Kind { return KindChecklist }

// Kind names the entry.
func (*CodesFact) Kind() Kind { return KindCodes }

// Kind names the entry.
func (*SizeFact) Kind() Kind { return KindSize }

// Kind names the entry.
func (*StoredFact) Kind() Kind { return KindStored }

// Kind names the entry.
func (*FileFact) Kind() Kind { return KindFile }

// Kind names the entry.
func (*BackupFact) Kind() Kind { return KindBackup }

// Kind names the entry.
func (*TargetFact) Kind() Kind { return KindTarget }

// Kind names the entry.
func (*WriteFact) Kind() Kind { return KindWrite }

// Kind names the entry.
func (*ChangeFact) Kind() Kind { return KindChange }

// Kind names the entry.
func (*DriveFact) Kind() Kind { return KindDrive }

// Kind names the entry.
func (*ReadingFact) Kind() Kind { return KindReading }

// Kind names the entry.
func (*TrackFact) Kind() Kind { return KindTrack }

// Kind names the entry.
func (*StruckFact) Kind() Kind { return KindStruck }

// Kind names the entry.
func (*ErrorsFact) Kind() Kind { return KindErrors }

// Kind names the entry.
func (*DecisionFact) Kind() Kind { return KindDecision }

// Kind names the entry.
func (*GateFact) Kind() Kind { return KindGate }

// Kind names the entry.
func (*HoldFact) Kind() Kind { return KindHold }

// Kind names the entry.
func (*WaiverFact) Kind() Kind { return KindWaiver }

// Kind names the entry.
func (*AmendedFact) Kind() Kind { return KindAmended }

// Kind names the entry.
func (*DeviationFact) Kind() Kind { return KindDeviation }

// Kind names the entry.
func (*NoteFact) Kind() Kind { return KindNote }

// Kind names the entry.
func (*PauseFact) Kind() Kind { return KindPause }

// Kind names the entry.
func (*HandOverFact) Kind() Kind { return KindHandOver }

// Kind names the entry.
func (*SignOffFact) Kind() Kind { return KindSignOff }

// Kind names the entry.
func (*AlertFact) Kind() Kind { return KindAlert }

// Kind names the entry.
func (*StoppedFact) Kind() Kind { return KindStopped }

// Kind names the entry.
func (*ReminderFact) Kind() Kind { return KindReminder }

// Kind names the entry.
func (*InviteFact) Kind() Kind { return KindInvite }

// Kind names the entry.
func (*CautionFact) Kind() Kind { return KindCaution }

// Kind names the entry.
func (*ErasedFact) Kind() Kind { return KindErased }

// Kind names the entry as it was stored.
func (u *Unknown) Kind() Kind { return u.Name }

// decoders reads the stored form of each kind and version. A version that has
// once been written keeps its decoder for ever; a new form is a new version.
var decoders = map[Kind]map[int]func() Fact{
	KindPerson:    {1: func() Fact { return new(PersonFact) }},
	KindHeard:     {1: heard, 2: heard}, // 2: with what is known of the device
	KindSaid:      {1: func() Fact { return new(SaidFact) }},
	KindAsked:     {1: func() Fact { return new(AskedFact) }},
	KindPhase:     {1: func() Fact { return new(PhaseFact) }},
	KindAnswer:    {1: func() Fact { return new(AnswerFact) }},
	KindVehicle:   {1: func() Fact { return new(VehicleFact) }},
	KindKnown:     {1: func() Fact { return new(KnownFact) }},
	KindVIN:       {1: func() Fact { return new(VINFact) }},
	KindOdometer:  {1: func() Fact { return new(OdometerFact) }},
	KindChecklist: {1: func() Fact { return new(ChecklistFact) }},
	KindCodes:     {1: func() Fact { return new(CodesFact) }},
	KindSize:      {1: func() Fact { return new(SizeFact) }},
	KindStored:    {1: func() Fact { return new(StoredFact) }},
	KindFile:      {1: func() Fact { return new(FileFact) }},
	KindBackup:    {1: func() Fact { return new(BackupFact) }},
	KindTarget:    {1: func() Fact { return new(TargetFact) }},
	KindWrite:     {1: func() Fact { return new(WriteFact) }},
	KindChange:    {1: func() Fact { return new(ChangeFact) }},
	KindDrive:     {1: func() Fact { return new(DriveFact) }},
	KindReading:   {1: func() Fact { return new(ReadingFact) }},
	KindTrack:     {1: func() Fact { return new(TrackFact) }},
	KindStruck:    {1: func() Fact { return new(StruckFact) }},
	KindErrors:    {1: func() Fact { return new(ErrorsFact) }},
	KindDecision:  {1: func() Fact { return new(DecisionFact) }},
	KindGate:      {1: func() Fact { return new(GateFact) }},
	KindHold:      {1: func() Fact { return new(HoldFact) }},
	KindWaiver:    {1: func() Fact { return new(WaiverFact) }},
	KindAmended:   {1: func() Fact { return new(AmendedFact) }},
	KindDeviation: {1: func() Fact { return new(DeviationFact) }},
	KindNote:      {1: func() Fact { return new(NoteFact) }},
	KindPause:     {1: func() Fact { return new(PauseFact) }},
	KindHandOver:  {1: func() Fact { return new(HandOverFact) }},
	KindSignOff:   {1: func() Fact { return new(SignOffFact) }},
	KindAlert:     {1: func() Fact { return new(AlertFact) }},
	KindStopped:   {1: func() Fact { return new(StoppedFact) }},
	KindReminder:  {1: func() Fact { return new(ReminderFact) }},
	KindInvite:    {1: func() Fact { return new(InviteFact) }},
	KindCaution:   {1: func() Fact { return new(CautionFact) }},
	KindErased:    {1: func() Fact { return new(ErasedFact) }},
}

// version is the version in which each kind is written today.
func version(k Kind) int {
	if k == KindHeard {
		return 2
	}
	return 1
}

func heard() Fact { return new(HeardFact) }

// Encode gives the stored form of an entry's fact: a JSON object.
func Encode(e *Entry) (json.RawMessage, error) {
	if u, ok := e.Fact.(*Unknown); ok {
		if len(e.Raw) == 0 {
			return nil, fmt.Errorf("encode %s: no stored form", u.Name)
		}
		return e.Raw, nil
	}
	b, err := json.Marshal(e.Fact)
	if err != nil {
		return nil, fmt.Errorf("encode %s: %w", e.Kind, err)
	}
	return b, nil
}

// Decode reads the stored form into the entry. A kind or version not known
// here becomes Unknown and keeps its stored form.
func Decode(e *Entry, data json.RawMessage) error {
	mk, ok := decoders[e.Kind][e.V]
	if !ok {
		e.Fact, e.Raw = &Unknown{Name: e.Kind}, data
		return nil
	}
	f := mk()
	if err := json.Unmarshal(data, f); err != nil {
		return fmt.Errorf("decode entry %d, %s version %d: %w", e.Seq, e.Kind, e.V, err)
	}
	e.Fact = f
	return nil
}
