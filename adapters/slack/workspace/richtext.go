package workspace

// richText is the rich_text block (docs.slack.dev, Rich text block).
func richText(c *checker, at string, v any) {
	part := typed(map[string]func(*checker, string, any){
		"rich_text_section": richSection, "rich_text_list": richList, "rich_text_preformatted": richPreformatted, "rich_text_quote": richQuote,
	})
	c.object(at, v, of("rich_text", shape{"elements": need(list(1, 100, part))}))
}

func richSection(c *checker, at string, v any) {
	c.object(at, v, shape{"type": need(word("rich_text_section")), "elements": need(list(1, 1000, richInline))})
}

func richQuote(c *checker, at string, v any) {
	c.object(at, v, shape{"type": need(word("rich_text_quote")), "elements": need(list(1, 1000, richInline)), "border": may(whole(0, 1))})
}

func richPreformatted(c *checker, at string, v any) {
	c.object(at, v, shape{"type": need(word("rich_text_preformatted")), "elements": need(list(1, 1000, richInline)), "border": may(whole(0, 1)),
		"language": may(text(50))})
}

func richList(c *checker, at string, v any) {
	c.object(at, v, shape{"type": need(word("rich_text_list")), "style": need(word("bullet", "ordered")), "elements": need(list(1, 100, richSection)),
		"indent": may(whole(0, 8)), "offset": may(whole(0, 1000)), "border": may(whole(0, 1))})
}

func richInline(c *checker, at string, v any) {
	style := may(func(c *checker, at string, v any) {
		c.object(at, v, shape{"bold": may(truth), "italic": may(truth), "strike": may(truth), "code": may(truth), "highlight": may(truth),
			"client_highlight": may(truth), "unlink": may(truth), "underline": may(truth)})
	})
	one := func(s shape) func(*checker, string, any) {
		return func(c *checker, at string, v any) {
			s["type"] = need(func(*checker, string, any) {})
			c.object(at, v, s)
		}
	}
	// A blank between two other parts is a text part of its own, so only an empty one is refused here.
	words := func(c *checker, at string, v any) {
		if s, ok := v.(string); !ok || s == "" {
			c.fault(at, "must be more than 0 characters")
		}
	}
	typed(map[string]func(*checker, string, any){
		"text":      one(shape{"text": need(words), "style": style}),
		"link":      one(shape{"url": need(address(3000)), "text": may(text(3000)), "unsafe": may(truth), "style": style}),
		"emoji":     one(shape{"name": need(text(100)), "unicode": may(text(100)), "skin_tone": may(whole(1, 6))}),
		"user":      one(shape{"user_id": need(text(50)), "style": style}),
		"usergroup": one(shape{"usergroup_id": need(text(50)), "style": style}),
		"channel":   one(shape{"channel_id": need(text(50)), "style": style}),
		"broadcast": one(shape{"range": need(word("here", "channel", "everyone")), "style": style}),
		"color":     one(shape{"value": need(text(20))}),
		"date": one(shape{"timestamp": need(whole(0, 99999999999)), "format": need(text(200)), "url": may(address(3000)),
			"fallback": may(text(200))}),
	})(c, at, v)
}
