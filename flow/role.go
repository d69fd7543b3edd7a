package flow

// Role is what a person may do in a job. Roles come from configuration by full
// identity or from a guest code, never from what someone claims.
type Role string

// The roles of a thread. Anyone without one is a stranger.
const (
	Technician Role = "technician"
	Customer   Role = "customer"
	Helper     Role = "helper"
	Supervisor Role = "supervisor"
	Stranger   Role = "stranger"
)

// Who is the number a person carries in one job: opaque, random for each job,
// so that two jobs cannot be joined by it. The empty Who is the assistant.
type Who string

// Person is someone who has spoken in the job or was called to it. Identity and Name lie outside
// the log's leaves and are empty once erased.
type Person struct {
	Who      Who
	Role     Role
	Identity string // full network identity, e.g. terminal:NAME; erasable
	Name     string // as people call them; erasable
	Stated   bool   // the role was stated in a single-user store, not configured
	ByCode   bool   // came with a guest code
	Called   bool   // was called to the job before speaking in it
}

// Act is something a role may be allowed to do.
type Act string

// What can be allowed or denied. Everything not granted in mayTable is denied.
const (
	ActOpen     Act = "open"     // open a job
	ActAnswer   Act = "answer"   // answer, upload, ask, note, amend
	ActPause    Act = "pause"    // pause and resume
	ActHandOver Act = "handover" // hand the job to another person
	ActStop     Act = "stop"     // end the job without a result
	ActInvite   Act = "invite"   // make a guest code
	ActRelease  Act = "release"  // release a hold point
	ActWaive    Act = "waive"    // waive a gate with a reason
	ActSignOff  Act = "signoff"  // sign the job off
	ActReassign Act = "reassign" // give the job to another person
	ActBoard    Act = "board"    // see the board
	ActPolicy   Act = "policy"   // set the shop's policy
	ActRecover  Act = "recover"  // go back to the original value
)

// mayTable is the whole of the authorisation: a role may do what stands here
// and nothing else. A customer never passes a hold point alone, so Release is
// not a customer's; a supervisor rarely types, but may answer.
var mayTable = map[Role]map[Act]bool{
	Technician: grant(ActOpen, ActAnswer, ActPause, ActHandOver, ActStop, ActInvite, ActRecover),
	Customer:   grant(ActOpen, ActAnswer, ActPause, ActHandOver, ActStop, ActRecover),
	Helper: grant(ActOpen, ActAnswer, ActPause, ActHandOver, ActStop, ActInvite, ActRecover,
		ActRelease),
	Supervisor: grant(ActOpen, ActAnswer, ActPause, ActHandOver, ActStop, ActInvite, ActRecover,
		ActRelease, ActWaive, ActSignOff, ActReassign, ActBoard, ActPolicy),
}

func grant(acts ...Act) map[Act]bool {
	m := make(map[Act]bool, len(acts))
	for _, a := range acts {
		m[a] = true
	}
	return m
}

// May says whether a role may do an act. Unknown roles and acts: no.
func May(r Role, a Act) bool { return mayTable[r][a] }

// Register is the manner of speaking: trade words or plain ones.
type Register string

// The two registers of the catalogue.
const (
	Trade Register = "trade"
	Plain Register = "plain"
)

// RegisterOf gives the register in which a role is spoken to.
func RegisterOf(r Role) Register {
	if r == Customer || r == Stranger {
		return Plain
	}
	return Trade
}
