package matrix

import (
	"strings"
	"testing"

	"maunium.net/go/mautrix/id"

	"milepost/adapters/matrix/homeserver"
)

// Of a room that was replaced a check says so, once, and what to do if there is
// something to do; what power is left in it is no matter.
func TestCheckReplacedRooms(t *testing.T) {
	s := homeserver.Start(t, homeserver.Options{})
	j := newJob(t, s, s.URL(), "milepost", false)
	open := func(name string) id.RoomID {
		room := j.kim.CreateRoom(name, false, j.user())
		j.kim.WaitJoined(room, j.user())
		return room
	}
	bay, office, both, yard, lost := open("the bay"), open("the office"), open("the hall"), open("the yard"), open("the shed")
	bay2, office2, both2 := upgrade(t, s, j.kim, j.m, bay), upgrade(t, s, j.kim, j.m, office), upgrade(t, s, j.kim, j.m, both)
	upgrade(t, s, j.kim, j.m, yard)
	var up struct {
		Room string `json:"replacement_room"`
	}
	if code := s.Call(t, j.kim.Token, "POST", "/_matrix/client/v3/rooms/"+string(lost)+"/upgrade", map[string]string{"new_version": "10"}, &up); code != 200 {
		t.Fatalf("upgrade: %d", code)
	}
	cfg := j.cfg
	cfg.Patterns = []string{string(bay), string(both), string(both2)}
	cfg.Posts = []string{string(office)}
	all := look(t, cfg)
	for room, want := range map[id.RoomID]string{
		bay:                  "name " + string(bay2) + " in its place in the configuration",
		office:               "name " + string(office2) + " in its place in the configuration",
		both:                 "take it out of the configuration, which names the new one too",
		lost:                 "invite " + j.cfg.User + " to the new one, or remove the assistant from it",
		yard:                 "",
		id.RoomID("may not"): "", // no word of power
	} {
		hits := findingsWith(all, string(room))
		switch {
		case want == "" && len(hits) != 0:
			t.Errorf("%s: %+v, want nothing", room, hits)
		case want != "" && (len(hits) != 1 || hits[0].OK || hits[0].Mend != want || !strings.Contains(hits[0].What, "has been replaced by !")):
			t.Errorf("%s: %+v, want %q", room, hits, want)
		}
	}
	finds(t, all, map[string]bool{"1 room beside those: replaced, and followed": true, string(both2) + ` "the hall": joined, not encrypted, may write and react`: true})
}
