package workspace

import (
	"encoding/json"
	"fmt"
)

// Limits of Block Kit (docs.slack.dev, Block Kit reference; @slack/types 3.2.0).
const (
	maxBlocks     = 50
	maxViewBlocks = 100
	maxBlocksSize = 13000 // all blocks of a message; undocumented, slackapi/bolt-js 2509 saw about 13,200
)

// ValidateBlocks says what Slack would refuse in the blocks of a message, nil if nothing. The last line is "msg_blocks_too_long"
// if only their size is wrong.
func ValidateBlocks(raw json.RawMessage) []string {
	c := newChecker("message")
	c.blocks(raw, maxBlocks, "/blocks")
	return c.faults
}

func (c *checker) blocks(raw json.RawMessage, most int, at string) {
	v, err := parse(raw)
	if err != nil {
		c.fault(at, "must be valid JSON")
		return
	}
	if l, ok := v.([]any); ok && len(l) == 0 && c.surface == "message" {
		return // an empty array takes the blocks away; only within blocks is it refused
	}
	list(0, most, block)(c, at, v)
	if len(c.faults) == 0 && c.surface == "message" {
		if small, _ := json.Marshal(v); length(string(small)) > maxBlocksSize {
			c.faults = append(c.faults, "msg_blocks_too_long")
		}
	}
}

// block is one layout block, on any surface. Types that the reference has but that are not listed here (call, file, video and
// those for AI apps) are refused.
func block(c *checker, at string, v any) {
	before := len(c.faults)
	typed(map[string]func(*checker, string, any){
		"section": section, "header": header, "context": contextBlock, "actions": actions, "divider": divider, "image": image,
		"input": input, "markdown": markdown, "rich_text": richText, "table": table,
	})(c, at, v)
	if len(c.faults) > before {
		return
	}
	o := v.(obj)
	if id, ok := o["block_id"].(string); ok {
		if c.blockIDs[id] {
			c.fault(at+"/block_id", "block_id %q is used twice", id)
		}
		c.blockIDs[id] = true
	}
	c.uniqueActions(at, o)
}

// of is the shape of a block with the properties that all have.
func of(kind string, s shape) shape {
	s["type"] = need(word(kind))
	s["block_id"] = may(text(255))
	return s
}

func section(c *checker, at string, v any) {
	o := c.object(at, v, of("section", shape{"text": may(words(3000)), "fields": may(list(1, 10, words(2000))),
		"accessory": may(element("section")), "expand": may(truth)}))
	if o["text"] == nil && o["fields"] == nil {
		c.fault(at, "must define either `text` or `fields`")
	}
}

func header(c *checker, at string, v any) {
	c.object(at, v, of("header", shape{"text": need(plain(150))}))
}

func divider(c *checker, at string, v any) { c.object(at, v, of("divider", shape{})) }

func contextBlock(c *checker, at string, v any) {
	part := func(c *checker, at string, v any) {
		if o, ok := v.(obj); ok && o["type"] == "image" {
			imageElement(c, at, v)
			return
		}
		words(3000)(c, at, v)
	}
	c.object(at, v, of("context", shape{"elements": need(list(1, 10, part))}))
}

func actions(c *checker, at string, v any) {
	c.object(at, v, of("actions", shape{"elements": need(list(1, 25, element("actions")))}))
}

func image(c *checker, at string, v any) {
	s := imageShape()
	s["title"] = may(plain(2000))
	c.oneSource(at, c.object(at, v, of("image", s)))
}

func imageElement(c *checker, at string, v any) {
	s := imageShape()
	s["type"] = need(word("image"))
	c.oneSource(at, c.object(at, v, s))
}

func imageShape() shape {
	file := func(c *checker, at string, v any) {
		o := c.object(at, v, shape{"id": may(text(255)), "url": may(address(3000))})
		if (o["id"] == nil) == (o["url"] == nil) {
			c.fault(at, "must define either `id` or `url`")
		}
		if id, ok := o["id"].(string); ok {
			c.files = append(c.files, id)
		}
	}
	return shape{"image_url": may(picture), "slack_file": may(file), "alt_text": need(text(2000))}
}

func (c *checker) oneSource(at string, o obj) {
	if o != nil && (o["image_url"] == nil) == (o["slack_file"] == nil) {
		c.fault(at, "must define either `image_url` or `slack_file`")
	}
}

func input(c *checker, at string, v any) {
	c.inputs++
	c.object(at, v, of("input", shape{"label": need(plain(2000)), "element": need(element("input")), "hint": may(plain(2000)),
		"optional": may(truth), "dispatch_action": may(truth)}))
}

func markdown(c *checker, at string, v any) {
	if c.surface != "message" {
		c.fault(at+"/type", "unsupported type: markdown is for messages only")
		return
	}
	o := c.object(at, v, of("markdown", shape{"text": need(text(12000))}))
	s, _ := o["text"].(string)
	if c.markdown += length(s); c.markdown > 12000 {
		c.fault(at, "all markdown blocks together must be less than 12001 characters")
	}
}

func table(c *checker, at string, v any) {
	if c.tables++; c.surface != "message" || c.tables > 1 {
		c.fault(at+"/type", "only one table allowed, and in messages only")
	}
	cell := typed(map[string]func(*checker, string, any){
		"raw_text": func(c *checker, at string, v any) {
			c.object(at, v, shape{"type": need(word("raw_text")), "text": need(text(10000))})
		},
		"rich_text": richText,
	})
	column := func(c *checker, at string, v any) {
		c.object(at, v, shape{"align": may(word("left", "center", "right")), "is_wrapped": may(truth)})
	}
	o := c.object(at, v, of("table", shape{"rows": need(list(1, 100, list(1, 20, cell))), "column_settings": may(list(1, 20, column))}))
	width := -1
	rows, _ := o["rows"].([]any)
	for i, r := range rows {
		cells, _ := r.([]any)
		if width >= 0 && len(cells) != width {
			c.fault(fmt.Sprintf("%s/rows/%d", at, i), "all rows must have the same number of cells")
		}
		width = len(cells)
	}
}

// uniqueActions holds action ids apart within their block.
func (c *checker) uniqueActions(at string, o obj) {
	seen := map[string]bool{}
	for _, e := range elementsOf(o) {
		id, _ := e["action_id"].(string)
		if id != "" && seen[id] {
			c.fault(at, "action_id %q is used twice in its block", id)
		}
		seen[id] = true
	}
}

// elementsOf lists the interactive elements of a block.
func elementsOf(block obj) (list []obj) {
	add := func(v any) {
		if e, ok := v.(obj); ok && e["action_id"] != nil {
			list = append(list, e)
		}
	}
	add(block["accessory"])
	add(block["element"])
	if l, ok := block["elements"].([]any); ok && block["type"] == "actions" {
		for _, e := range l {
			add(e)
		}
	}
	return list
}
