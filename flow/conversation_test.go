package flow_test

import (
	"flag"
	"testing"

	"milepost/bot/bottest"
)

var update = flag.Bool("update", false, "rewrite what the conversations expect to what was seen")

// The conversations by the flow alone. This is the way by which -update rewrites
// what they expect; those that need a bot are rewritten by its test.
func TestConversations(t *testing.T) {
	for _, s := range bottest.ReadScripts(t, "../testdata/conversations") {
		if !s.Has(bottest.WayFlow) {
			continue
		}
		t.Run(s.Name, func(t *testing.T) {
			s.Check(t, s.Play(t, bottest.NewFlowWay(t, s)), *update)
		})
	}
}
