package matrix

import (
	"fmt"
	"slices"
	"testing"
	"time"

	"maunium.net/go/mautrix"
	"maunium.net/go/mautrix/id"

	"milepost/adapters/matrix/homeserver"
	"milepost/adapters/matrix/person"
	"milepost/flow"
)

// The state is lost while people write: each thread in which somebody had the last
// word is told so, once; none where it was us, and no talk beside.
func TestWrittenWhileAway(t *testing.T) {
	both(t, func(t *testing.T, encrypted bool) {
		s := homeserver.Start(t, homeserver.Options{})
		j := newJob(t, s, s.URL(), "milepost", encrypted)
		pat := person.New(t, person.Config{Server: s, Name: "pat", Encrypted: encrypted})
		lose := func() {
			j.stop()
			if encrypted { // another device, as after a restore
				j.cfg.AccessToken = s.Login(t, "milepost", person.Password("milepost")).AccessToken
			}
			j.cfg.Dir = t.TempDir()
			j.start()
		}
		told := func() (in []id.EventID) {
			t.Helper()
			for _, e := range j.seen() {
				if e.Body == awayWords {
					in = append(in, e.Root)
				}
			}
			return in
		}
		j.send(j.out(1, flow.Card, "unit 14"))
		j.send(j.out(2, flow.Notice, "a question of 14"))
		first := j.only("unit 14").ID

		// Where two talk, what is said beside the thread is of the job.
		j.stop()
		j.kim.Say(j.room, "beside the thread")
		lose()
		j.kim.WaitFor(j.room, j.user(), awayWords)
		if in := told(); !slices.Equal(in, []id.EventID{first}) {
			t.Fatalf("told in %v, want in %v", in, first)
		}

		j.kim.Invite(j.room, pat.ID)
		j.kim.WaitJoined(j.room, pat.ID)
		j.begin("new job unit 15")
		card := j.out(3, flow.Card, "unit 15")
		j.send(card)
		j.send(j.out(4, flow.Notice, "a question of 15"))
		second := j.only("unit 15").ID
		j.begin("new job unit 16")
		j.send(j.out(5, flow.Card, "unit 16"))
		third := j.only("unit 16").ID
		j.kim.SayInThread(j.room, third, "an answer of 16")
		j.send(j.out(6, flow.Notice, "a question of 16"))

		j.stop()
		j.kim.SayInThread(j.room, second, "while away")
		for i := range 2 * timeline {
			j.kim.Say(j.room, fmt.Sprint("chatter ", i))
		}
		lose()
		for end := time.Now().Add(person.Patience); len(told()) < 2 && time.Now().Before(end); time.Sleep(100 * time.Millisecond) {
		}
		if in := told(); !slices.Equal(in, []id.EventID{first, second}) {
			t.Fatalf("told in %v, want in %v and %v:\n%s", in, first, second, person.Dump(j.seen()))
		}
		lose()
		j.send(j.out(7, flow.Notice, "another question of 16"))
		if in := told(); len(in) != 2 {
			t.Errorf("told again: %v", in)
		}

		// A room of which the first sync shows nothing is looked through all the same.
		now, ctx := j.m.now(), t.Context()
		page, err := now.client.Messages(ctx, j.room, "", "", mautrix.DirectionBackward, nil, 1)
		if err != nil {
			t.Fatal(err)
		}
		if list := now.unheardIn(ctx, &away{room: j.room, from: page.End}); len(list) > 0 {
			t.Errorf("nobody but us had the last word: %v", list)
		}
	})
}
