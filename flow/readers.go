package flow

// TEMPORARY shims over flow/understand until its readers are there.

type command struct{ Name, Target, Arg string }

const (
	cmdWhy        = "why"
	cmdHelp       = "help"
	cmdWhere      = "where"
	cmdBack       = "back"
	cmdChange     = "change"
	cmdSkip       = "skip"
	cmdNote       = "note"
	cmdPause      = "pause"
	cmdResume     = "resume"
	cmdHandOver   = "hand over"
	cmdStop       = "stop"
	cmdSupervisor = "supervisor"
	cmdRecover    = "recover"
	cmdWaive      = "waive"
	cmdSignOff    = "sign off"
	cmdReassign   = "reassign"
	cmdInvite     = "invite"
	cmdUnits      = "units"
)

func readCommand(text string) (command, bool) { return command{}, false }
func choiceNumber(text string) (int, bool)    { return 0, false }
func same(a, b string) bool                   { return a == b }
func short(text string) string                { return text }
