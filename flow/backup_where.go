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
		`|\b(?:on|in|under|at|inside|to|onto|into|has|have|got|by|via)\b[^.?!]*\b` + placeWord + `\b` +
		`|\b(?:saved|kept|keep|stored|copied|backed up)\b[^.?!]*\b` + placeWord + `\b`)
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
		`maybe|perhaps|probably|unsure|think|guess|hope)\b|\b(?:it|i|we|they)['’]ll\b|\?|\bon (?:it|my way|the way)\b|\bin (?:a bit|progress|a hurry|the (?:end|meantime|works|middle|morning|afternoon|evening|process))\b|\bon the phone (?:with|to)\b`)
)

// itsPattern is how people begin to tell where something is.
var itsPattern = regexp.MustCompile(`(?i)^(it'?s|it is|that'?s)\s+`)

// keptSomewhere says whether a text tells where a copy is kept.
func keptSomewhere(text string) bool {
	return !noCopy(text) && (fileNamePattern.MatchString(text) || len(strings.Fields(text)) >= 2 && placePattern.MatchString(text))
}

// keptMaybe says whether a text may tell where a copy is kept, in words of no
// known place: it counts with a "yes" before it.
func keptMaybe(text string) bool {
	return len(strings.Fields(text)) >= 2 && !noCopy(text) && maybePlace.MatchString(text)
}

// noCopy says whether a text is an order to the assistant or speaks of no copy.
func noCopy(text string) bool {
	if noCopyPattern.MatchString(text) {
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
