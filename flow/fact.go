package flow

// The fields of each fact stand in the order of their keys: the stored form is then canonical
// (RFC 8785) as it is written, and a leaf needs no second pass. The facts stand by their subject in
// fact_talk.go, fact_vehicle.go, fact_write.go and fact_drive.go.

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

// Unknown is a fact of a kind or version this program does not know. It is
// kept and shown, never dropped.
type Unknown struct{ Name Kind }
