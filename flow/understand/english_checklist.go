package understand

var englishDenial = set("not", "no", "isnt", "arent", "dont", "doesnt", "cant", "never", "broken", "bad", "wrong", "missing", "fails", "failed", "unsure", "havent", "hasnt", "nearly", "almost", "wasnt", "wont")

var englishBeside = set("volts", "volt", "v", "voltage", "supply", "on", "with", "and", "checked", "battery", "lines", "line", "here", "done", "to", "good", "fine", "measured", "reads", "reading", "of", "them", "why", "nope")

var englishAll = newLexicon(false, table(
	row[string]{"yes", "all yes, yes all, yes to all, yes to everything, yes to all of them, all of them yes, all ok, all okay, all good, all fine, all done, all correct, all right, everything yes, everything ok, everything is ok, everything fine, everything good, yes everything, all confirmed, confirm all, all checked, all true, all of the above, all of them, everything, all clear, all are yes, all are ok, theyre all yes, they are all ok, all lines yes, every line yes, all four yes, all three yes, all five yes, all, rest yes, the rest yes, rest is yes, rest ok, rest fine, rest are yes, others yes, the others yes, rest are fine, rest all yes"},
	row[string]{"no", "all no, no to all, none of them, none of the above, all of them no"},
))

var englishExcept = set("but", "except", "bar", "apart", "besides", "minus", "without", "excluding", "save", "only")

var englishToLines = set("to", "on", "for", "line", "lines", "number", "numbers")
