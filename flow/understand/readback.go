package understand

// ReadBack reads the one value a module shows after a write: "2609", "it reads 2609", "back at 2438 mm", "shows 2,609".
// Lengths come in mm. With a list of sizes in the context it is the label.
func ReadBack(text string, ctx Context) (Match[Stored], bool, *Ask) {
	ms, ask := StoredValues(text, ctx)
	switch {
	case ask != nil && ask.Code == AskValueNone:
		return Match[Stored]{}, false, nil
	case ask != nil && ask.Code == AskValueSeveral:
		return Match[Stored]{}, false, newAsk(AskReadBack, text)
	case ask != nil:
		return Match[Stored]{}, false, ask
	case len(ms) != 1:
		return Match[Stored]{}, false, newAsk(AskReadBack, text)
	}
	ms[0].Value.Which = "" // "2609 now" is the moment, not a second question
	ms[0].Echo = storedEcho(ms[0].Value)
	return ms[0], true, nil
}
