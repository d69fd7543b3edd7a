package flow

import (
	"crypto/sha256"
	"encoding/hex"
	"regexp"
	"strings"

	"milepost/flow/understand"
	"milepost/flow/words"
)

// What only a supervisor may do: waive a gate with a reason, sign off. Not
// over an own answer, unless the shop's policy allows it; then the entry says
// self.

// gateAnswers are the answers that a gate rests on.
var gateAnswers = map[GateName][]QuestionID{
	GateRegulated: {QRegulated},
	GateBackup:    {QBackup, QStored},
	GateRoad:      {QCodes, QCodesNow, QBefore},
	GateCodes:     {QCodesNow, QNext},
}

var roadGate = regexp.MustCompile(`(?i)^\W*(?:please\s+)?(?:waive|override)\s+(?:the\s+)?(?:gate\s+)?road\b(.*)$`)

// ownGates are the gates that the reader of commands does not know.
var ownGates = regexp.MustCompile(`(?i)^\W*(?:please\s+)?(?:waive|override)\s+(?:the\s+)?(?:gate\s+)?(?:road|original)\b`)
var becausePattern = regexp.MustCompile(`(?i)\b(?:because|since|reason:?|as)\b\s*(.+)$`)

// waive opens a gate with a reason: "waive codes because …".
func (t *turn) waive(_ command, in *input) bool {
	gate, reason := t.gateNamed(in.Text)
	approved := gate == GateRegulated && approvedPattern.MatchString(reason)
	switch {
	case gate == "":
		t.answerTo(Notice, "waive.which", nil)
	case gate == GateOriginal || gate == GateReadBack || !waivable[gate]:
		t.answerTo(Refusal, "waive.never", words.Args{"Gate": string(gate)})
	case strings.TrimSpace(reason) == "":
		t.answerTo(Refusal, "waive.reason", words.Args{"Gate": string(gate)})
	case gate == GateRegulated && !approved:
		t.answerTo(Refusal, "waive.approved", nil)
	case t.ownGate(gate) && !t.env.Policy.Self:
		t.answerTo(Refusal, "refuse.own", nil)
	default:
		t.record(&WaiverFact{Gate: gate, Reason: true, Approved: approved, Self: t.ownGate(gate)}, Item{ItemReason, reason})
		t.record(&GateFact{Name: gate, Open: true})
		t.understood("echo.waived", words.Args{"Gate": string(gate), "Name": t.nameOf(t.m.Who)})
		in.Text = ""
		if t.s.Driving() {
			t.sayNow("", nil)
			return true
		}
		if !t.askedStillDue() {
			t.advance()
			return true
		}
	}
	t.again()
	return true
}

// askedStillDue says whether the open question is still to be asked.
func (t *turn) askedStillDue() bool {
	q := t.open()
	if q == nil {
		return false
	}
	for i := range phases()[t.s.Phase].Questions {
		if p := &phases()[t.s.Phase].Questions[i]; p.ID == q.ID {
			return p.due(t.s) || p.When != nil && !p.When(t.s) && p.Done == nil
		}
	}
	return true
}

var approvedPattern = regexp.MustCompile(`(?i)\bapproved\b`)

func (t *turn) gateNamed(text string) (GateName, string) {
	if m := roadGate.FindStringSubmatch(text); m != nil {
		return GateRoad, reasonOf(m[1])
	}
	if ownGates.MatchString(text) {
		return GateOriginal, ""
	}
	c, ok := understand.ReadCommand(text)
	if !ok || c.Value.Name != understand.CmdWaive {
		return "", ""
	}
	if c.Value.Gate == "" && strings.Contains(strings.ToLower(text), "original") {
		return GateOriginal, ""
	}
	return GateName(c.Value.Gate), c.Value.Reason
}

func reasonOf(text string) string {
	if m := becausePattern.FindStringSubmatch(text); m != nil {
		return strings.TrimSpace(m[1])
	}
	return strings.Trim(text, " :,-")
}

// ownGate says whether the gate rests on an answer of the one who waives it, or
// on one that whoever does the work owes.
func (t *turn) ownGate(g GateName) bool {
	return t.s.Owner == t.m.Who || t.answered(func(q QuestionID) bool {
		for _, own := range gateAnswers[g] {
			if q == own {
				return true
			}
		}
		return false
	})
}

// signOff records a supervisor's signature.
func (t *turn) signOff(_ command, in *input) bool {
	own := t.s.Owner == t.m.Who || t.answered(func(q QuestionID) bool {
		return measured(q) || q == QWritten || q == QNext || q == QClosing || q == QCodesNow
	})
	switch {
	case !May(t.m.Role, ActSignOff):
		t.answerTo(Refusal, "refuse.act", words.Args{"Role": string(t.m.Role), "Act": string(ActSignOff)})
	case own && !t.env.Policy.Self:
		t.answerTo(Refusal, "refuse.own", nil)
	case t.s.Phase != PhaseClose:
		t.answerTo(Notice, "sign-off.early", nil)
	case len(t.s.closingLeft()) > 0:
		t.answerTo(Notice, "sign-off.list", words.Args{"Lines": lineText(t.s.closingLeft())})
	default:
		t.record(&SignOffFact{Self: own})
		t.understood("echo.signed", words.Args{"Name": t.nameOf(t.m.Who), "Self": own})
		in.Text = ""
		t.advance()
		return true
	}
	if !t.s.Driving() && t.open() != nil && (t.s.Asked.To == "" || t.s.Asked.To == t.m.Role) {
		t.again()
	}
	return true
}

// invite makes a guest code known: it is shown once, and only its hash is kept.
func (t *turn) invite(command, *input) bool {
	if t.env.Code == "" {
		t.answerTo(Notice, "invite.none", nil)
		return true
	}
	sum := sha256.Sum256([]byte(t.env.Code))
	t.record(&InviteFact{Hash: hex.EncodeToString(sum[:])})
	t.answerSecret("invite.code", words.Args{"Code": t.env.Code})
	if !t.s.Driving() {
		t.again()
	}
	return true
}

// answerSecret answers without keeping the words in the log: what is said
// there would open the job to whoever reads it.
func (t *turn) answerSecret(key string, args words.Args) {
	shown := t.text(t.m.Role, key, args)
	args["Code"] = "…"
	t.answerTo(Notice, key, args)
	t.replies[len(t.replies)-1].Text = shown
}
