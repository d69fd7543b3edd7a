package understand

// commandSpecs say what each command takes; englishCommands maps words to its key. One name may have two keys where the
// words differ in what may follow them.
var commandSpecs = map[string]commandSpec{
	"new":           {CmdNew, anyArg, "new job"},
	"why":           {CmdWhy, anyArg, "why"},
	"help":          {CmdHelp, topicArg, "help"},
	"where":         {CmdWhere, noArg, "where are we"},
	"back":          {CmdBack, noArg, "back"},
	"change":        {CmdChange, fieldArg, "change"},
	"skip":          {CmdSkip, reasonArg, "skip"},
	"note":          {CmdNote, needArg, "note"},
	"pause":         {CmdPause, noArg, "pause"},
	"resume":        {CmdResume, noArg, "resume"},
	"hand_over":     {CmdHandOver, nameArg, "hand over"},
	"hand_back":     {CmdHandBack, noArg, "hand back"},
	"take_over":     {CmdTakeOver, noArg, "take over"},
	"stop":          {CmdStop, noArg, "stop the job"},
	"supervisor":    {CmdSupervisor, reasonArg, "call my supervisor"},
	"helper":        {CmdHelper, reasonArg, "call my helper"},
	"recover":       {CmdRecover, noArg, "recover"},
	"go":            {CmdGo, noArg, "go"},
	"parked":        {CmdParked, factsArg, "parked"},
	"board":         {CmdBoard, noArg, "board"},
	"watch":         {CmdWatch, needArg, "watch"},
	"sign_off":      {CmdSignOff, noArg, "sign off"},
	"waive":         {CmdWaive, gateArg, "waive"},
	"reassign":      {CmdReassign, nameArg, "reassign"},
	"release":       {CmdRelease, noArg, "release"},
	"no_reading":    {CmdNoReading, speedArg, "no reading at"},
	"no_faster":     {CmdNoFaster, noArg, "can't go faster"},
	"hold":          {CmdNotYet, noArg, "not yet"},
	"not_yet":       {CmdNotYet, reasonArg, "not yet"},
	"drive_first":   {CmdDriveFirst, noArg, "drive first"},
	"write":         {CmdWrite, numberArg, "write"},
	"wrote":         {CmdWrote, factsArg, "wrote it"},
	"strike":        {CmdStrike, readArg, "strike"},
	"keep":          {CmdKeep, readArg, "keep"},
	"swap":          {CmdSwap, readArg, "swap"},
	"correct":       {CmdCorrect, fromTo, "correct"},
	"one_more":      {CmdOneMore, noArg, "one more reading"},
	"close":         {CmdClose, noArg, "close"},
	"reopen":        {CmdReopen, noArg, "reopen"},
	"policy":        {CmdPolicy, anyArg, "policy"},
	"invite":        {CmdInvite, nameArg, "invite"},
	"sheet":         {CmdSheet, noArg, "sheet"},
	"readings":      {CmdReadings, noArg, "readings"},
	"go_on":         {CmdGoOn, noArg, "go on"},
	"remind":        {CmdRemind, needArg, "remind"},
	"codes_cleared": {CmdCodesCleared, noArg, "codes cleared"},
}

var englishCommands = newLexicon(false, table(
	row[string]{"new", "new job, new vehicle, start a job, start a new job, start new job, open a job, open a new job, open job, begin a job, next vehicle, begin a new job, another job, newjob"},
	row[string]{"why", "why, how come, what for, what is that for, whats that for, whats this for, what is this for, y tho, for what reason, explain, explain that, explain this, explain why, tell me why, what does it matter, what does that matter"},
	row[string]{"help", "help, halp, hlep, help me, what can i do, what can i say, what can i type, what now, commands, what do i do, what do i do now, what should i do, i need help, need help, need some help, i need some help, im stuck, i am stuck, im lost, i am lost, i dont understand, dont understand, what does that mean, what does this mean, i dont get it, what do you mean, menu, options, how does this work"},
	row[string]{"where", "where are we, where were we, where am i, where was i, where were we at, where are we up to, where have we got to, status, state, progress, what step, which step, what step are we on, what phase, which phase, how far are we, whats next, what is next, what comes next, whats left, where is it, wheres it at, where we at, current status, job status, status of the job, summary"},
	row[string]{"back", "back, go back, back up, previous, previous question, one back, back one, step back, go back one, go back a step, go back one step, last question, take me back, back a step, undo, undo that, undo last"},
	row[string]{"change", "change, correct, amend, update, fix, alter, edit, i need to change, i have to change, i want to change, need to change, want to change, set, make, correction"},
	row[string]{"skip", "skip, skip it, skip this, skip that, skip this one, skip that one, skip this question, skip question, skip the question, leave it out, leave this out, pass, pass on this, next question, not now, move on, leave it"},
	row[string]{"note", "note, note that, make a note, make a note that, take a note, take a note that, add a note, add note, for the record, write down, write down that, log that, log this, note down, remark, comment, nb, n b, jot down"},
	row[string]{"pause", "pause, pause the job, pause job, pause it, pause here, hold on, hold it, break, take a break, taking a break, lunch, lunch break, tea break, brb, be right back, give me a minute, give me a moment, one moment, wait a minute, on hold, put it on hold, put on hold, suspend"},
	row[string]{"resume", "resume, continue, resume the job, resume job, carry on, im back, i am back, unpause, back to it, lets continue, lets carry on, back again, ready to continue, pick up where we left off, continue the job, carry on with the job"},
	row[string]{"hand_over", "hand over, handover, hand it over, hand over the job, hand this over, hand the job over, hand job over, pass it on, pass it to, pass to, pass the job to, give it to, give the job to, transfer, transfer to, transfer the job"},
	row[string]{"hand_back", "hand back, hand it back, give it back, hand back the job, hand the job back"},
	row[string]{"take_over", "take over, take it over, ill take over, i will take over, i take over, taking over, take over the job, takeover, ill take it, let me take over, take the job over"},
	row[string]{"stop", "stop the job, stop job, stop this job, cancel the job, cancel job, abandon the job, abandon job, end the job, end job, abort the job, abort job, quit the job, scrap the job, kill the job, give up the job, stop, stop it, stop everything, cancel, abort, quit, give up"},
	row[string]{"supervisor", "call my supervisor, call the supervisor, call supervisor, supervisor, get my supervisor, get the supervisor, get supervisor, ask my supervisor, ask the supervisor, fetch my supervisor, i need my supervisor, i need a supervisor, i need the supervisor, i want my supervisor, need supervisor, need my supervisor, call my boss, call the boss, get my boss, get the boss, call the foreman, get the foreman, i need my boss, call my manager, get a supervisor, call a supervisor, page the supervisor, page my supervisor, alert my supervisor"},
	row[string]{"helper", "call my helper, call the helper, call helper, helper, get my helper, get the helper, ask my helper, i need my helper, need my helper, call for help, get someone, get somebody, get help, call somebody, call someone"},
	row[string]{"recover", "recover, recovery, recover the job, restore, restore it, restore the original, restore the original value, restore original, restore the factory value, put it back, put it back to original, put it back to stock, put it back how it was, put it back as it was, put the original back, put the old value back, go back to the original, go back to original, go back to stock, back to stock, back to original, back to the original, back to factory, revert, revert it, roll back, roll it back, rollback, undo the change, undo the write, undo everything, set it back, set it back to original, return to stock, return to original"},
	row[string]{"go", "go, go go, go go go, going, going now, going out, go now, off we go, were off, we are off, im off, i am off, setting off, set off, heading out, leaving, leaving now, on our way, on my way, driving, driving now, start the drive, starting the drive, starting, start driving, lets go, rolling, lets drive, were driving, we are driving, moving off, pulling out, starting now, out we go"},
	row[string]{"parked", "parked, im parked, i am parked, were parked, we are parked, parked up, im parked up, parked now, parked and stopped, stopped and parked, back and parked, we have parked, weve parked, ive parked, i have parked, were back and parked, now parked, back parked, car is parked, its parked, the car is parked, were back in the bay, back in the bay, were back at the shop, back at the shop, drive done, drive is done, drive finished, done driving, finished driving, drive over, prked, praked, parkd"},
	row[string]{"board", "board, the board, show board, show the board, show me the board, open jobs, list jobs, jobs, all jobs, list open jobs, show jobs, show open jobs, show all jobs, what jobs are open, which jobs are open"},
	row[string]{"watch", "watch, watch job, follow, follow job, show job, open job number"},
	row[string]{"sign_off", "sign off, signoff, sign it off, sign off the job, sign the job off, signed off, i sign off, sign this off, i sign it off"},
	row[string]{"waive", "waive, waive the, waive gate, waive the gate, override, override gate, override the gate, waiver"},
	row[string]{"reassign", "reassign, re assign, reassign it, reassign the job, reassign job, assign, assign it, assign the job, assign job"},
	row[string]{"release", "release, release it, released, release the hold, release hold, i release, i release it, go ahead, approve, approved, ok to write, okay to write, clear to write, you may write, let them write, let it go, free it"},
	row[string]{"not_yet", "not yet, hold off, dont release, do not release, dont write yet, not now because, dont write, do not write"},
	row[string]{"hold", "wait, hold"},
	row[string]{"no_reading", "no reading at, no reading for, no reading, missed, missed the, couldnt do, could not do, couldnt get, couldnt hold, couldnt reach, cant do, cannot do, cant reach, cant get, didnt get, didnt do, no gps at, nothing at, no fix at, not possible at, no chance at"},
	row[string]{"no_faster", "cant go faster, cannot go faster, cant go any faster, couldnt go faster, couldnt go any faster, faster isnt possible, faster is not possible, no faster, not faster, faster not possible, cant drive faster, cant do faster, thats as fast as it goes, thats as fast as i can go, thats as fast as the road allows, road is too slow, too slow a road, no faster road, no road for that, no faster road here"},
	row[string]{"drive_first", "drive first, drive it first, test drive first, drive before writing, drive before the write, do the drive first, drive 1st, id drive first, ill drive first, i will drive first, rather drive first, lets drive first, we drive first, well drive first"},
	row[string]{"write", "write, write it, write the value, write now, write value, write that, program it, program, programme it, ill write, i will write, lets write, go to write, write next, i write, code it, do the write"},
	row[string]{"wrote", "wrote it, wrote, i wrote, i wrote it, ive written, ive written it, i have written, written, its written, i put, i already wrote, i already put, i already changed, already wrote it, already written, i programmed it, programmed it, i changed it already, i entered it, entered it, put it in, i put it in, its in"},
	row[string]{"strike", "strike, strike out, strike it, strike that, cross out, scratch, scratch that, delete, remove, drop, drop that, throw out, discard, ignore, scrap, forget, take out, void, bin, leave out"},
	row[string]{"keep", "keep, keep it, keep that, keep them, keep both, keep all, leave it in, let it stand, its right keep it, it stands, stet"},
	row[string]{"swap", "swap, swap it, swap that, swap them, swapped, switch, switch them, other way round, the other way round, other way around, the other way around, wrong way round, reversed, reverse, flip, flip it, flip them, swop, turn it round, turn them round, it was swapped, they are swapped, theyre swapped, i swapped them"},
	row[string]{"correct", "correct, change, correct reading, change reading, fix, amend, replace, correct the reading, change the reading"},
	row[string]{"one_more", "one more reading, one more, another reading, another one, one more drive, one more run, add a reading, more readings, another drive, another run, drive again, read again, one extra reading"},
	row[string]{"close", "close, close the job, close job, close it, close this job, finish the job, finish job, job done close, wrap up, wrap it up, close out, close it out, close up"},
	row[string]{"reopen", "reopen, reopen the job, reopen job, open it again, re open, reopen it"},
	row[string]{"policy", "policy, set policy, show policy, policies, change policy"},
	row[string]{"invite", "invite, invite a guest, invite a customer, guest code, make a guest code, new guest code, guest code for, customer code, invite customer, make an invite, create a guest code, invitation, add a customer, guest"},
	row[string]{"sheet", "sheet, the sheet, show sheet, show the sheet, customer sheet, print sheet, print the sheet, send the sheet, pdf, the pdf, report, send sheet, give me the sheet"},
	row[string]{"readings", "readings, show readings, list readings, show the readings, list the readings, all readings, show all readings, what readings do we have"},
	row[string]{"go_on", "go on, keep going, proceed, go on anyway, carry on anyway, proceed anyway, continue anyway, press on"},
	row[string]{"remind", "remind me, remind us, set a reminder, reminder, remind"},
	row[string]{"codes_cleared", "codes cleared, cleared codes, cleared the codes, i cleared the codes, cleared it, cleared them, codes are cleared, i cleared it, i cleared them, erased the codes, code cleared, cleared the code"},
))

// englishLead may stand before a command.
var englishLead = newLexicon(false, table(
	row[bool]{true, "please, pls, plz, ok, okay, so, well, hey, hi, hello, um, uh, er, erm, sorry, now, then, can you, could you, would you, can we, could we, can i, could i, may i, id like to, i would like to, i want to, i wanna, i need to, we need to, we want to, lets, let us, lets just, just, actually, right, alright, yes, yeah, yep, hmm, oh, mate, bot, assistant, milepost, and, but, thanks, cool, great, good, will you, wait, fine"},
))

// englishTrail may stand behind a command that takes nothing.
var englishTrail = newLexicon(false, table(
	row[bool]{true, "please, pls, plz, now, then, thanks, thank you, cheers, ta, mate, boss, for now, for a moment, for a minute, for a bit, for today, again, today, a moment, a minute, a sec, a second, right now, asap, up, quick, quickly, ok, okay, bot, milepost, us, with this, with that, with it, on this, this, that, it, at the moment, right away, immediately, first, already, man, bud, sir, a bit, yet, so far, tho, though, i said, lunch, for lunch, everyone, guys, to you, then please, we"},
))

var englishNameGlue = set("to", "the", "job", "over", "this", "it", "for", "a", "customer", "guest", "technician", "tech")

var englishReadingGlue = set("the", "last", "first", "second", "third", "one", "reading", "readings", "number", "no", "nr", "that", "it", "of", "at", "on", "dash", "gps", "out", "pair", "this", "them", "and", "drive", "all", "previous", "both", "mph", "line", "bad", "wrong", "odd", "other", "round", "around", "way", "vs", "speedo", "phone", "clock", "two", "is", "was", "entry", "please", "from")

var englishWriteGlue = set("the", "value", "it", "is", "to", "as", "number", "new", "with", "a", "and", "of", "step", "engine", "abs", "now", "first", "then", "instead", "in", "into", "module", "please")

var englishTopic = set("with", "on", "about", "for", "regarding", "understanding")

var englishFactLead = set("no", "none", "nothing", "all", "with", "and", "codes", "lamps", "lights", "now", "ok", "still", "engine", "abs", "brake", "tpms", "airbag", "one", "a", "it", "took", "up", "new", "same", "readings", "at", "got", "in", "already", "here", "clear", "without", "check")

var englishBecause = newLexicon(false, table(
	row[bool]{true, "because, cause, cos, coz, since, as, bc, reason, due to, for the reason, b c, becuase, becaus, cuz"},
))

var englishGates = newLexicon(true, table(
	row[string]{GateRegulated, "regulated, regulation, tachograph, tacho, taximeter, limiter, approved workshop, approved"},
	row[string]{GateBackup, "backup, back up, copy, saved copy"},
	row[string]{GateReadBack, "read back, readback, reading back"},
	row[string]{GateCodes, "codes, code, codes and lamps, lamps, codes after, trouble codes"},
))

var englishFieldLead = set("my", "the", "for", "of", "about", "on", "a", "an", "our")

var englishFieldTo = set("to", "is", "its", "was", "as", "should", "be", "it", "from", "into", "that", "actually", "now", "please", "will", "must", "needs", "are")

var englishFields = newLexicon(true, table(
	row[string]{FieldSizeFitted, "new size, fitted size, new tyre size, new tire size, new tyre, new tire, new tyres, new tires, fitted tyre, fitted tyres, size on it now, current size, tyres on it now, size now, new size answer, fitted, size fitted, tyre size now, new one"},
	row[string]{FieldSizeFactory, "factory size, placard size, door size, original size, old size, stock size, factory tyre size, factory tire size, placard, sticker size, original tyre size, original tire size, factory tyre, old tyre size, size on the door, size on the placard, size factory"},
	row[string]{FieldSize, "size, tyre size, tire size, tyre, tire, tyres, tires, wheel size"},
	row[string]{FieldStored, "stored value, value, stored, number, stored number, module value, the value, value stored, circumference, value now, current value"},
	row[string]{FieldFactoryValue, "factory value, original value, value from the factory"},
	row[string]{FieldOdometer, "odometer, odo, mileage, miles, kilometres, kilometers, odometer reading, milage, odomter"},
	row[string]{FieldVIN, "vin, vehicle number, chassis number, vehicle identification number"},
	row[string]{FieldVehicle, "vehicle, car, van, truck, unit, vehicle name, name, bike"},
	row[string]{FieldStep, "step, steps, step size, smallest step, increment"},
	row[string]{FieldLimits, "limits, limit, min, max, minimum, maximum, range, lowest, highest"},
	row[string]{FieldTread, "tread, tread depth, treads, depth"},
	row[string]{FieldPressure, "pressure, pressures, tyre pressure, tire pressure, cold pressure"},
	row[string]{FieldRevs, "revs, revs per mile, revolutions, published revs, revs per km"},
	row[string]{FieldRollout, "rollout, roll out, measured rollout, rolled distance"},
	row[string]{FieldGears, "gears, gear, axle ratio, axle, gear ratio, ratio, diff, axle gears, final drive"},
	row[string]{FieldSpeedFrom, "speed source, where speed is taken, speed taken from, speed from, sensor, speed sensor"},
	row[string]{FieldUnits, "units, unit of speed, speed unit, speed units"},
	row[string]{FieldPlace, "place, location"},
	row[string]{FieldVolts, "volts, voltage, supply, battery voltage"},
	row[string]{FieldCodes, "codes, code, trouble codes, fault codes"},
	row[string]{FieldLamps, "lamps, lights, warning lamps, warning lights, lamp"},
	row[string]{FieldRule, "rule, accuracy rule"},
	row[string]{FieldPolicy, "dash or distance, which is right, aim"},
	row[string]{FieldLoad, "load, load index, sidewall load, marked load"},
	row[string]{FieldBackup, "backup, back up, backup file"},
	row[string]{FieldModule, "module, modules"},
	row[string]{FieldReadBack, "read back, readback, read back value"},
	row[string]{FieldReading, "reading, last reading"},
	row[string]{FieldRegulated, "tachograph answer, tacho, tachograph, regulated"},
	row[string]{FieldLast, "answer, last answer, previous answer, it, that, last one, what i said, last"},
))

var englishFieldEcho = map[string]string{FieldSizeFitted: "new size", FieldSizeFactory: "factory size", FieldSize: "tyre size", FieldStored: "stored value",
	FieldFactoryValue: "factory value", FieldOdometer: "odometer", FieldVIN: "vin", FieldVehicle: "vehicle", FieldStep: "step", FieldLimits: "limits", FieldTread: "tread",
	FieldPressure: "pressure", FieldRevs: "revs", FieldRollout: "rollout", FieldGears: "gears", FieldSpeedFrom: "speed from", FieldUnits: "units", FieldPlace: "place",
	FieldVolts: "volts", FieldCodes: "codes", FieldLamps: "lamps", FieldRule: "rule", FieldPolicy: "aim", FieldLoad: "load", FieldBackup: "backup", FieldModule: "module",
	FieldReadBack: "read back", FieldReading: "reading", FieldLast: "last answer", FieldRegulated: "tachograph"}
