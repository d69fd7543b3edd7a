package slack

import (
	"maps"
	"strings"
	"testing"

	"milepost/adapters/slack/workspace"
	"milepost/bot"
	"milepost/flow"
)

// Of some people it is told who is in a thread's channel; and a supervisor who is
// called there is mentioned, though it is no question.
func TestPresent(t *testing.T) {
	s := speak(t, workspace.Options{Channels: []workspace.Channel{{Name: "shop", Members: []string{"kim", "sam"}, App: true}}})
	th := s.begins("kim", "unit 14, 265/70R17")
	kim, sam, alex := Identity(s.w.Team(), s.w.User("kim").ID()), Identity(s.w.Team(), s.w.User("sam").ID()), Identity(s.w.Team(), s.w.User("alex").ID())
	got, err := s.Present(t.Context(), th, []bot.Identity{kim, sam, alex, "matrix:@sam:localhost"})
	if want := map[bot.Identity]string{kim: "kim", sam: "sam"}; err != nil || !maps.Equal(got, want) {
		t.Errorf("%v, %v; want %v", got, err, want)
	}
	if got, err := s.Present(t.Context(), "T0OTHER/C1/1", []bot.Identity{kim}); err == nil {
		t.Errorf("of another workspace: %v", got)
	}
	s.says(t, s.out("k7mw2pd/1/card", th, flow.Card, "Unit 14 · job k7mw2pd\nopening"))
	out := s.out("k7mw2pd/2", th, flow.Notice, "kim calls for a supervisor in this job.")
	out.Reply.Role, out.Reply.To, out.Users = flow.Supervisor, []flow.Who{"b"}, map[flow.Who]bot.Identity{"b": sam}
	s.says(t, out)
	all := s.w.Messages("shop", s.w.Messages("shop", "")[1].TS)
	if m := all[len(all)-1]; !strings.Contains(m.Text, "<@"+s.w.User("sam").ID()+">") {
		t.Errorf("not mentioned: %q", m.Text)
	}
}
