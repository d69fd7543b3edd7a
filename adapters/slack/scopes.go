package slack

import (
	_ "embed"
	"slices"
	"strings"
)

// need is something of Slack's that is used here, and the scopes it wants: all of
// them, because every kind of conversation is met.
type need struct {
	name   string
	scopes []string
}

var (
	history = []string{"channels:history", "groups:history", "im:history"}
	reading = []string{"channels:read", "groups:read", "im:read"}
)

// methods are those of the Web API that are called with the bot token (scopes as
// the methods' pages in docs.slack.dev give them). apps.connections.open is called
// with the app token.
var methods = []need{
	{"auth.test", nil},
	{"chat.postMessage", []string{"chat:write"}},
	{"chat.postEphemeral", []string{"chat:write"}},
	{"chat.update", []string{"chat:write"}},
	{"chat.getPermalink", nil},
	{"conversations.history", history},
	{"conversations.replies", history},
	{"conversations.info", reading},
	{"conversations.members", reading},
	{"conversations.open", []string{"im:write"}},
	{"users.conversations", reading},
	{"users.info", []string{"users:read"}},
	{"files.info", []string{"files:read"}},
	{"files.getUploadURLExternal", []string{"files:write"}},
	{"files.completeUploadExternal", []string{"files:write"}},
	{"views.open", nil},
	{"views.publish", nil},
}

// events are those that are subscribed to (scopes as the events' pages give them).
var events = []need{
	{"app_home_opened", nil},
	{"app_mention", []string{"app_mentions:read"}},
	{"app_uninstalled", nil},
	{"channel_archive", []string{"channels:read"}},
	{"channel_left", []string{"channels:read"}},
	{"channel_unarchive", []string{"channels:read"}},
	{typeFileGone, []string{"files:read"}},
	{"group_archive", []string{"groups:read"}},
	{"group_left", []string{"groups:read"}},
	{"group_unarchive", []string{"groups:read"}},
	{"member_joined_channel", []string{"channels:read", "groups:read"}},
	{"member_left_channel", []string{"channels:read", "groups:read"}},
	{typeMessage + ".channels", []string{"channels:history"}},
	{typeMessage + ".groups", []string{"groups:history"}},
	{typeMessage + ".im", []string{"im:history"}},
	{"reaction_added", []string{"reactions:read"}},
	{"reaction_removed", []string{"reactions:read"}},
	{"tokens_revoked", nil},
	{"user_change", []string{"users:read"}},
}

// askedFor says whether events of a type are subscribed to.
func askedFor(kind string) bool {
	return slices.ContainsFunc(events, func(n need) bool {
		name, _, _ := strings.Cut(n.name, ".")
		return name == kind
	})
}

// others are uses beside methods and events: the slash command and the shortcuts,
// and the download of private files.
var others = []need{{"commands", []string{"commands"}}, {"download", []string{"files:read"}}}

// scopesNeeded are the bot token's scopes, sorted: what the manifests ask for.
func scopesNeeded() []string {
	var all []string
	for _, n := range slices.Concat(methods, events, others) {
		all = append(all, n.scopes...)
	}
	slices.Sort(all)
	return slices.Compact(all)
}

//go:embed manifest.json
var manifestSocket []byte

//go:embed manifest_http.json
var manifestHTTP []byte

// Manifest is the app's manifest, as it is pasted when the app is made: for Socket
// Mode, or for the Events API over HTTP, where the three addresses are to be put
// in.
func Manifest(overHTTP bool) []byte {
	if overHTTP {
		return slices.Clone(manifestHTTP)
	}
	return slices.Clone(manifestSocket)
}
