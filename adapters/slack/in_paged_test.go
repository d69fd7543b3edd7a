package slack

import (
	"fmt"
	"strconv"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"milepost/adapters/slack/workspace"
)

// In a channel where much was written, what was missed is among the newest, and what
// is not read back was not deleted.
func TestReadBackNewest(t *testing.T) {
	r := newRig(t, false, workspace.Options{})
	r.begin()
	r.begins("kim")
	r.end()
	looks := r.looks()
	r.again()
	r.await("read back at the start", func() bool { return r.looks() > looks })
	kim, sam := r.w.User("kim"), r.w.User("sam") // of another, so that it is not looked for because of the order
	const others = olderPages*200 + 20
	r.w.DropEvents(others)
	for i := range others {
		sam.Say("shop", fmt.Sprint("word ", i))
	}
	for i := range 5 {
		kim.Say("shop", fmt.Sprint("heard ", i))
	}
	r.hears(6)
	heard := strconv.FormatInt(time.Now().UnixMilli(), 10)
	r.await("a note that we hear", func() bool {
		alive, err := r.state.meta(t.Context(), metaAlive)
		return err == nil && alive > heard
	})
	r.end()
	r.w.DropEvents(1)
	kim.Say("shop", "@milepost missed")
	looks = r.looks()
	r.again()
	if in := r.hears(7)[6]; in.Text != "missed" || !in.Called {
		t.Errorf("heard %+v", in)
	}
	r.await("read back", func() bool { return r.looks() > looks })
	r.hears(7)
}

// Where Slack says that there is more, and not how to get it, nothing counts as
// deleted; what is there is heard.
func TestReadBackPart(t *testing.T) {
	r := newRig(t, false, workspace.Options{})
	var part atomic.Bool
	r.answersAs(func(method string, answer map[string]any) {
		list, ok := answer["messages"].([]any)
		if !ok || !part.Load() {
			return
		}
		if n := min(len(list), 2); method == "conversations.replies" {
			list = append(list[:n], list[len(list)-1])
		} else {
			list = list[:n]
		}
		answer["messages"], answer["has_more"] = list, true
		delete(answer, "response_metadata")
	})
	r.begin()
	thread, _ := r.begins("kim")
	card := r.card(thread, "k7mw2pd")
	for i := range 4 {
		r.w.User("kim").SayInThread("shop", card, fmt.Sprint("answer ", i))
		r.w.User("kim").Say("shop", fmt.Sprint("beside ", i))
	}
	r.hears(9)
	r.end()
	part.Store(true)
	r.w.DropEvents(1)
	r.w.User("kim").SayInThread("shop", card, "missed")
	looks := r.looks()
	r.again()
	r.await("read back", func() bool { return r.looks() > looks })
	if in := r.hears(10)[9]; in.Text != "missed" || in.Delete != "" {
		t.Errorf("heard %+v", in)
	}
	if !strings.Contains(r.log.String(), "does not say how to get it") {
		t.Error("it is not said that something was not read back")
	}
}
