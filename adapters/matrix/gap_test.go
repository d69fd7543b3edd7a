package matrix

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"milepost/adapters/matrix/homeserver"
	"milepost/adapters/matrix/person"
	"milepost/bot"
)

// A room whose history can't be fetched stops nobody, and is fetched later.
func TestGapThatCannotBeFilled(t *testing.T) {
	r := newRig(t).start().ready()
	ann := person.Join(t, r.server, "ann")
	room, other := r.room(ann, false), r.room(ann, false)
	ann.Mention(room, "first", r.user())
	ann.Mention(other, "first there", r.user())
	r.ear.wait(t, 2, nil)
	r.stop()
	var want []string
	for i := range 80 {
		want = append(want, fmt.Sprintf("no. %d", i))
		ann.Say(room, want[i])
	}
	ann.Say(other, "meanwhile")
	r.prepare = func(m *stint) { m.in.tried = gapTries } // a test need not wait for the tries
	r.proxy.Fail(1, "GET", "/messages", homeserver.Fault{Status: 500})
	r.start()
	r.ear.text(t, "meanwhile")
	// It is tried again soon after the start.
	got := r.ear.wait(t, 80, func(in bot.Inbound) bool { return strings.HasPrefix(in.Text, "no. ") })
	late, sorted := texts(got), texts(got)
	slices.Sort(sorted)
	slices.Sort(want)
	if !slices.Equal(sorted, want) {
		t.Errorf("heard %q", late)
	}
	deadline := time.Now().Add(person.Patience)
	for {
		gaps, err := r.m.now().state.gaps(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		if len(gaps) == 0 {
			break
		}
		if time.Now().After(deadline) {
			t.Fatalf("gaps left: %v", gaps)
		}
		time.Sleep(20 * time.Millisecond)
	}
}

// While a gap can't be fetched for a moment, its room waits and keeps its order.
func TestGapInTheSecondTry(t *testing.T) {
	r := newRig(t).start().ready()
	ann := person.Join(t, r.server, "ann")
	room := r.room(ann, false)
	ann.Mention(room, "first", r.user())
	r.ear.text(t, "first")
	r.stop()
	var want []string
	for i := range 120 {
		want = append(want, fmt.Sprintf("no. %d", i))
		ann.Say(room, want[i])
	}
	r.proxy.Fail(1, "GET", "/messages", homeserver.Fault{Status: 502})
	r.start()
	got := r.ear.wait(t, 120, func(in bot.Inbound) bool { return strings.HasPrefix(in.Text, "no. ") })
	if !slices.Equal(texts(got), want) {
		t.Errorf("heard %q", texts(got))
	}
}

func TestRefusedHalfAMinute(t *testing.T) {
	if testing.Short() {
		t.Skip("waits for half a minute")
	}
	r := newRig(t).start().ready()
	ann := person.Join(t, r.server, "ann")
	room := r.room(ann, false)
	r.proxy.Down()
	var want []string
	for i := range 10 {
		want = append(want, fmt.Sprintf("no. %d", i))
		ann.Mention(room, want[i], r.user())
	}
	time.Sleep(30 * time.Second)
	r.proxy.Up(t)
	begin := time.Now()
	got := r.ear.wait(t, 10, nil)
	t.Logf("heard %v after the line came back", time.Since(begin).Round(time.Millisecond))
	if !slices.Equal(texts(got), want) || r.ear.repeats != 0 {
		t.Errorf("heard %q, %d repeats", texts(got), r.ear.repeats)
	}
}
