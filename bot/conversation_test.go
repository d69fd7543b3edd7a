package bot_test

import (
	"flag"
	"testing"

	"milepost/bot/bottest"
)

var update = flag.Bool("update", false, "rewrite what the conversations that need a bot expect to what was seen")

// The conversations by a bot on a store in memory. They go as by the flow alone.
func TestConversations(t *testing.T) {
	for _, s := range bottest.ReadScripts(t, "../testdata/conversations") {
		if !s.Has(bottest.WayBot) {
			continue
		}
		t.Run(s.Name, func(t *testing.T) {
			p := s.Play(t, bottest.NewBotWay(t, s))
			s.Check(t, p, *update && !s.Has(bottest.WayFlow))
			if n := p.Closings(); len(p.Heads) != n {
				t.Errorf("%d log heads were posted, %d times a job was closed", len(p.Heads), n)
			}
			if s.Has(bottest.WayFlow) {
				p.Same(t, s.Play(t, bottest.NewFlowWay(t, s)))
			}
		})
	}
}
