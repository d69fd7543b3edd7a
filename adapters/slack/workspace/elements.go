package workspace

import (
	"maps"
	"reflect"
	"slices"
	"strings"
	"time"
)

// places says in which blocks an element may stand (docs.slack.dev, Block elements).
var places = map[string]string{
	"button": "section actions", "workflow_button": "", "overflow": "section actions",
	"static_select": "section actions input", "users_select": "section actions input",
	"conversations_select": "section actions input", "channels_select": "section actions input",
	"multi_static_select": "section input", "multi_users_select": "section input",
	"multi_conversations_select": "section input", "multi_channels_select": "section input",
	"checkboxes": "section actions input", "radio_buttons": "section actions input",
	"datepicker": "section actions input", "timepicker": "section actions input", "datetimepicker": "actions input",
	"plain_text_input": "input", "number_input": "input", "email_text_input": "input", "url_text_input": "input",
	"rich_text_input": "input", "file_input": "input", "image": "section",
}

// element is an element within a block of the given type.
func element(where string) rule {
	return func(c *checker, at string, v any) {
		o, ok := v.(obj)
		if !ok {
			c.fault(at, "must be an object")
			return
		}
		kind, _ := o["type"].(string)
		if !slices.Contains(strings.Fields(places[kind]), where) {
			c.fault(at+"/type", "unsupported type: %s in %s", kind, where)
			return
		}
		if kind == "image" {
			imageElement(c, at, v)
			return
		}
		s := shape{"type": need(word(kind)), "action_id": need(text(255))}
		maps.Copy(s, elementShape(kind, where))
		if o := c.object(at, v, s); o != nil {
			c.elementRest(at, kind, o)
		}
		if o["focus_on_load"] == true {
			if c.focus++; c.focus > 1 {
				c.fault(at+"/focus_on_load", "only one element may have the focus")
			}
		}
	}
}

func elementShape(kind, where string) shape {
	confirm, hold, focus := may(confirmation), may(plain(150)), may(truth)
	one := may(option(kind))
	choice := func(s shape) shape { s["confirm"], s["focus_on_load"] = confirm, focus; return s }
	entry := func(s shape) shape {
		s["placeholder"], s["focus_on_load"], s["dispatch_action_config"] = hold, focus, may(dispatchConfig)
		return s
	}
	id := may(text(255))
	ids := may(list(1, 100, text(255)))
	switch kind {
	case "button":
		return shape{"text": need(plain(75)), "url": may(address(3000)), "value": may(text(2000)),
			"style": may(word("primary", "danger")), "confirm": confirm, "accessibility_label": may(text(75))}
	case "overflow":
		return shape{"options": need(list(1, 5, option(kind))), "confirm": confirm}
	case "checkboxes":
		return choice(shape{"options": need(list(1, 10, option(kind))), "initial_options": may(list(1, 10, option(kind)))})
	case "radio_buttons":
		return choice(shape{"options": need(list(1, 10, option(kind))), "initial_option": one})
	case "static_select":
		return choice(shape{"placeholder": hold, "options": may(list(1, 100, option(kind))), "option_groups": may(list(1, 100, group)),
			"initial_option": one})
	case "multi_static_select":
		return choice(shape{"placeholder": hold, "options": may(list(1, 100, option(kind))), "option_groups": may(list(1, 100, group)),
			"initial_options": may(list(1, 100, option(kind))), "max_selected_items": may(whole(1, 100))})
	case "users_select":
		return choice(shape{"placeholder": hold, "initial_user": id})
	case "channels_select", "conversations_select":
		s := shape{"placeholder": hold, "initial_channel": id}
		if kind == "conversations_select" {
			s = shape{"placeholder": hold, "initial_conversation": id, "default_to_current_conversation": may(truth), "filter": may(channelFilter)}
		}
		if where == "input" {
			s["response_url_enabled"] = may(truth)
		}
		return choice(s)
	case "multi_users_select", "multi_channels_select", "multi_conversations_select":
		which := map[string]string{"multi_users_select": "initial_users", "multi_channels_select": "initial_channels",
			"multi_conversations_select": "initial_conversations"}[kind]
		return choice(shape{"placeholder": hold, which: ids, "max_selected_items": may(whole(1, 100))})
	case "datepicker":
		return choice(shape{"placeholder": hold, "initial_date": may(clock("2006-01-02"))})
	case "timepicker":
		return choice(shape{"placeholder": hold, "initial_time": may(clock("15:04")), "timezone": may(text(100))})
	case "datetimepicker":
		return choice(shape{"initial_date_time": may(whole(1000000000, 9999999999))})
	case "plain_text_input":
		return entry(shape{"initial_value": may(text(3000)), "multiline": may(truth), "min_length": may(whole(0, 3000)), "max_length": may(whole(1, 3000))})
	case "number_input":
		return entry(shape{"is_decimal_allowed": need(truth), "initial_value": may(numeral), "min_value": may(numeral), "max_value": may(numeral)})
	case "email_text_input", "url_text_input":
		return entry(shape{"initial_value": may(text(3000))})
	case "rich_text_input":
		return entry(shape{"initial_value": may(richText)})
	case "file_input":
		return shape{"filetypes": may(list(1, 100, text(20))), "max_files": may(whole(1, 10))}
	}
	return nil
}

// elementRest holds what one property asks of another.
func (c *checker) elementRest(at, kind string, o obj) {
	if kind == "static_select" || kind == "multi_static_select" {
		if (o["options"] == nil) == (o["option_groups"] == nil) {
			c.fault(at, "must define either `options` or `option_groups`")
		}
	}
	if kind == "file_input" && c.surface != "modal" {
		c.fault(at+"/type", "unsupported type: file_input is for modals only")
	}
	known := optionsOf(o)
	same := func(v any) bool {
		return slices.ContainsFunc(known, func(k obj) bool { return reflect.DeepEqual(any(k), v) })
	}
	if v := o["initial_option"]; v != nil && !same(v) {
		c.fault(at+"/initial_option", "must be one of the options")
	}
	if l, ok := o["initial_options"].([]any); ok && slices.ContainsFunc(l, func(v any) bool { return !same(v) }) {
		c.fault(at+"/initial_options", "must be among the options")
	}
}

// optionsOf lists all options of an element, grouped or not.
func optionsOf(e obj) (out []obj) {
	add := func(v any) {
		l, _ := v.([]any)
		for _, x := range l {
			if o, ok := x.(obj); ok {
				out = append(out, o)
			}
		}
	}
	add(e["options"])
	groups, _ := e["option_groups"].([]any)
	for _, g := range groups {
		if o, ok := g.(obj); ok {
			add(o["options"])
		}
	}
	return out
}

func option(kind string) rule {
	return func(c *checker, at string, v any) {
		label := plain(75)
		describe := plain(75)
		if kind == "checkboxes" || kind == "radio_buttons" {
			label, describe = words(75), words(75)
		}
		s := shape{"text": need(label), "value": need(text(150)), "description": may(describe)}
		if kind == "overflow" {
			s["url"] = may(address(3000))
		}
		c.object(at, v, s)
	}
}

func group(c *checker, at string, v any) {
	c.object(at, v, shape{"label": need(plain(75)), "options": need(list(1, 100, option("static_select")))})
}

func confirmation(c *checker, at string, v any) {
	c.object(at, v, shape{"title": need(plain(100)), "text": need(words(300)), "confirm": need(plain(30)), "deny": need(plain(30)),
		"style": may(word("primary", "danger"))})
}

func dispatchConfig(c *checker, at string, v any) {
	c.object(at, v, shape{"trigger_actions_on": need(list(1, 2, word("on_enter_pressed", "on_character_entered")))})
}

func channelFilter(c *checker, at string, v any) {
	c.object(at, v, shape{"include": may(list(1, 4, word("im", "mpim", "private", "public"))),
		"exclude_external_shared_channels": may(truth), "exclude_bot_users": may(truth)})
}

func clock(layout string) rule {
	return func(c *checker, at string, v any) {
		s, ok := v.(string)
		if _, err := time.Parse(layout, s); !ok || err != nil {
			c.fault(at, "must look like %s", layout)
		}
	}
}
