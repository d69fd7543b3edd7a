package main

import (
	"regexp"
	"strconv"
	"strings"
	"time"
	_ "time/tzdata" // a system without its own table of zones still has them

	"milepost/bot"
	"milepost/flow"
)

// shopConfig is [[shop]], or all that there is of the one shop without it.
type shopConfig struct {
	name   string
	people map[bot.Identity]flow.Role
	rooms  map[string]flow.Role // as Inbound.Room names them
	policy flow.Policy
	zone   *time.Location
	hours  bot.Hours
	alerts []bot.JobThread
	digest []bot.JobThread
	key    secret // unset: the file in the data directory
}

var isShopName = regexp.MustCompile(`^[A-Za-z0-9][A-Za-z0-9._-]{0,63}$`).MatchString

// readShops reads the shops, or makes the one of what stands outside.
func (c *config) readShops(top *table) {
	policy := top.sub("policy", "[policy]").policy(flow.Policy{})
	people := top.sub("people", "[people]")
	tables := top.subs("shop", "[[shop]]")
	if !top.has("shop") {
		s := shopConfig{name: bot.DefaultShop, policy: policy, people: people.people(), rooms: map[string]flow.Role{}, key: c.log.key}
		if c.matrix != nil {
			addRooms(s.rooms, c.matrix.rooms)
		}
		if c.slack != nil {
			addRooms(s.rooms, c.slack.rooms)
		}
		s.alerts = c.readAlerts(top, "[alerts]")
		c.shops = []shopConfig{s}
		return
	}
	if top.has("alerts") {
		top.fault("alerts", "with [[shop]] each has its own; want them in its [shop.alerts]")
	}
	if people != nil {
		top.fault("people", "with [[shop]] a person belongs to one shop; want them in its [shop.people]")
	}
	for _, t := range tables {
		c.shops = append(c.shops, c.readShop(t, policy))
	}
	c.checkApart(tables)
}

func addRooms(to, from map[string]flow.Role) {
	for room, role := range from {
		to[room] = role
	}
}

func (c *config) readShop(t *table, policy flow.Policy) shopConfig {
	defer t.done()
	var s shopConfig
	s.name = t.text("name", "", "1 to 64 letters, digits, . _ or -", isShopName)
	t.needs("name")
	s.policy = t.sub("policy", "[shop.policy]").policy(policy)
	s.people = t.sub("people", "[shop.people]").people()
	s.rooms = map[string]flow.Role{}
	if rooms := t.sub("rooms", "[shop.rooms]"); rooms != nil {
		s.rooms = rooms.roles(c.wantPlace()+`, or "@*:server" for everyone of a server`, func(key string) string {
			if isMatrixAll(key) {
				return key
			}
			_, room := c.place(key)
			return room
		})
	}
	if zone := t.text("time_zone", "", `a name such as "Europe/Vienna"`, isZone); zone != "" {
		s.zone, _ = time.LoadLocation(zone)
	}
	s.hours = readHours(t.text("hours", "", `from and to, as "07:30-18:00"`, isHours))
	s.alerts = c.readAlerts(t, "[shop.alerts]")
	s.digest = c.places(t, "digest", "")
	s.key = t.secret("log_key")
	return s
}

// readAlerts reads the rooms of alerts.
func (c *config) readAlerts(of *table, name string) (to []bot.JobThread) {
	alerts := of.sub("alerts", name)
	if alerts == nil {
		return nil
	}
	for _, role := range []flow.Role{flow.Helper, flow.Supervisor} {
		to = append(to, c.places(alerts, string(role), role)...)
	}
	alerts.done()
	return to
}

// place reads a room as people write it: its network and how that names it.
func (c *config) place(key string) (network, room string) {
	switch {
	case isMatrixRoom(key):
		return "matrix", key
	case isSlackPlace(key):
		return "slack", key
	case c.slack != nil && c.slack.team != "" && isSlackChannel(key):
		return "slack", c.slack.team + "/" + key
	}
	return "", ""
}

func (c *config) wantPlace() string { return `"!room:server" or "TEAM/CHANNEL"` }

// places reads rooms in whose main line something is said.
func (c *config) places(t *table, key string, role flow.Role) (to []bot.JobThread) {
	for _, text := range t.texts(key, c.wantPlace(), func(s string) bool {
		network, _ := c.place(s)
		return network != ""
	}) {
		network, room := c.place(text)
		if network == "matrix" && c.matrix == nil || network == "slack" && c.slack == nil {
			t.fault(key, "%s is of a network that is not configured; want [%s] too", shown(text), network)
		}
		to = append(to, bot.JobThread{Network: network, Thread: bot.Thread(room), For: role})
	}
	return to
}

func isZone(s string) bool {
	_, err := time.LoadLocation(s)
	return err == nil && s != "" && s != "Local"
}

var hoursForm = regexp.MustCompile(`^([01][0-9]|2[0-3]):[0-5][0-9]-(([01][0-9]|2[0-3]):[0-5][0-9]|24:00)$`)

func isHours(s string) bool {
	from, to, _ := strings.Cut(s, "-")
	return hoursForm.MatchString(s) && from != to
}

// readHours reads hours of the form of hoursForm; "" is always.
func readHours(s string) bot.Hours {
	clock := func(s string) time.Duration {
		hour, _ := strconv.Atoi(s[:2]) // digits by the form
		minute, _ := strconv.Atoi(s[3:])
		return time.Duration(hour)*time.Hour + time.Duration(minute)*time.Minute
	}
	from, to, ok := strings.Cut(s, "-")
	if !ok {
		return bot.Hours{}
	}
	return bot.Hours{From: clock(from), To: clock(to)}
}

// What identities are like. A pattern is none, whatever it says of itself.
const wantIdentity = `a full and exact identity: "matrix:@user:server", "slack:TEAM/USER" or "terminal:NAME"`

var isSlackUser = regexp.MustCompile(`^slack:` + slackTeam + `/[UW][A-Z0-9]{1,32}$`).MatchString

func isIdentity(s string) bool {
	user, matrix := strings.CutPrefix(s, "matrix:")
	name, terminal := strings.CutPrefix(s, "terminal:")
	return matrix && isExactUser(user) || isSlackUser(s) ||
		terminal && isShort(name) && !strings.ContainsAny(name, "*?") && strings.TrimSpace(name) == name
}

// people reads who is who.
func (t *table) people() map[bot.Identity]flow.Role {
	if t == nil {
		return nil
	}
	people := map[bot.Identity]flow.Role{}
	for _, key := range t.keys() {
		if !isIdentity(key) {
			t.fault(key, "this is nobody's identity; want %s. A pattern gives technician or customer at most, and stands with the rooms", wantIdentity)
			continue
		}
		role := t.oneOf(key, "", string(flow.Technician), string(flow.Customer), string(flow.Helper), string(flow.Supervisor))
		if role != "" {
			people[bot.Identity(key)] = flow.Role(role)
		}
	}
	return people
}

// checkApart refuses what belongs to two shops: a name, a person, a room.
func (c *config) checkApart(tables []*table) {
	names, of := map[string]bool{}, map[string]string{}
	if len(tables) == 0 {
		return
	}
	for i := range c.shops {
		s, t := &c.shops[i], tables[i]
		if s.name != "" && names[s.name] {
			t.fault("name", "there is another shop %q; want a name of its own", s.name)
		}
		names[s.name] = true
		for id := range s.people {
			if other, taken := of[string(id)]; taken {
				people := &table{r: t.r, name: "[shop.people]", path: append(append([]string(nil), t.path...), "people")}
				people.fault(string(id), "a person belongs to one shop; this one is in shop %q too", other)
			}
			of[string(id)] = s.name
		}
		for room := range s.rooms {
			if other, taken := of["room "+room]; taken {
				rooms := &table{r: t.r, name: "[shop.rooms]", path: append(append([]string(nil), t.path...), "rooms")}
				rooms.fault(room, "a room belongs to one shop; this one is in shop %q too", other)
			}
			of["room "+room] = s.name
		}
	}
}

// botShops are the shops for the bot, with their keys.
func (c *config) botShops(keys shopKeys) (shops []bot.Shop) {
	for i := range c.shops {
		s := &c.shops[i]
		shops = append(shops, bot.Shop{Name: s.name, People: s.people, Rooms: s.rooms, Policy: s.policy, Key: keys[s.name],
			Zone: s.zone, Hours: s.hours, Alerts: s.alerts, Digest: s.digest})
	}
	return shops
}
