package matrix

import (
	"maps"
	"testing"

	"milepost/adapters/matrix/person"
	"milepost/bot"
)

// Of some people it is told who has joined a thread's room, by the name he has
// there.
func TestPresent(t *testing.T) {
	r := newRig(t).start().ready()
	ann, sam, eve := person.Join(t, r.server, "ann"), person.Join(t, r.server, "sam"), person.Join(t, r.server, "eve")
	if err := sam.Client.SetDisplayName(t.Context(), "Sam Miller"); err != nil {
		t.Fatal(err)
	}
	room := ann.CreateRoom("bay", false, sam.ID, r.user())
	ann.WaitJoined(room, sam.ID, r.user())
	ann.Invite(room, eve.ID)
	thread := threadName(string(room), string(ann.Say(room, "grey van")))
	of := []bot.Identity{Identity(string(ann.ID)), Identity(string(sam.ID)), Identity("@kim:localhost"), "slack:T1/U1"}
	want := map[bot.Identity]string{of[0]: "ann", of[1]: "Sam Miller"}
	if got, err := r.m.Present(t.Context(), thread, of); err != nil || !maps.Equal(got, want) {
		t.Errorf("%v, %v; want %v", got, err, want)
	}
	if got, err := r.m.Present(t.Context(), "nowhere", of); err == nil {
		t.Errorf("of no thread: %v", got)
	}
}
