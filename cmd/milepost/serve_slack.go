package main

import (
	"context"
	"maps"
	"slices"
	"strings"

	"milepost/adapters/slack"
	"milepost/bot"
	"milepost/flow"
)

// wireSlack makes the Slack network of [slack].
func wireSlack(c *config, k kit) (network, error) {
	if c.slack == nil {
		return nil, nil
	}
	sc := slack.Config{
		BotToken:      c.slack.botToken,
		AppToken:      c.slack.appToken,
		SigningSecret: c.slack.signing,
		EventsAddr:    c.slack.events,
		APIURL:        c.slack.api,
		Team:          c.slack.team,
		Dir:           k.own(slack.NetworkName),
		Patterns:      c.slackChannels(),
		Posts:         c.posts(slack.NetworkName),
		May:           c.mayOnSlack,
		MaxFile:       c.maxFile(),
		Blobs:         k.blobs,
		Program:       program(),
		Log:           k.log,
	}
	s, err := slack.New(sc)
	if err != nil {
		return nil, err
	}
	return slackNetwork{s}, nil
}

// slackChannels are the channels that give a role, in the order in which they
// count where a person is in several: those of an earlier shop first, and of one
// shop those of its technicians.
func (c *config) slackChannels() (places []string) {
	for i := range c.shops {
		rooms := c.shops[i].rooms
		for _, role := range []flow.Role{flow.Technician, flow.Customer} {
			for _, room := range slices.Sorted(maps.Keys(rooms)) {
				if rooms[room] == role && isSlackPlace(room) {
					places = append(places, room)
				}
			}
		}
	}
	return places
}

// mayOnSlack says whether a user is named in the configuration: by the full
// TEAM/USER, or by USER, which is of the one workspace served.
func (c *config) mayOnSlack(user string) bool {
	for i := range c.shops {
		for id := range c.shops[i].people {
			full, ours := strings.CutPrefix(string(id), slack.NetworkName+":")
			if ours && (full == user || strings.HasSuffix(full, "/"+user)) {
				return true
			}
		}
	}
	return false
}

// slackNetwork is the adapter as serve runs it, with all its abilities.
type slackNetwork struct{ *slack.Slack }

// Run is of network.
func (n slackNetwork) Run(ctx context.Context, hear hearer) error { return n.Slack.Run(ctx, hear) }

var (
	_ bot.CardEditor = slackNetwork{}
	_ bot.Forgetter  = slackNetwork{}
	_ bot.Receiver   = slackNetwork{}
)
