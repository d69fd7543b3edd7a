package bottest_test

import (
	"testing"

	"milepost/bot"
	"milepost/bot/bottest"
)

func TestMemory(t *testing.T) {
	bottest.TestStore(t, func(*testing.T) bot.Store { return bottest.NewMemory() })
	bottest.TestBlobs(t, func(*testing.T) bot.Blobs { return bottest.NewMemory() })
}
