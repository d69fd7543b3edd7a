package matrix

import (
	"fmt"
	"strings"
	"testing"

	"maunium.net/go/mautrix/event"
	"maunium.net/go/mautrix/id"

	"milepost/adapters/matrix/homeserver"
	"milepost/adapters/matrix/person"
	"milepost/bot/bottest"
	"milepost/flow"
)

func TestMatrixIsANetwork(t *testing.T) {
	both(t, func(t *testing.T, encrypted bool) {
		bottest.TestNetwork(t, func(t *testing.T, handle bottest.Handler) bottest.Wire {
			s := homeserver.Start(t, homeserver.Options{})
			j := newJob(t, s, s.URL(), "milepost", encrypted)
			j.send(j.out(1, flow.Card, "unit 14"))
			root := j.seen()[0].ID
			people := map[string]*person.Person{"kim": j.kim}
			j.listen(handle)
			who := func(t testing.TB, name string) *person.Person {
				p := people[name]
				if p == nil {
					p = person.New(t, person.Config{Server: s, Name: name, Encrypted: encrypted})
					j.kim.Invite(j.room, p.ID)
					j.kim.WaitMembers(j.room, event.MembershipJoin, p.ID)
					p.WaitMembers(j.room, event.MembershipJoin, j.user())
					people[name] = p
				}
				return p
			}
			return bottest.Wire{Network: j.m, Thread: j.thread,
				Shown: func() (all []bottest.Shown) {
					for _, e := range j.seen() {
						s := bottest.Shown{Text: e.Body}
						for _, r := range e.Reactions {
							s.Choices = append(s.Choices, r.Key)
						}
						all = append(all, s)
					}
					return all
				},
				Say: func(t testing.TB, name, text string) { who(t, name).SayInThread(j.room, root, text) },
				Tap: func(t testing.TB, name string, c flow.Choice) {
					ev, key := j.offers(t, c)
					who(t, name).React(j.room, ev, key)
				},
			}
		})
	})
}

// offers finds the message that offers a choice, and the reaction for it.
func (j *job) offers(t testing.TB, c flow.Choice) (id.EventID, string) {
	all := j.seen()
	for i := len(all) - 1; i >= 0; i-- {
		for n, sign := range tapSigns {
			if e := all[i]; len(e.Reactions) > n && e.Reactions[n].Key == sign && strings.Contains(e.Body, fmt.Sprintf("%d. %s", n+1, c.Label)) {
				return e.ID, sign
			}
		}
	}
	t.Fatalf("no message offers %q:\n%s", c.Label, person.Dump(all))
	return "", ""
}
