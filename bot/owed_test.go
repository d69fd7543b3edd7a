package bot_test

import (
	"bytes"
	"errors"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"milepost/bot"
)

// The head of a closed job is given out once, whatever kept it back at first.
func TestHeadOwed(t *testing.T) {
	key := newKey(t, "oakroad", 1)
	signs := func(c *bot.Config) { c.Shops[0].Key = key }
	for name, after := range map[string]func(*rig){
		"a crash":                     func(r *rig) { r.stop(); r.again(signs) },
		"a word after it and a crash": func(r *rig) { r.say("tech", "thanks"); r.stop(); r.again(signs) },
		"a fault that passes":         func(r *rig) { r.bot.Tick(t.Context()) },
	} {
		t.Run(name, func(t *testing.T) {
			var fault atomic.Bool
			fault.Store(true)
			store := newMem()
			store.fail = func(b *bot.Batch) error {
				if fault.Load() && len(b.Leaves) > 0 && bytes.Contains(b.Leaves[0].Bytes, []byte(`"kind":"head"`)) {
					return errors.New("the disk is full")
				}
				return nil
			}
			r := start(t, store, signs)
			heads := func() int {
				r.bot.Tick(t.Context())
				r.flush()
				keys := map[string]bool{}
				for _, o := range r.sent() {
					if strings.Contains(o.Reply.Text, "Log head") {
						keys[o.Key] = true
					}
				}
				return len(keys)
			}
			r.say("tech", "new job unit 14")
			r.say("tech", "close")
			if n := heads(); n != 0 {
				t.Fatalf("%d heads, though none could be stored", n)
			}
			fault.Store(false)
			after(r)
			for end := time.Now().Add(time.Minute); heads() == 0; time.Sleep(time.Millisecond) {
				if time.Now().After(end) {
					t.Fatalf("no head afterwards\n%s", r.log)
				}
			}
			r.stop()
			r.again(signs)
			time.Sleep(50 * time.Millisecond) // for one too many
			if n := heads(); n != 1 {
				t.Errorf("%d heads after another start", n)
			}
		})
	}
}
