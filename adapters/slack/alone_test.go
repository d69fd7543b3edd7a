package slack

import (
	"context"
	"fmt"
	"strings"
	"testing"

	"milepost/adapters/slack/workspace"
	"milepost/bot"
	"milepost/flow"
)

// A long answer to a command, such as a board, is several that only who gave it
// sees; one that is longer than its address may be used for is in direct messages.
func TestLongAnswerAlone(t *testing.T) {
	r := newRig(t, false, workspace.Options{})
	line := strings.Repeat("unit 14 waits ", 20)
	r.hearer = handler(func(ctx context.Context, in bot.Inbound) error {
		var n int
		if _, err := fmt.Sscanf(in.Text, "board %d", &n); err != nil || !in.Alone {
			return nil
		}
		return r.Send(ctx, bot.Outbound{Key: "shop/0/" + in.Text, Network: NetworkName, Thread: in.Thread, After: in.Delivery, Alone: true,
			Users: map[flow.Who]bot.Identity{"": in.From}, Reply: flow.Reply{Kind: flow.Result, Text: strings.Repeat(line+"\n", n)}})
	})
	r.begin()
	kim := r.w.User("kim")
	kim.Command("shop", "/milepost", "board 1")
	r.await("one", func() bool { return len(r.w.Ephemerals("kim")) == 1 })
	kim.Command("shop", "/milepost", "board 25")
	r.await("three more", func() bool { return len(r.w.Ephemerals("kim")) == 4 })
	kim.Command("shop", "/milepost", "board 60")
	r.await("direct messages", func() bool { return len(r.w.Messages("@kim", "")) == 6 })
	if n, seen := len(r.w.Messages("shop", "")), len(r.w.Ephemerals("kim")); n != 0 || seen != 4 {
		t.Errorf("%d for all to see, %d for who asked", n, seen)
	}
}
