package flow

import (
	"regexp"
	"strings"

	"milepost/flow/understand"
)

// Where the copy is kept, in the person's words. An attestation opens the gate
// before a write, so that only words which name a place are taken for one.

// placeWord are things that hold a copy. "drive" alone is also a drive on the
// road.
const placeWord = `(?:laptop|notebook|server|computer|pc|desktop|(?:hard|network|usb|external|thumb|flash|shared?|cloud|backup|disk|[a-z]:)[ -]drive|` +
	`usb|stick|folder|directory|cloud|disks?|discs?|ssd|hdd|nas|(?:sd|memory)?[ -]?card|phone|tablet|archive|file server)`

var (
	// placePattern is a place as the whole answer, behind a word that keeps, or
	// where it is said to lie.
	placePattern = regexp.MustCompile(`(?i)^(?:(?:the|my|our|his|her|a|this) )?(?:[\w']+ ){0,2}` + placeWord + `\b(?:[ ,;:.!]*$|[ ,;:]+(?:under|in|at|as|on|of|for|by|and|named?|called|file|folder|directory|unit|job|\d))` +
		`|\b(?:on|in|under|at|inside|onto|into|by|via)\b[^.?!]*\b` + placeWord + `\b` +
		`|\b(?:saved|kept|keep|stored|copied|backed up|exported|downloaded|uploaded|transferred|dumped|(?:sent|moved|written)(?: it| them| the file| a copy)? to)\b[^.?!]*\b` + placeWord + `\b`)
	// fileNamePattern is a path or the name of a saved file.
	fileNamePattern = regexp.MustCompile(`(?i)\b[a-z]:[\\/]\w|\\\\\w|\b[\w-]+\.(?:bin|zip|hex|xml|json|dat|txt|csv|bak|ori|s19|mot)\b|\be?-?mailed (?:it |them )?to\b`)
	// maybePlace are words of a place that is none of the known ones.
	maybePlace = regexp.MustCompile(`(?i)\b(?:on|in|under|at|inside) +(?:the|my|our|his|her|their|this|shop|office) +\w{2,}|\bat home\b`)
	// noCopyPattern are words of an order, a refusal, a failure or of what is still
	// to be done, which attest nothing.
	noCopyPattern = regexp.MustCompile(`(?i)\b(?:ignore|skip|write|wrote|waived?|released?|override|without|later|tomorrow|no|none|not|never|nothing|` +
		`\w+n['’]t|isnt|arent|wasnt|dont|doesnt|didnt|cant|couldnt|wont|wouldnt|hasnt|havent|cannot|forget|forgot|supervisor|why|what|where|how|let['’]?s|let|` +
		`lost|lose|fails?|failed|failing|failure|broken?|broke|(?:is|are|was|its|it's|went|server|network) down|dead|crash(?:ed|es)?|corrupt(?:ed)?|gone|missing|deleted|erased|wiped|empty|is full|stolen|` +
		`minutes?|mins?|moment|seconds|secs?|hours?|soon|yet|tonight|afterwards|waiting|wait|working|saving|copying|uploading|downloading|backing|` +
		`trying|try|looking|look|needs?|getting|charging|updating|booting|busy|almost|nearly|will|going|gonna|want|should|would|could|` +
		`maybe|perhaps|probably|unsure|think|guess|hope|` +
		`must|(?:have|has|had|got) to|get|fetch|connect(?:ed|ing|s|ion)?|do(?:ing)? (?:it|that|this)|errors?|problems?)\b|\b(?:on|under) (?:the|a) (?:bonnet|hood|lift|ramps?|hoist|road|motorway) (?:with|and|now)\b|^(?:please |just |then )*(?:bring|grab|use|open|find|start|boot|charge|restart|reboot)\b|^(?:(?:i|we|he|she|just) )*(?:have|has|had|got)(?: got)? (?:the|an?|my|our|his|her) (?:[\w']+ )?` + placeWord + `[.! ]*$|` +
		`\b(?:it|i|we|they)['’]ll\b|\?|\bon (?:it|my way|the way)\b|\bin (?:a bit|progress|a hurry|the (?:end|meantime|works|middle|morning|afternoon|evening|process))\b|\bon the phone (?:with|to)\b`)
)

var (
	// harmlessPattern are words of noCopyPattern that deny nothing: a number, a time
	// gone by, the name of a folder, and where else it is not.
	harmlessPattern = regexp.MustCompile(`(?i)\b(job|unit|order|folder|file|bay|card|under|named?|called),? no\.? ?(\d+)\b` +
		`|\b(?:(?:\d+|an?|one|two|three|four|five|six|ten|fifteen|twenty|thirty|a few|some|a couple of|several) )?(?:minutes?|mins?|moments?|seconds|secs?|hours?) ago\b` +
		`|\bworking (folder|directory|copy|drive)\b` +
		`|[,;] *(?:and |with )?nothing else(?: (?:is )?(?:on|in) (?:it|there))?[.! ]*$` +
		`|[,;] *(?:and )?not (?:(?:on|in) )?(?:the|my|our|his|her) (?:[\w']+ ){0,2}(?:one|` + placeWord + `)[.! ]*$`)
	// nowherePattern is where a vehicle or a person is, and no copy.
	nowherePattern = regexp.MustCompile(`(?i)\b(?:on|in|under|at|inside) +(?:the|my|our|a) +(?:\w+ )?(?:bonnet|hood|lift|ramps?|hoist|jack|stands|pit|road|street|motorway|car|van|truck|vehicle|bay|workshop|shop|garage)` +
		`(?: (?:now|already|today|again|right now))*[.! ]*$|\b(?:i['’]?m|i am|we['’]?re|we are|he['’]?s|she['’]?s|car|van|truck|vehicle)\b.*\b(?:on|in|under|at|inside)\b`)
)

// affirmed is a text without the words that only seem to deny.
func affirmed(text string) string {
	return harmlessPattern.ReplaceAllString(text, "${1} ${2}${3}")
}

// itsPattern is how people begin to tell where something is.
var itsPattern = regexp.MustCompile(`(?i)^(it'?s|it is|that'?s)\s+`)

// keptSomewhere says whether a text tells where a copy is kept.
func keptSomewhere(text string) bool {
	if noCopy(text) {
		return false
	}
	text = affirmed(text)
	return fileNamePattern.MatchString(text) || len(strings.Fields(text)) >= 2 && placePattern.MatchString(text)
}

// keptMaybe says whether a text may tell where a copy is kept, in words of no
// known place: it counts with a "yes" before it.
func keptMaybe(text string) bool {
	return len(strings.Fields(text)) >= 2 && !noCopy(text) && maybePlace.MatchString(text) && !nowherePattern.MatchString(text)
}

// noCopy says whether a text is an order to the assistant or speaks of no copy.
func noCopy(text string) bool {
	if noCopyPattern.MatchString(affirmed(text)) {
		return true
	}
	c, ok := readCommand(text)
	return ok && c.Name != understand.CmdKeep
}

var (
	notedPattern    = regexp.MustCompile(`(?i)\b(?:photo(?:s|ed|graphed|graphs)?|pictures?|pics?|noted|(?:wrote|written|copied) down|screenshots?)\b`)
	notNotedPattern = regexp.MustCompile(`(?i)\b(?:no|not|never|cannot|cant|couldnt|didnt|yet|later|will|going|why|how|what|where|some)\b|n['’]t\b|['’]ll\b|\?`)
)

// valuesNoted says whether a text tells that the values were photographed or
// written down, where that was asked for.
func valuesNoted(text string) bool {
	return notedPattern.MatchString(text) && !notNotedPattern.MatchString(text)
}
