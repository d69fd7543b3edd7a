package slack

import (
	"encoding/json"
	"fmt"
	"net/url"
	"strings"
	"testing"

	"milepost/adapters/slack/workspace"
	"milepost/flow"
)

// What is of another workspace is acknowledged, said to the operator and not acted
// on, whosever id it bears.
func TestOtherWorkspace(t *testing.T) {
	o := workspace.Options{Channels: []workspace.Channel{{Name: "shop", Members: []string{"kim", "sam", "strand"}, App: true}},
		People: []workspace.Person{{Name: "kim"}, {Name: "sam"}, {Name: "strand", Team: "T0FAR"}}}
	r := listen(t, true, o)
	base := "http://" + r.addr()
	thread, _ := r.begins("kim")
	r.card(thread, "k7mw2pd")
	post := r.prompt(thread, "k7mw2pd", 7, "yes", "no")
	kim, strand, shop := r.w.User("kim").ID(), r.w.User("strand").ID(), r.w.Channel("shop")
	n := 0
	event := func(outer string) (string, string) {
		n++
		ts := fmt.Sprintf("18000000%02d.000100", n)
		return PathEvents, fmt.Sprintf(`{"type":"event_callback","event_id":"Ev%d",%s,"event":{"type":"message","channel":%q,"channel_type":"channel","user":%q,"text":"words %d","ts":%q,"event_ts":%q}}`,
			n, outer, shop, kim, n, ts, ts)
	}
	edit := func(outer string) (string, string) {
		n++
		ts := fmt.Sprintf("18000000%02d.000100", n)
		m := func(text, more string) string {
			return fmt.Sprintf(`{"user":%q,"text":%q,"ts":%q%s}`, kim, text, ts, more)
		}
		return PathEvents, fmt.Sprintf(`{"type":"event_callback","event_id":"Ev%d",%s,"event":{"type":"message","subtype":"message_changed","channel":%q,"channel_type":"channel","ts":%q,"event_ts":%q,"message":%s,"previous_message":%s}}`,
			n, outer, shop, ts, ts, m("after", fmt.Sprintf(`,"edited":{"user":%q,"ts":%q}`, kim, ts)), m(fmt.Sprint("words ", n), ""))
	}
	press := func(team, user, userTeam string) (string, string) {
		n++
		return PathInteractions, "payload=" + url.QueryEscape(fmt.Sprintf(`{"type":"block_actions","team":{"id":%q},"user":{"id":%q,"team_id":%q},"trigger_id":"t%d","container":{"type":"message","channel_id":%q,"message_ts":%q},"actions":[{"action_id":"choose:1","action_ts":"1800000000.0001%02d"}]}`,
			team, user, userTeam, n, shop, post, n))
	}
	command := func(team string) (string, string) {
		n++
		return PathCommands, url.Values{"command": {"/milepost"}, "text": {"unit 7"}, "team_id": {team}, "channel_id": {shop}, "user_id": {kim}, "trigger_id": {fmt.Sprint("t", n)}}.Encode()
	}
	form := r.offer(thread, 8, flow.QStored)
	fill := func(team, user, userTeam string) (string, string) {
		n++
		return PathInteractions, "payload=" + url.QueryEscape(fmt.Sprintf(`{"type":"block_actions","team":{"id":%q},"user":{"id":%q,"team_id":%q},"trigger_id":"t%d","container":{"type":"message","channel_id":%q,"message_ts":%q},"actions":[{"action_id":"form","action_ts":"1800000000.0001%02d"}]}`,
			team, user, userTeam, n, shop, form, n))
	}
	home := func(team string) (string, string) {
		n++
		return PathEvents, fmt.Sprintf(`{"type":"event_callback","event_id":"Ev%d","team_id":%q,"event":{"type":"app_home_opened","user":%q,"tab":"home","event_ts":"18000000%02d.000100"}}`, n, team, kim, n)
	}
	us := r.w.Team()
	heard := len(r.ear.all())
	for _, c := range []struct {
		what string
		of   func() (path, body string)
		want int
	}{
		{"event", func() (string, string) { return event(`"team_id":"T0OTHER"`) }, 0},
		{"event for another installation", func() (string, string) {
			return event(`"team_id":"T0OTHER","is_ext_shared_channel":true,"authorizations":[{"team_id":"T0OTHER"}]`)
		}, 0},
		{"event that only claims to be for us", func() (string, string) {
			return event(`"team_id":"T0OTHER","authorizations":[{"team_id":"` + us + `"}]`)
		}, 0},
		{"edit", func() (string, string) { return edit(`"team_id":"T0OTHER"`) }, 0},
		{"press", func() (string, string) { return press("T0OTHER", kim, us) }, 0},
		{"press, whole of another", func() (string, string) { return press("T0OTHER", kim, "T0OTHER") }, 0},
		{"command", func() (string, string) { return command("T0OTHER") }, 0},
		{"form asked for", func() (string, string) { return fill("T0OTHER", kim, us) }, 0},
		{"home opened", func() (string, string) { return home("T0OTHER") }, 0},
		{"our event", func() (string, string) { return event(fmt.Sprintf(`"team_id":%q`, us)) }, 1},
		{"of a shared channel", func() (string, string) {
			return event(`"team_id":"T0FAR","is_ext_shared_channel":true,"authorizations":[{"team_id":"` + us + `"}]`)
		}, 1},
		{"edit there", func() (string, string) {
			return edit(`"team_id":"T0FAR","is_ext_shared_channel":true,"authorizations":[{"team_id":"` + us + `"}]`)
		}, 2},
		{"press of a member of the other", func() (string, string) { return press("T0FAR", strand, "T0FAR") }, 1},
		{"our press", func() (string, string) { return press(us, kim, us) }, 1},
		{"our command", func() (string, string) { return command(us) }, 1},
	} {
		before := strings.Count(r.log.String(), "of another workspace")
		path, body := c.of()
		kind := "application/x-www-form-urlencoded"
		if path == PathEvents {
			if kind = "application/json"; !json.Valid([]byte(body)) {
				t.Fatalf("%s: %s", c.what, body)
			}
		}
		if status, _, err := r.w.Forge(workspace.Forgery{URL: base + path, ContentType: kind, Body: []byte(body)}); status != 200 || err != nil {
			t.Fatalf("%s: %d %v", c.what, status, err)
		}
		r.settled()
		if k := len(r.ear.all()) - heard; k != c.want {
			t.Errorf("%s: heard %d things, want %d: %s", c.what, k, c.want, r.heard())
		}
		heard = len(r.ear.all())
		r.await("said", func() bool {
			return c.want > 0 || strings.Count(r.log.String(), "of another workspace") > before
		})
		if said := strings.Count(r.log.String(), "of another workspace") > before; said != (c.want == 0) {
			t.Errorf("%s: said %v", c.what, said)
		}
	}
	if n := len(r.w.Calls("views.open")); n > 0 {
		t.Errorf("%d forms opened", n)
	}
}
