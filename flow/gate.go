package flow

// GateName names a condition that no wording gets past.
type GateName string

// The gates. Regulated, original, backup, read-back and codes are the job's;
// road holds back a drive while a brake, stability, steering or airbag warning
// is on or a brake or stability module is half done.
const (
	GateRegulated GateName = "regulated"
	GateOriginal  GateName = "original"
	GateBackup    GateName = "backup"
	GateReadBack  GateName = "read-back"
	GateRoad      GateName = "road"
	GateCodes     GateName = "codes"
)

// waivable lists the gates that a supervisor may waive with a reason. The
// others are nobody's to waive: the original value, the read-back, and
// regulated use, which opens only by the statement that the shop is approved.
var waivable = map[GateName]bool{
	GateBackup:    true,
	GateCodes:     true,
	GateRoad:      true,
	GateRegulated: true, // only with the statement that the shop is approved
}

// gateOpen asks whether a gate is open, and if not, the words key of what
// would open it. It looks at the state and changes nothing.
func gateOpen(s *State, g GateName) (open bool, needs string) {
	if w, ok := s.Waivers[g]; ok && w.Reason {
		return true, ""
	}
	switch g {
	case GateRegulated:
		if s.Value(QRegulated) == "no" {
			return true, ""
		}
		return false, "gate.regulated"
	case GateOriginal:
		if len(s.Modules) > 0 && s.allOriginals() {
			return true, ""
		}
		return false, "gate.original"
	case GateBackup:
		if s.backedUp() {
			return true, ""
		}
		return false, "gate.backup"
	case GateReadBack:
		if s.allAgree() {
			return true, ""
		}
		return false, "gate.read-back"
	case GateRoad:
		if s.roadSafe() {
			return true, ""
		}
		return false, "gate.road"
	case GateCodes:
		if s.codesAfterLastDrive() {
			return true, ""
		}
		return false, "gate.codes"
	}
	return false, "gate.unknown"
}
