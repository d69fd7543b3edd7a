// Package slack is the assistant on Slack: a thread for each job, buttons and
// forms, files, and a home view, by Socket Mode or by the Events API over HTTP.
//
// # A message's way in
//
//	socket or request ─▶ one transaction: inbox row (inbox.go) ─▶ acknowledged
//	        ─▶ lane of that thread ─▶ what it means (hear*.go) ─▶ bot.Handle ─▶ row deleted
//
// Nothing is acknowledged that is not stored, and nothing is done before it is
// acknowledged. One thing that comes in several shapes, or several times, is one
// row.
//
// # A message's way out
//
//	bot's outbox ─▶ Send (send.go) ─▶ noted as tried ─▶ chat.postMessage with the
//	        row in its metadata ─▶ noted with its ts
//
// Slack knows no key for a repeat: a message whose fate is unknown is looked for
// in its thread, by its metadata, before it is sent again.
//
// # Threads
//
// A bot.Thread is "TEAM/CHANNEL/ts", where ts is that of the message that began
// the job. The job's card is the root of Slack's thread. Which root belongs to
// which thread is kept, and can be found again by the card's metadata.
package slack

import (
	"strings"

	"milepost/bot"
)

// NetworkName is the network's name, and the prefix of its identities.
const NetworkName = "slack"

// Identity is a user's full and exact identity.
func Identity(team, user string) bot.Identity {
	return bot.Identity(NetworkName + ":" + team + "/" + user)
}

// threadName names the thread of a job that a message began.
func threadName(team, channel, ts string) bot.Thread {
	return bot.Thread(team + "/" + channel + "/" + ts)
}

// splitThread takes a thread's name apart; ts is "" for the channel itself.
func splitThread(t bot.Thread) (team, channel, ts string) {
	team, rest, _ := strings.Cut(string(t), "/")
	channel, ts, _ = strings.Cut(rest, "/")
	return team, channel, ts
}
