package workspace

import "time"

// Options describe the workspace. The zero value is a small shop: team T0SHOP with the channels shop (public, the app in it),
// bay (private, the app in it), office (private, without the app), yard (public, without the app) and joint (shared with another
// workspace, the app in it), the members kim, sam and alex, the guest gail, the stranger strand from another workspace, and an app with every scope of DefaultScopes.
type Options struct {
	Team     string // team id, "T0SHOP" if empty
	Org      string // id of the Enterprise organisation it is a workspace of, "" if it is of none
	Domain   string // team domain, "shop" if empty
	Channels []Channel
	People   []Person
	AppName  string   // name people mention the app by, "milepost" if empty
	Scopes   []string // granted to the bot token; nil: DefaultScopes
	Events   []string // subscribed; nil: DefaultEvents
	Commands []string // registered slash commands; nil: "/milepost"

	AckTimeout  time.Duration   // how long an acknowledgement may take; 3 s if 0, as Slack's
	Retries     []time.Duration // pause before each redelivery; nil: at once, 300 ms, 1 s (Slack: at once, 1 min, 5 min)
	PingEvery   time.Duration   // between WebSocket pings; 5 s if 0
	TriggerLife time.Duration   // life of a trigger_id; 3 s if 0
	TicketLife  time.Duration   // life of an unused socket URL; 30 s if 0
	ReplyLife   time.Duration   // life of a response_url; 30 min if 0
	ShareDelay  time.Duration   // between files.completeUploadExternal and the share; 100 ms if 0
	Underway    time.Duration   // a call that comes so soon after the method was refused by a Retry-After was under way already
	ReadyDelay  time.Duration   // until an uploaded picture may be used in a block; ShareDelay if 0

	NoRateLimit      bool // switches the limits off; Fault still gives a 429 on demand
	NoPreviews       bool // people's links get no preview
	Distributed      bool // history and replies: one request a minute and 15 messages, as for apps outside the marketplace
	StrictTombstones bool // a thread whose root was deleted takes no more replies
}

// Kind of a channel.
type Kind string

// The kinds of channels.
const (
	Public  Kind = "public_channel"
	Private Kind = "private_channel"
	Direct  Kind = "im"
	Group   Kind = "mpim" // a direct message of several people
)

// Channel is a channel to begin with. A direct channel holds the app and the one member named.
type Channel struct {
	ID       string // made from the name if empty
	Name     string
	Kind     Kind     // Public if empty
	Members  []string // names of people
	App      bool     // the app is a member
	Archived bool
	Shared   bool // connected with another workspace
	Threads  bool // the app may write in its threads only
}

// Person is a member, a guest, somebody of another workspace or another app's bot.
type Person struct {
	ID    string // made from the name if empty
	Name  string // handle, lower case
	Real  string // full name as shown; the handle if empty
	Guest bool
	Team  string // other workspace's id, for a stranger
	Bot   bool

	// In an organisation, the workspaces they are in, where users.info names the organisation as their team. nil: it names this one.
	Teams []string
}

// DefaultScopes are the bot scopes of an installation that may do everything the workspace serves, pins aside.
func DefaultScopes() []string {
	return []string{"app_mentions:read", "channels:history", "channels:read", "chat:write", "commands", "files:read",
		"files:write", "groups:history", "groups:read", "im:history", "im:read", "im:write", "reactions:read",
		"reactions:write", "users:read"}
}

// DefaultEvents are all events the workspace can send.
func DefaultEvents() []string {
	return []string{"app_home_opened", "app_mention", "channel_archive", "channel_left", "channel_unarchive", "file_deleted",
		"file_shared", "group_archive", "group_left", "group_unarchive", "member_joined_channel", "member_left_channel",
		"message.channels", "message.groups", "message.im", "reaction_added", "reaction_removed", "tokens_revoked",
		"app_uninstalled", "user_change"}
}

func (o Options) filled() Options {
	set := func(s *string, v string) {
		if *s == "" {
			*s = v
		}
	}
	last := func(d *time.Duration, v time.Duration) {
		if *d == 0 {
			*d = v
		}
	}
	set(&o.Team, "T0SHOP")
	set(&o.Domain, "shop")
	set(&o.AppName, "milepost")
	if o.Scopes == nil {
		o.Scopes = DefaultScopes()
	}
	if o.Events == nil {
		o.Events = DefaultEvents()
	}
	if o.Commands == nil {
		o.Commands = []string{"/milepost"}
	}
	if o.Retries == nil {
		o.Retries = []time.Duration{0, 300 * time.Millisecond, time.Second}
	}
	if o.People == nil {
		o.People = []Person{{Name: "kim", Real: "Kim Vale"}, {Name: "sam", Real: "Sam Orr"}, {Name: "alex", Real: "Alex Dunn"},
			{Name: "gail", Real: "Gail Guest", Guest: true}, {Name: "strand", Real: "Strand Far", Team: "T0FAR"}}
	}
	if o.Channels == nil {
		o.Channels = []Channel{{Name: "shop", Members: []string{"kim", "sam", "alex", "gail"}, App: true},
			{Name: "bay", Kind: Private, Members: []string{"kim", "sam"}, App: true},
			{Name: "office", Kind: Private, Members: []string{"kim"}},
			{Name: "yard", Members: []string{"kim", "sam"}},
			{Name: "joint", Members: []string{"kim", "strand"}, App: true, Shared: true}}
	}
	last(&o.AckTimeout, 3*time.Second)
	last(&o.PingEvery, 5*time.Second)
	last(&o.TriggerLife, 3*time.Second)
	last(&o.TicketLife, 30*time.Second)
	last(&o.ReplyLife, 30*time.Minute)
	last(&o.ShareDelay, 100*time.Millisecond)
	last(&o.ReadyDelay, o.ShareDelay)
	return o
}
