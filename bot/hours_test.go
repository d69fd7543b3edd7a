package bot_test

import (
	"testing"
	"time"

	"milepost/bot"
)

func TestOpens(t *testing.T) {
	vienna, err := time.LoadLocation("Europe/Vienna")
	if err != nil {
		t.Skip(err)
	}
	day := bot.Hours{From: 7*time.Hour + 30*time.Minute, To: 18 * time.Hour}
	night := bot.Hours{From: 22 * time.Hour, To: 6 * time.Hour}
	for _, c := range []struct {
		hours     bot.Hours
		now, want string // in Vienna; want "": open
	}{
		{bot.Hours{}, "2026-03-02 03:00", ""},
		{day, "2026-03-02 07:29", "2026-03-02 07:30"},
		{day, "2026-03-02 07:30", ""},
		{day, "2026-03-02 17:59", ""},
		{day, "2026-03-02 18:00", "2026-03-03 07:30"},
		{day, "2026-03-28 20:00", "2026-03-29 07:30"}, // the clocks go forth in that night
		{day, "2026-03-29 01:30", "2026-03-29 07:30"},
		{bot.Hours{From: 8 * time.Hour, To: 24 * time.Hour}, "2026-03-02 23:59", ""},
		{night, "2026-03-02 23:00", ""},
		{night, "2026-03-02 05:59", ""},
		{night, "2026-03-02 06:00", "2026-03-02 22:00"},
	} {
		now, err := time.ParseInLocation("2006-01-02 15:04", c.now, vienna)
		if err != nil {
			t.Fatal(err)
		}
		got := ""
		if at := bot.Opens(c.hours, vienna, now.UTC()); !at.IsZero() {
			got = at.In(vienna).Format("2006-01-02 15:04")
		}
		if got != c.want {
			t.Errorf("%v at %s: opens %q, want %q", c.hours, c.now, got, c.want)
		}
	}
}

// The digest waits for the shop to open, and so does a closed job's reminder.
func TestHours(t *testing.T) {
	r := start(t, newMem(), func(c *bot.Config) {
		c.Shops[0].Key = newKey(t, "oakroad", 1)
		c.Shops[0].Digest = []bot.JobThread{{Network: "fake", Thread: "office"}}
		c.Shops[0].Hours = bot.Hours{From: 9 * time.Hour, To: 17 * time.Hour}
	})
	count := func() (n int) {
		r.bot.Tick(t.Context())
		r.flush()
		for _, o := range r.sent() {
			if o.Thread == "office" {
				n++
			}
		}
		return n
	}
	if n := count(); n != 0 {
		t.Errorf("%d digests at eight", n)
	}
	r.clock.pass(61 * time.Minute)
	if n := count(); n != 1 {
		t.Errorf("%d digests at nine", n)
	}
}
