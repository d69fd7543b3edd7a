package understand

var englishAnswers = newLexicon(false, table(
	row[Answer]{Yes, "yes, y, yep, yeah, yea, ye, yup, yus, yess, yers, yeh, ya, aye, affirmative, affirm, correct, right, thats right, thats correct, that is right, that is correct, true, ok, okay, okey, okie, k, kk, sure, sure thing, of course, agreed, agree, i agree, confirmed, confirm, i confirm, roger, will do, fine, go ahead, sounds good, absolutely, definitely, exactly, indeed, it is, it does, they are, it has, i do, i have, done, all done, all good, good, it did, does, has, both, yes both, go for it, positive, thats it, spot on, uh huh, mhm, do it"},
	row[Answer]{No, "no, n, nope, nah, na, naw, nay, negative, no way, not at all, wrong, incorrect, thats wrong, that is wrong, not right, not correct, never, no sir, it isnt, it is not, it doesnt, it does not, they arent, it hasnt, i dont, i havent, havent, hasnt, isnt, doesnt, dont, didnt, nuh uh, no thanks, not really, no it doesnt, no it isnt, no i dont, no i havent"},
	row[Answer]{NotSure, "dont know, i dont know, i do not know, do not know, dunno, not sure, im not sure, i am not sure, unsure, no idea, no clue, cant say, cant tell, couldnt say, couldnt tell, idk, unknown, not known, haven't a clue, havent a clue, havent got a clue, dont have it, dont have that, not certain, hard to say, who knows, no i dont know, how should i know, maybe, perhaps, possibly, might be, beats me, search me, i wouldnt know, wouldnt know, no info, not available, na n a, n a, cant see, cant see it, cant find it, cant find, doesnt say, it doesnt say, does not say, it does not say, not shown, not given, not stated"},
	row[Answer]{None, "none, nothing, nil, nada, zero, no none, none at all, nothing at all, there are none, there is none, there arent any, nothing there, not any, none found, none stored, nothing stored"},
))

// englishFiller may stand around an answer or a command without changing it.
var englishFiller = set("please", "pls", "plz", "thanks", "thank", "you", "cheers", "ta", "well", "um", "uh", "er", "erm", "hmm", "so", "oh", "ah", "mate", "boss", "now",
	"then", "just", "hey", "hi", "hello", "sorry", "sir", "bud", "man", "there", "actually", "really", "indeed", "too", "bot", "assistant", "milepost")

// englishAfterNo may follow "no" and leave it an answer; any other word makes it part of a phrase ("no codes").
var englishAfterNo = set("it", "its", "i", "im", "ive", "that", "thats", "this", "they", "theyre", "the", "there", "theres", "we", "weve", "he", "she", "not", "never", "neither",
	"but", "because", "only", "still", "did", "does", "do", "is", "was", "wait", "mm", "cm", "inch", "inches", "actually", "and", "my", "what", "why", "he", "if", "unless", "since", "as", "none", "dont", "didnt", "havent", "hasnt", "have", "has")

var englishAfterNone = set("of", "at", "that", "i", "it", "there", "so", "on", "and", "either", "here", "as", "in", "but", "found", "stored", "showing", "present", "seen", "before", "after", "now", "again")

// englishAfterYesNot turn a word of consent into something else: "right tyre", "ok google", "good question".
var englishAfterYesNot = set("question", "tyre", "tire", "side", "rear", "front", "hand", "wheel", "axle", "morning", "evening", "afternoon", "night", "day", "point", "luck", "sign", "job")

var englishAnswerEcho = map[Answer]string{Yes: "yes", No: "no", NotSure: "don't know", None: "none"}
