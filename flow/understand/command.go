package understand

import "strings"

// Commands, as names. Their words are in english_command.go.
const (
	CmdNew          = "new"    // Arg: the vehicle in the person's words
	CmdWhy          = "why"    // Arg: what the question went on with
	CmdHelp         = "help"   //
	CmdWhere        = "where"  // where are we, status
	CmdBack         = "back"   // the question before
	CmdChange       = "change" // Field, Arg: the new answer
	CmdSkip         = "skip"   //
	CmdNote         = "note"   // Arg: the note
	CmdPause        = "pause"  //
	CmdResume       = "resume" //
	CmdHandOver     = "hand_over"
	CmdHandBack     = "hand_back"
	CmdTakeOver     = "take_over"
	CmdStop         = "stop"       // stop the job
	CmdSupervisor   = "supervisor" // call my supervisor
	CmdHelper       = "helper"     // call my helper
	CmdRecover      = "recover"
	CmdGo           = "go"
	CmdParked       = "parked" // Arg: what came behind ("no lamps, no codes")
	CmdBoard        = "board"
	CmdWatch        = "watch" // Arg: job
	CmdSignOff      = "sign_off"
	CmdWaive        = "waive"    // Gate, Reason
	CmdReassign     = "reassign" // Arg: name
	CmdRelease      = "release"
	CmdNotYet       = "not_yet" // Reason
	CmdDriveFirst   = "drive_first"
	CmdWrite        = "write"   // Arg: the value, may be empty
	CmdWrote        = "wrote"   // "wrote it", "i put 2590 in already"; Arg
	CmdStrike       = "strike"  // Arg: which reading
	CmdKeep         = "keep"    // Arg: which reading
	CmdSwap         = "swap"    // Arg: which reading
	CmdCorrect      = "correct" // From, Arg: the reading as it was and as it is
	CmdOneMore      = "one_more"
	CmdClose        = "close"
	CmdReopen       = "reopen"
	CmdPolicy       = "policy" // Arg
	CmdInvite       = "invite" // Arg: name
	CmdGuest        = "guest"  // a guest code; Arg: the code
	CmdSheet        = "sheet"
	CmdReadings     = "readings"
	CmdNoReading    = "no_reading" // Arg: the speed that was not read
	CmdNoFaster     = "no_faster"  // faster can't be driven
	CmdGoOn         = "go_on"
	CmdRemind       = "remind" // Arg
	CmdCodesCleared = "codes_cleared"
)

// Command is a message that asks for something rather than answers.
type Command struct {
	Name     string
	Arg      string // what follows the command's own words, cleaned
	ArgStart int    // where Arg begins in the text
	Field    string // of change: the answer meant, one of the Field constants, or empty where not said
	From     string // of correct: what it was
	Gate     string // of waive
	Reason   string // of waive, not_yet, skip, supervisor, helper, and of handing over
}

// Fields of change.
const (
	FieldSizeFitted   = "size_fitted"
	FieldSizeFactory  = "size_factory"
	FieldSize         = "size" // a size, which was not said
	FieldStored       = "stored"
	FieldFactoryValue = "factory_value"
	FieldOdometer     = "odometer"
	FieldVIN          = "vin"
	FieldVehicle      = "vehicle"
	FieldStep         = "step"
	FieldLimits       = "limits"
	FieldTread        = "tread"
	FieldPressure     = "pressure"
	FieldRevs         = "revs"
	FieldRollout      = "rollout"
	FieldGears        = "gears"
	FieldSpeedFrom    = "speed_from"
	FieldUnits        = "units"
	FieldPlace        = "place"
	FieldVolts        = "volts"
	FieldCodes        = "codes"
	FieldLamps        = "lamps"
	FieldRule         = "rule"
	FieldPolicy       = "policy"
	FieldLoad         = "load"
	FieldBackup       = "backup"
	FieldModule       = "module"
	FieldReadBack     = "read_back"
	FieldReading      = "reading"
	FieldLast         = "last" // "my answer", "that"
	FieldRegulated    = "regulated"
)

// Gates that may be named.
const (
	GateRegulated = "regulated"
	GateBackup    = "backup"
	GateReadBack  = "read-back"
	GateCodes     = "codes"
)

// ReadCommand reads a command. Its words must open the message (after fillers such as "please", "can you"), and what
// follows must be what that command takes: "I'll go back inside now" is not back, "no help needed" is not help.
func ReadCommand(text string) (Match[Command], bool) {
	var none Match[Command]
	ts := scan(text)
	i := skipLead(ts, 0)
	if i >= len(ts) && len(ts) > 0 && ts[0].kind == word {
		i = 0
	}
	if i >= len(ts) {
		if only := strings.TrimSpace(text); only == "?" || only == "??" {
			return Match[Command]{Value: Command{Name: CmdHelp, ArgStart: len(text)}, Start: 0, End: len(text), Echo: "help"}, true
		}
		return none, false
	}
	if c, ok := GuestCode(text); ok {
		return Match[Command]{Value: Command{Name: CmdGuest, Arg: c.Value, ArgStart: c.Start}, Start: c.Start, End: c.End, Echo: c.Value}, true
	}
	f, n, ok := englishCommands.find(ts, i)
	if !ok { // a word of the lead may be the command itself: "wait"
		i = 0
		for i < len(ts) && ts[i].kind != word {
			i++
		}
		if f, n, ok = englishCommands.find(ts, i); !ok {
			return none, false
		}
	}
	spec := commandSpecs[f]
	j := i + n
	end := ts[j-1].end
	c := Command{Name: spec.name}
	// "waive: reason", "note - text"
	k := j
	for k < len(ts) && ts[k].kind == symbol && ts[k].text != "\"" && ts[k].text != "#" && ts[k].text != "+" && ts[k].text != "-" || k < len(ts) && ts[k].text == "-" && ts[k].spaceAfter {
		k++
	}
	argStart := len(text)
	if k < len(ts) {
		argStart = ts[k].start
	}
	arg, _ := Clean(text[argStart:])
	c.Arg, c.ArgStart = arg, argStart
	if onlyTrailing(ts[j:]) && spec.arg != needArg && spec.arg != fieldArg && spec.arg != fromTo {
		c.Arg, c.ArgStart = "", len(text)
	}
	if !spec.takes(ts, j, &c, text) {
		// "change" and "correct" open two commands: of a reading, and of an answer
		if spec.name != CmdCorrect {
			return none, false
		}
		spec = commandSpecs["change"]
		c = Command{Name: spec.name, Arg: arg, ArgStart: argStart}
		if !spec.takes(ts, j, &c, text) {
			return none, false
		}
	}
	m := Match[Command]{Value: c, Start: ts[i].start, End: end}
	if spec.arg != noArg {
		m.End = len(text)
	}
	m.Echo = commandEcho(c, spec)
	return m, true
}

// skipLead passes words that may stand before a command.
func skipLead(ts []token, i int) int {
	for i < len(ts) {
		if ts[i].kind == line || ts[i].kind == symbol {
			i++
			continue
		}
		_, n, ok := englishLead.find(ts, i)
		if !ok {
			break
		}
		i += n
	}
	return i
}

func commandEcho(c Command, s commandSpec) string {
	e := s.echo
	if e == "" {
		e = strings.ReplaceAll(c.Name, "_", " ")
	}
	switch s.arg {
	case fieldArg:
		e += " " + englishFieldEcho[c.Field]
		if c.Arg != "" {
			e += " to " + c.Arg
		}
	case fromTo:
		e += " " + c.From + " to " + c.Arg
	case gateArg:
		if c.Gate != "" {
			e += " " + c.Gate
		}
		if c.Reason != "" {
			e += " because " + c.Reason
		}
	case nameArg:
		if c.Arg != "" {
			e += " to " + c.Arg
		}
		if c.Reason != "" {
			e += " because " + c.Reason
		}
	case reasonArg:
		if c.Reason != "" {
			e += ", because " + c.Reason
		}
	case factsArg:
		if c.Arg != "" {
			e += ", " + c.Arg
		}
	case noArg:
	default:
		if c.Arg != "" {
			e += " " + c.Arg
		}
	}
	return e
}
